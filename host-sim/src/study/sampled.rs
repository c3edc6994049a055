//! Monte Carlo of the sampled barrier: the model's light, noise and converter through the very
//! barrier the firmware runs.
//!
//! A barrier first learns rest level and noise from light with no blade near. Sixteen such
//! barriers, a part of a block apart, are shared by the touches of a cell: where blocks begin is
//! as random as it is on a machine.

use rand_distr::{Distribution, Uniform};
use rayon::prelude::*;
use std::ops::RangeInclusive;
use trueonset::barrier::{Barrier, BarrierConfig, BarrierError, Method, Seen};
use trueonset::onset::{Contact, Event};
use trueonset::time::{FineInstant, Instant, TickRate};

use super::runner::{Cell, Found, Trial};
use crate::model::adc::Adc;
use crate::model::approach::mm_per_min;
use crate::model::course::Disturbance;
use crate::model::film::Film;
use crate::model::rng;
use crate::model::sampling::Sampling;
use crate::model::touch::{Scene, Simulator};

/// The light falls from this far, in spans: 1 - 1e-7 of it.
const FROM_SPANS: f64 = 1.118;
/// Blocks of rest a barrier learns its noise from before the touches.
const SCHOOL: usize = 300;
/// Barriers at different places in a block.
const PHASES: usize = 16;
/// Samples computed together.
const WINDOW: usize = 512;

/// What is simulated: a cell, seen by a converter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampledCell {
    /// Feed, light, disturbances; what it says of a comparator does not count.
    pub cell: Cell,
    /// Samples a second.
    pub rate_hz: u32,
    /// Bits of the converter; full light fills 80 % of it.
    pub bits: u8,
    /// How the wide zone weighs.
    pub method: Method,
    /// Hold beyond the zone, ns.
    pub hold_ns: u64,
    /// How long a film that grows has grown before the touch, s.
    pub armed_s: f64,
}

/// A touch; lengths in nm along the path, deeper positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampledTrial {
    /// The touch as a line would have it; first edge and 'N in a row' are none.
    pub trial: Trial,
    /// Error of the early onset.
    pub hard_nm: Option<f64>,
}

impl SampledCell {
    /// The cell of the study: 150 µm span, 200 kS/s, 12 bit, hold 100 µs. `feed` in mm/min, `snr`
    /// in dB, meant in 100 kHz behind a fourth-order low-pass.
    #[must_use]
    pub fn new(feed: f64, snr: f64, method: Method) -> Self {
        Self {
            cell: Cell::new(feed, snr),
            rate_hz: 200_000,
            bits: 12,
            method,
            hold_ns: 100_000,
            armed_s: 0.0,
        }
    }

    /// The full-span bound for this light, nm.
    #[must_use]
    pub fn bound_nm(&self) -> f64 {
        let light = self.cell.light();
        let left = self
            .cell
            .disturbance
            .film
            .map_or(1.0, |film| film.left(0.0));
        super::closed_form::full_span_bound(
            mm_per_min(self.cell.feed),
            self.cell.corner,
            self.cell.order,
            light.sigma / left,
            light.profile.slope_energy(),
        ) * 1e9
    }

    fn config(&self) -> Result<BarrierConfig, BarrierError> {
        BarrierConfig::new(TickRate::NANOSECONDS, self.rate_hz, self.hold_ns)?
            .bits(self.bits)?
            .trip_permille((self.cell.trip * 1e3).round() as u16)?
            .method(self.method)
    }

    /// The scene, with a film that has grown since before the approach.
    fn scene(&self) -> Scene {
        let mut scene = self.cell.scene();
        if let Some(film) = &mut scene.disturbance.film {
            film.loss += film.per_hour * (self.armed_s - self.begin_s()) / 3_600.0;
        }
        scene
    }

    /// When the light begins to fall, s; the blade is in the middle at 0.
    fn begin_s(&self) -> f64 {
        -FROM_SPANS * self.cell.span / mm_per_min(self.cell.feed)
    }

    /// How long the touch may still be unsettled after the middle, s.
    fn after_s(&self) -> f64 {
        let unrest = self.cell.disturbance.flutter.map_or(0.0, |flutter| {
            f64::from(flutter.hits) * (flutter.blocked.1 + flutter.free.1)
        });
        unrest - self.begin_s() + 4.0 * self.hold_ns as f64 * 1e-9
    }

    fn sampling(&self) -> Sampling {
        Sampling {
            rate: f64::from(self.rate_hz),
            adc: Adc::new(u32::from(self.bits)),
        }
    }

    fn name(&self) -> Vec<u64> {
        let mut words = self.cell.name();
        words.extend([
            u64::from(self.rate_hz),
            u64::from(self.bits),
            self.armed_s.to_bits(),
        ]);
        words
    }

    /// A cell with a film that takes `per_hour` of the clean light an hour, for `armed_s` before
    /// the touch.
    #[must_use]
    pub fn filmed(mut self, per_hour: f64, armed_s: f64) -> Self {
        self.cell.disturbance = Disturbance {
            film: Some(Film {
                loss: 0.0,
                per_hour,
            }),
            ..self.cell.disturbance
        };
        self.armed_s = armed_s;
        self
    }
}

