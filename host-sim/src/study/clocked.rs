//! The core's clock over simulated frames, beside a least-squares line in
//! double precision.
//!
//! Probe oscillator and stamps come from [`oscillator`](crate::model::oscillator)
//! and [`stamp`](crate::model::stamp); frames are lost in a two-state channel
//! (Gilbert 1960: every frame of a burst is lost). After each frame an edge of
//! random age is dated by the clock and by the line, and before each frame its
//! slot is predicted. The receiver's own clock is taken as true.

use std::collections::VecDeque;

use rand_distr::{Distribution, StandardUniform};
use trueonset::clock::{Clock, ClockConfig, Oscillator as Kind, Prediction, Source};
use trueonset::time::{Instant, TickRate};

use super::statistics::Moments;
use crate::model::oscillator::{Crystal, Oscillator, Parts};
use crate::model::rng::{self, Rng};
use crate::model::stamp::Stamp;

/// Capture clock of the receiver, Hz.
const HZ: u32 = 16_000_000;
/// Slots whose true times are kept: more than any age.
const KEPT: usize = 80;
/// Time after which the spread counts: the clock has settled.
const SETTLED_S: f64 = 6.0;

/// Frames refused in a row after which the base is dropped.
const REFUSED: u32 = 8;

/// Which oscillator the probe has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Probe {
    /// 40 ppm, -0.023 ppm/s by temperature.
    Crystal,
    /// Up to 2 %, 17 ppm/s and 3 ppm in a second at random.
    Rc,
}

/// One row: who sends, who stamps, how much is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// The probe's oscillator.
    pub probe: Probe,
    /// The receiver's stamps.
    pub stamp: Stamp,
    /// Length of a slot, ms.
    pub slot_ms: u32,
    /// A frame every so many slots.
    pub beat: u64,
    /// Share of frames lost.
    pub loss: f64,
    /// Mean number of frames lost in a row.
    pub burst: f64,
}

/// What a run of a row comes to; errors in µs.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    /// Errors of dated edges, settled: of the clock, and of least squares with its memory times
    /// each of [`MEMORIES`].
    pub clock: Spread,
    /// See [`MEMORIES`].
    pub squares: [Spread; MEMORIES.len()],
    /// Error and stated bound of everything predicted while locked: edges and slots.
    pub stated: Vec<(f32, f32)>,
    /// Bounds of edges, settled.
    pub bounds: Vec<f64>,
    /// Frames heard after the first.
    pub frames: u64,
    /// Frames outside the gate.
    pub refused: u64,
    /// Starts anew after eight refused frames in a row, as a receiver drops its base.
    pub restarts: u64,
    /// Clashes of the monitor.
    pub clashes: u32,
    /// Frames heard until the clock was locked, for the last time.
    pub locked_after: Option<u64>,
    /// Whether minima fed it at the end.
    pub minima: bool,
}

/// Memories of the least-squares lines against that of the clock.
pub const MEMORIES: [f64; 5] = [1.0, 0.5, 0.71, 1.41, 2.0];

/// Moments and extremes.
#[derive(Debug, Clone, Copy, Default)]
pub struct Spread {
    /// Moments.
    pub moments: Moments,
    low: f64,
    high: f64,
}

impl Spread {
    fn add(&mut self, x: f64) {
        if self.moments.count() == 0 {
            (self.low, self.high) = (x, x);
        }
        self.moments.add(x);
        self.low = self.low.min(x);
        self.high = self.high.max(x);
    }

    /// Largest distance from the mean.
    #[must_use]
    pub fn farthest(&self) -> f64 {
        let mean = self.moments.mean();
        (self.high - mean).max(mean - self.low)
    }
}

/// Least squares with exponential weights: offset and slope of y over x, at
/// the newest x. Sums only, moved to each new origin.
#[derive(Debug, Clone, Copy)]
pub struct Squares {
    memory: f64,
    x: f64,
    /// Σw, Σwu, Σwu², Σwy, Σwuy with u = x − newest.
    sums: [f64; 5],
}

impl Squares {
    /// Weights fall to 1/e over `memory` of x.
    #[must_use]
    pub fn new(memory: f64) -> Self {
        Self {
            memory,
            x: 0.0,
            sums: [0.0; 5],
        }
    }

    /// A further point; x grows.
    pub fn add(&mut self, x: f64, y: f64) {
        let d = x - self.x;
        let [s0, s1, s2, t0, t1] = self.sums;
        let kept = (-d / self.memory).exp();
        self.sums = [
            kept * s0 + 1.0,
            kept * (s1 - d * s0),
            kept * (s2 - 2.0 * d * s1 + d * d * s0),
            kept * t0 + y,
            kept * (t1 - d * t0),
        ];
        self.x = x;
    }