/// Runs the touches with these seeds.
///
/// # Errors
/// The cell is outside the core's range.
pub fn run_sampled(
    cell: &SampledCell,
    seeds: RangeInclusive<u64>,
) -> Result<Vec<SampledTrial>, BarrierError> {
    run_sampled_while(cell, seeds, &|_| true).map(Option::unwrap_or_default)
}

/// As [`run_sampled`], asking `go_on` after every touch; it is told how many were added. None when
/// it said no.
///
/// # Errors
/// As [`run_sampled`].
pub fn run_sampled_while(
    cell: &SampledCell,
    seeds: RangeInclusive<u64>,
    go_on: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Option<Vec<SampledTrial>>, BarrierError> {
    let config = cell.config()?;
    let scene = cell.scene();
    let name = cell.name();
    let schooled = school(cell, &config, &scene, &name);
    let trials = seeds
        .into_par_iter()
        .map_init(
            || Simulator::new(scene),
            |simulator, seed| {
                let mut rng = rng::stream(&[&name[..], &[0, seed]].concat());
                let barrier = schooled[seed as usize % PHASES].clone();
                let trial = touch(cell, &config, simulator, barrier, &mut rng);
                go_on(1).then_some(trial)
            },
        )
        .collect();
    Ok(trials)
}

/// Barriers that know their rest level, a part of a block apart.
fn school(cell: &SampledCell, config: &BarrierConfig, scene: &Scene, name: &[u64]) -> Vec<Barrier> {
    let mut rng = rng::stream(&[name, &[1]].concat());
    let mut simulator = Simulator::new(*scene);
    let sampling = cell.sampling();
    let part = 1_usize << (cell.rate_hz / 250).max(1).ilog2();
    let block = PHASES * part;
    let lessons = SCHOOL * block + (cell.armed_s * sampling.rate) as usize;
    let from = cell.begin_s() - (lessons + block) as f64 / sampling.rate;
    simulator.begin(&mut rng, (from, cell.begin_s()));
    let mut barrier = Barrier::new(Instant::from_ticks(0));
    let mut taken = 0;
    let mut see = |barrier: &mut Barrier, samples: usize| {
        let until = taken + samples;
        while taken < until {
            let n = WINDOW.min(until - taken);
            let at = |k: usize| from + k as f64 / sampling.rate;
            for &counts in simulator.more_samples(&mut rng, at(taken), at(taken + n), &sampling) {
                let _idle = barrier.sample(config, counts);
            }
            taken += n;
        }
    };
    see(&mut barrier, lessons);
    (0..PHASES)
        .map(|_| {
            see(&mut barrier, part);
            barrier.clone()
        })
        .collect()
}

fn touch(
    cell: &SampledCell,
    config: &BarrierConfig,
    simulator: &mut Simulator,
    mut barrier: Barrier,
    rng: &mut rng::Rng,
) -> SampledTrial {
    let sampling = cell.sampling();
    // The first sample lies anywhere within a sample.
    let shift = Uniform::new(0.0, 1.0 / sampling.rate).map_or(0.0, |d| d.sample(rng));
    let (from, to) = (cell.begin_s() + shift, cell.after_s());
    let contact_s = simulator.scene().truth().contact.unwrap_or(0.0);
    // In ns of the barrier's clock, which counts samples from its first one.
    let truth_ns = (barrier.samples() as f64 / sampling.rate + contact_s - from) * 1e9;
    let judge = Judge {
        truth_ns,
        nm_per_ns: mm_per_min(cell.cell.feed),
    };
    let mut seen = SampledTrial {
        trial: Trial {
            found: None,
            extra: 0,
            first_nm: None,
            run_nm: None,
        },
        hard_nm: None,
    };
    let plain = cell.cell.disturbance
        == Disturbance {
            film: cell.cell.disturbance.film,
            ..Disturbance::default()
        };
    simulator.begin(rng, (from, to));
    let total = ((to - from) * sampling.rate).ceil() as usize;
    let mut done = 0;
    while done < total {
        let n = WINDOW.min(total - done);
        let at = |k: usize| from + k as f64 / sampling.rate;
        for &counts in simulator.more_samples(rng, at(done), at(done + n), &sampling) {
            match barrier.sample(config, counts) {
                Some(Seen::Hard(hard)) if seen.hard_nm.is_none() => {
                    seen.hard_nm = Some(judge.error_nm(hard.onset));
                }
                Some(Seen::Event(Event::Touch(contact))) => {
                    if seen.trial.found.is_none() {
                        seen.trial.found = Some(judge.found(&contact));
                        if plain {
                            return seen;
                        }
                    } else {
                        seen.trial.extra += 1;
                    }
                }
                _ => {}
            }
        }
        done += n;
    }
    seen
}

struct Judge {
    truth_ns: f64,
    nm_per_ns: f64,
}

impl Judge {
    fn error_nm(&self, at: FineInstant) -> f64 {
        let ns = at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0;
        (ns - self.truth_ns) * self.nm_per_ns
    }

    fn found(&self, contact: &Contact) -> Found {
        let error_nm = self.error_nm(contact.onset);
        Found {
            error_nm,
            balance_nm: error_nm,
            doubt_nm: contact
                .doubt
                .map(|doubt| f64::from(doubt.sixteenths()) / 16.0 * self.nm_per_ns),
            edges: contact.edges,
            flags: contact.flags,
            confirm_ns: contact.confirmed.ticks() as f64 - self.truth_ns,
        }
    }
}