    /// The line at x; not a number of fewer than two points.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        let [s0, s1, s2, t0, t1] = self.sums;
        let slope = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1);
        (t0 - slope * s1) / s0 + slope * (x - self.x)
    }
}

impl Row {
    /// What the core is told of it.
    #[must_use]
    pub fn kind(&self) -> Kind {
        match self.probe {
            Probe::Crystal => Kind::CRYSTAL,
            Probe::Rc => Kind::RC,
        }
    }

    fn oscillator(&self, rng: &mut Rng) -> Oscillator {
        let unit: f64 = StandardUniform.sample(rng);
        let sign = if unit < 0.5 { 1.0 } else { -1.0 };
        match self.probe {
            Probe::Crystal => Crystal {
                offset_ppm: 40.0 * (2.0 * unit - 1.0),
                warming_k_s: sign / 60.0,
                ..Crystal::default()
            }
            .oscillator(),
            // 17 ppm/s either way for a minute stays within 2 %.
            Probe::Rc => Oscillator::new(Parts {
                offset_ppm: 18_000.0 * (2.0 * unit - 1.0),
                drift_ppm_s: 17.0 * sign,
                wander_ppm: 3.0,
                white_ppm: 0.0,
            }),
        }
    }

    /// Runs it for `seconds`.
    ///
    /// # Panics
    /// Where the core refuses the settings: slots of 1 to 80 ms are taken.
    #[must_use]
    pub fn run(&self, seconds: f64, seed: u64) -> Outcome {
        let rate = TickRate::from_hz(HZ).expect("a rate");
        let config =
            ClockConfig::new(rate, self.slot_ms * 1_000_000, self.kind()).expect("settings");
        let config = if self.stamp.late_share > 0.0 {
            config.presuming(Source::Minima)
        } else {
            config
        };
        Run::new(self, config, seed).all(seconds)
    }
}

struct Run<'a> {
    row: &'a Row,
    config: ClockConfig,
    rng: Rng,
    oscillator: Oscillator,
    /// Slot and true start of the newest slots, s.
    starts: VecDeque<f64>,
    slot: u64,
    squares: [Squares; MEMORIES.len()],
    lost: bool,
    refused: u32,
    outcome: Outcome,
}

impl<'a> Run<'a> {
    fn new(row: &'a Row, config: ClockConfig, seed: u64) -> Self {
        let mut rng = rng::stream(&[0xC10C, seed]);
        let oscillator = row.oscillator(&mut rng);
        let slot = f64::from(row.slot_ms) * 1e-3;
        let memory = f64::from(config.memory_slots()) * slot;
        // θ = τ/(τ + dt) is a decay of dt/ln(1 + dt/τ).
        let dt = slot * row.beat as f64;
        let alike = dt / (dt / memory).ln_1p();
        Self {
            row,
            config,
            rng,
            oscillator,
            starts: VecDeque::new(),
            slot: 0,
            squares: MEMORIES.map(|share| Squares::new(share * alike)),
            lost: false,
            refused: 0,
            outcome: Outcome::default(),
        }
    }

    fn unit(&mut self) -> f64 {
        StandardUniform.sample(&mut self.rng)
    }

    fn slot_s(&self) -> f64 {
        f64::from(self.row.slot_ms) * 1e-3
    }

    /// The next slot begins: true time, s.
    fn next(&mut self) -> f64 {
        self.slot += 1;
        let reading = self.slot as f64 * self.slot_s();
        let start = self.oscillator.shows(&mut self.rng, reading);
        self.starts.push_front(start);
        self.starts.truncate(KEPT);
        start
    }

    /// True time `age` (s of the probe) before the newest slot.
    fn before(&self, age: f64) -> f64 {
        let back = age / self.slot_s();
        let whole = back.floor();
        let part = back - whole;
        let at = |i: usize| self.starts[i.min(self.starts.len() - 1)];
        let i = whole as usize;
        at(i) + part * (at(i + 1) - at(i))
    }

    /// Whether the channel loses this frame.
    fn loses(&mut self) -> bool {
        let Row { loss, burst, .. } = *self.row;
        let unit = self.unit();
        let leaves = 1.0 / burst;
        let enters = leaves * loss / (1.0 - loss);
        self.lost = if self.lost {
            unit >= leaves
        } else {
            unit < enters
        };
        self.lost
    }

    fn state(&mut self, prediction: &Prediction, truth: f64) {
        let Some(doubt) = prediction.doubt_256 else {
            return;
        };
        let bound = f64::from(doubt) / 256.0 / f64::from(HZ) * 1e6;
        let error = us(prediction, truth);
        self.outcome.stated.push((error as f32, bound as f32));
    }

    fn all(mut self, seconds: f64) -> Outcome {
        // The first frames come in any phase of a tick and well after zero.
        let zero = 1.0 + self.unit();
        let mut clock: Option<Clock> = None;
        loop {
            let start = self.next();
            if start > seconds {
                break;
            }
            if self.slot % self.row.beat != 0 || self.loses() {
                continue;
            }
            let stamped = start + zero + self.row.stamp.draw(&mut self.rng);
            let arrival = Instant::from_ticks((stamped * f64::from(HZ)).round() as u64);
            self.frame(&mut clock, start, zero, arrival);
        }
        if let Some(clock) = clock {
            self.outcome.clashes = clock.clashes();
            self.outcome.minima = clock.source() == Source::Minima;
        }
        self.outcome
    }

    fn frame(&mut self, clock: &mut Option<Clock>, start: f64, zero: f64, arrival: Instant) {
        let slot = self.slot;
        let Some(clock) = clock else {
            *clock = Some(Clock::start(&self.config, slot, arrival));
            return;
        };
        self.outcome.frames += 1;
        self.state(&clock.predict(&self.config, slot), start + zero);
        if clock.fits(&self.config, slot, arrival) {
            self.refused = 0;
            let locked = clock.locked(&self.config);
            clock.update(&self.config, slot, arrival);
            if clock.locked(&self.config) && !locked {
                self.outcome.locked_after = Some(self.outcome.frames);
            }
        } else {
            self.outcome.refused += 1;
            self.refused += 1;
            if self.refused >= REFUSED {
                self.refused = 0;
                self.outcome.restarts += 1;
                *clock = Clock::start(&self.config, slot, arrival);
            }
        }
        let reading = slot as f64 * self.slot_s();
        let late = arrival.ticks() as f64 / f64::from(HZ) - reading;
        for squares in &mut self.squares {
            squares.add(reading, late);
        }
        // An edge up to 50 ms old; its age is told in steps of 125 ns.
        let age = (self.unit() * 0.05).min(start * 0.5);
        let truth = self.before(age) + zero;
        let steps = (age / 125e-9).round();
        let told = clock.predict_before(&self.config, slot, steps as u32);
        self.state(&told, truth);
        if start < SETTLED_S {
            return;
        }
        // The rounding of the age is no matter of the clock.
        let rounding = (steps * 125e-9 - age) * (1.0 + self.oscillator.frequency());
        self.outcome.clock.add(us(&told, truth - rounding));
        for (squares, spread) in self.squares.iter().zip(&mut self.outcome.squares) {
            let at = reading - age;
            spread.add((squares.at(at) + at - truth) * 1e6);
        }
        if let Some(doubt) = told.doubt_256 {
            let bound = f64::from(doubt) / 256.0 / f64::from(HZ) * 1e6;
            self.outcome.bounds.push(bound);
        }
    }
}

/// Predicted less true, µs.
fn us(prediction: &Prediction, truth: f64) -> f64 {
    let at = prediction.at;
    let ticks = at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0;
    (ticks / f64::from(HZ) - truth) * 1e6
}

#[cfg(test)]
mod tests {
    use super::{Probe, Row, Squares};
    use crate::model::stamp::Stamp;

    #[test]
    fn least_squares_with_a_long_memory_are_the_common_line() {
        // JCGM 100:2008 H.3 is checked in `tests/`; here a line that is one.
        let mut squares = Squares::new(1e9);
        for k in 0..50 {
            let x = f64::from(k) * 0.3;
            squares.add(x, 2.0 - 0.25 * x);
        }
        assert!((squares.at(0.0) - 2.0).abs() < 1e-6);
        assert!((squares.at(40.0) + 8.0).abs() < 1e-6);
    }

    #[test]
    fn a_row_repeats_itself_and_stays_in_its_bound() {
        let row = Row {
            probe: Probe::Rc,
            stamp: Stamp::CAPTURE,
            slot_ms: 1,
            beat: 10,
            loss: 0.3,
            burst: 2.0,
        };
        let (a, b) = (row.run(30.0, 4), row.run(30.0, 4));
        assert_eq!(a.stated, b.stated);
        assert!(
            a.stated.len() > 3_000 && a.stated.iter().all(|(error, bound)| error.abs() <= *bound)
        );
        assert_eq!((a.clashes, a.refused, a.minima), (0, 0, false));
        // Nearly a third is lost.
        assert!((1_900..2_300).contains(&a.frames), "{}", a.frames);
    }
}
