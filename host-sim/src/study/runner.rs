//! Monte Carlo over cells, with the very lines that the firmware runs.
//!
//! What a line knows of its hardware it learns from touch to touch. So a cell
//! is run on several *devices*, each a line with a memory of its own that first
//! goes to school (touches at a feed with plenty of chatter, then some at the
//! cell's own feed) and then measures its share of the touches, in order.
//! Devices run in parallel; a touch's randomness hangs on its number and its
//! cell alone, so the number of threads changes nothing.

use rand_distr::{Distribution, Uniform};
use rayon::prelude::*;
use std::ops::RangeInclusive;
use trueonset::edge::{Edge, Level};
use trueonset::flags::Flags;
use trueonset::onset::{Config, ConfigError, Contact, Event, FeedClass, Line};
use trueonset::time::{FineInstant, Instant, TickRate};

use super::baseline::Baseline;
use crate::model::approach::{mm_per_min, Approach};
use crate::model::blade::Blade;
use crate::model::capture::Capture;
use crate::model::comparator::Comparator;
use crate::model::course::Disturbance;
use crate::model::glitches::Glitches;
use crate::model::light::{Light, Profile};
use crate::model::noise::Spectrum;
use crate::model::rng::{self, Rng};
use crate::model::touch::{Scene, Simulator};

/// What is simulated: one feed at one light barrier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Feed, mm/min.
    pub feed: f64,
    /// Full light over noise, dB.
    pub snr: f64,
    /// Travel from 99 % to 1 % of light, m.
    pub span: f64,
    /// Corner of the noise, Hz.
    pub corner: f64,
    /// Order of the low-pass that shapes the noise: 2, 4, 6, 8.
    pub order: u32,
    /// Half hysteresis in noise sigmas.
    pub hysteresis: f64,
    /// Spikes per second.
    pub glitches: f64,
    /// Rate of the capture clock, Hz.
    pub tick_hz: u32,
    /// Trip level, share of the light of a clean lens.
    pub trip: f64,
    /// Shape of the beam.
    pub beam: Beam,
    /// What disturbs beyond noise and spikes; the trip level does not follow a film.
    pub disturbance: Disturbance,
    /// Which series of random numbers; 0 is the study's own.
    pub series: u64,
}

impl Cell {
    /// The study's cell: 150 µm span, order 4 at 100 kHz, no hysteresis, no
    /// spikes, 16 MHz. `feed` in mm/min, `snr` in dB.
    #[must_use]
    pub fn new(feed: f64, snr: f64) -> Self {
        Self {
            feed,
            snr,
            span: 150e-6,
            corner: 100e3,
            order: 4,
            hysteresis: 0.0,
            glitches: 0.0,
            tick_hz: 16_000_000,
            trip: 0.5,
            beam: Beam::Gaussian,
            disturbance: Disturbance::default(),
            series: 0,
        }
    }

    /// Noise as a position noise where the film lets the light trip, m.
    #[must_use]
    pub fn sigma_x(&self) -> f64 {
        let light = self.light();
        let left = self.disturbance.film.map_or(1.0, |film| film.left(0.0));
        let x = light.profile.edge_at(self.trip / left);
        light.sigma / (left * light.profile.slope_at(x))
    }

    /// Noise cycles per noise width.
    #[must_use]
    pub fn k(&self) -> f64 {
        self.sigma_x() / mm_per_min(self.feed) * self.corner
    }

    /// Beam and noise.
    #[must_use]
    pub fn light(&self) -> Light {
        let light = Light::new(self.span, self.snr);
        match self.beam {
            Beam::Gaussian => light,
            Beam::Circle => Light {
                profile: Profile::circular(self.span),
                ..light
            },
        }
    }

    /// The scene of one touch. Where there is little chatter the noise is
    /// stepped finely; where there is much, 10 steps a cycle suffice.
    #[must_use]
    pub fn scene(&self) -> Scene {
        Scene {
            approach: Approach::endless(mm_per_min(self.feed)),
            blade: Blade::default(),
            light: self.light(),
            spectrum: Spectrum {
                order: self.order,
                corner: self.corner,
                steps: if self.k() < 60.0 { 32 } else { 10 },
            },
            comparator: Comparator {
                trip: self.trip,
                half_hysteresis: self.hysteresis,
            },
            glitches: Glitches::per_second(self.glitches),
            capture: Capture {
                rate: f64::from(self.tick_hz),
            },
            disturbance: self.disturbance,
        }
    }

    /// The same barrier without disturbance at a feed of 16 noise cycles per width.
    fn school(&self) -> Self {
        Self {
            feed: self.feed * self.k() / 16.0,
            glitches: 0.0,
            disturbance: Disturbance {
                film: self.disturbance.film,
                ..Disturbance::default()
            },
            ..*self
        }
    }

    /// Words that tell this cell's random streams from all others'.
    pub(super) fn name(&self) -> Vec<u64> {
        let mut words = vec![
            self.feed.to_bits(),
            self.snr.to_bits(),
            self.span.to_bits(),
            self.corner.to_bits(),
            u64::from(self.order),
            self.hysteresis.to_bits(),
            self.glitches.to_bits(),
            u64::from(self.tick_hz),
        ];
        // Cells of the first studies had none of these; their names stay.
        let plain = Self::new(self.feed, self.snr);
        let later = |cell: &Self| (cell.trip, cell.beam, cell.disturbance, cell.series);
        if later(self) != later(&plain) {
            words.extend([self.trip.to_bits(), self.beam as u64, self.series]);
            // Everything there is to tell, eight bytes a word.
            let told = format!("{:?}", self.disturbance);
            words.extend(told.as_bytes().chunks(8).map(|bytes| {
                bytes
                    .iter()
                    .fold(0, |word, byte| word << 8 | u64::from(*byte))
            }));
        }
        words
    }
}

/// Shape of a beam along the blade's travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beam {
    /// Gaussian, cut by a straight edge.
    Gaussian,
    /// An evenly lit round aperture; the span is its diameter.
    Circle,
}

/// How the line is set up that sees the edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Station {
    /// Hold, ns.
    pub hold_ns: u64,
    /// Whether the host declares its feed class.
    pub class: bool,
    /// Bandwidth stated to the line, Hz; 0 states none.
    pub bandwidth_hz: u32,
}

/// How much is run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// Lines that see the same edges side by side.
    pub stations: Vec<Station>,
    /// Seeds of the touches that count, one each.
    pub seeds: RangeInclusive<u64>,
    /// Devices that share them.
    pub devices: u64,
    /// Touches at the school's feed before that.
    pub school: u64,
    /// Touches at the cell's own feed before those that count.
    pub warm_up: u64,
}

/// One touch as one station saw it; lengths in nm along the path, deeper positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    /// The touch reported; none when it was missed.
    pub found: Option<Found>,
    /// Touches reported beyond it.
    pub extra: u32,
    /// Error of the first edge.
    pub first_nm: Option<f64>,
    /// Error of 'N in a row'.
    pub run_nm: Option<f64>,
}

/// A touch that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Error of the onset.
    pub error_nm: f64,
    /// Error of the balance point alone.
    pub balance_nm: f64,
    /// Doubt stated.
    pub doubt_nm: Option<f64>,
    /// Edges of the chatter.
    pub edges: u32,
    /// Flags of the touch.
    pub flags: Flags,
    /// From the true onset to the confirmation, ns.
    pub confirm_ns: f64,
}

/// Runs `cell` by `plan`: for each station its trials in the order of the seeds.
///
/// # Errors
/// When a hold or the bandwidth of a station does not fit the tick rate.
pub fn run(cell: &Cell, plan: &Plan) -> Result<Vec<Vec<Trial>>, ConfigError> {
    run_while(cell, plan, &|_| true).map(Option::unwrap_or_default)
}

/// As [`run`], asking `go_on` after every touch; it is told how many of those that count were added (0 or 1).
/// None when it said no.
///
/// # Errors
/// As [`run`].
pub fn run_while(
    cell: &Cell,
    plan: &Plan,
    go_on: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Option<Vec<Vec<Trial>>>, ConfigError> {
    let rate = TickRate::from_hz(cell.tick_hz.max(1)).unwrap_or(TickRate::NANOSECONDS);
    let configs = plan
        .stations
        .iter()
        .map(|station| {
            let config = Config::new(rate, station.hold_ns)?;
            match station.bandwidth_hz {
                0 => Ok(config),
                hz => config.bandwidth_hz(hz),
            }
        })
        .collect::<Result<Vec<_>, _>>()?;
    let (first, last) = (*plan.seeds.start(), *plan.seeds.end());
    let touches = (last + 1).saturating_sub(first);
    let devices = plan.devices.clamp(1, touches.max(1));
    let shares: Option<Vec<Vec<Vec<Trial>>>> = (0..devices)
        .into_par_iter()
        .map(|device| {
            let share =
                (first + touches * device / devices)..(first + touches * (device + 1) / devices);
            Device::new(cell, plan, &configs, device).measure(share, go_on)
        })
        .collect();
    let Some(shares) = shares else {
        return Ok(None);
    };
    let mut trials = vec![Vec::with_capacity(touches as usize); configs.len()];
    for share in shares {
        for (all, part) in trials.iter_mut().zip(share) {
            all.extend(part);
        }
    }
    Ok(Some(trials))
}

/// A line with its settings and the baseline beside it.
struct Seat {
    config: Config,
    line: Line,
    baseline: Baseline,
}

struct Device<'a> {
    cell: &'a Cell,
    plan: &'a Plan,
    number: u64,
    seats: Vec<Seat>,
    simulator: Simulator,
    /// When noise can switch the output, and when contact is; the same for every touch of a scene.
    when: Option<((f64, f64), f64)>,
    /// Where the next touch begins, ticks.
    now: u64,
    /// Longest hold of the seats, s.
    hold: f64,
    /// How long a contact may flutter, s.
    unrest: f64,
    /// What the cell adds to the names of its streams.
    name: Vec<u64>,
}

impl<'a> Device<'a> {
    fn new(cell: &'a Cell, plan: &'a Plan, configs: &[Config], number: u64) -> Self {
        let longest = plan.stations.iter().map(|s| s.hold_ns).max();
        Self {
            cell,
            plan,
            number,
            seats: configs
                .iter()
                .map(|&config| Seat {
                    config,
                    line: Line::new(&config, Level::Low, Instant::from_ticks(0)),
                    baseline: Baseline::new(u64::from(config.hold_ticks())),
                })
                .collect(),
            simulator: Simulator::new(cell.scene()),
            when: None,
            now: 0,
            hold: longest.unwrap_or(0) as f64 * 1e-9,
            unrest: cell.disturbance.flutter.map_or(0.0, |flutter| {
                f64::from(flutter.hits) * (flutter.blocked.1 + flutter.free.1)
            }),
            name: cell.name(),
        }
    }

    fn measure(
        mut self,
        seeds: std::ops::Range<u64>,
        go_on: &(dyn Fn(u64) -> bool + Sync),
    ) -> Option<Vec<Vec<Trial>>> {
        self.play(&self.cell.school().scene());
        for touch in 0..self.plan.school {
            self.touch(&mut self.stream(&[1, self.number, touch]));
            go_on(0).then_some(())?;
        }
        for (seat, station) in self.seats.iter_mut().zip(&self.plan.stations) {
            seat.line.exchange_class(station.class.then(FeedClass::new));
        }
        self.play(&self.cell.scene());
        for touch in 0..self.plan.warm_up {
            self.touch(&mut self.stream(&[2, self.number, touch]));
            go_on(0).then_some(())?;
        }
        let mut trials = vec![Vec::new(); self.seats.len()];
        for seed in seeds {
            let seen = self.touch(&mut self.stream(&[0, seed]));
            for (all, trial) in trials.iter_mut().zip(seen) {
                all.push(trial);
            }
            go_on(1).then_some(())?;
        }
        Some(trials)
    }

    /// The touches to come are those of `scene`.
    fn play(&mut self, scene: &Scene) {
        self.simulator = Simulator::new(*scene);
        self.when = self.simulator.reach().zip(scene.truth().contact);
    }

    fn stream(&self, words: &[u64]) -> Rng {
        rng::stream(&[words, &self.name].concat())
    }

    /// One touch and a clean release long after, on all seats.
    fn touch(&mut self, rng: &mut Rng) -> Vec<Trial> {
        let scene = *self.simulator.scene();
        let Some(((from, to), truth)) = self.when else {
            return Vec::new();
        };
        let quiet = 4.0 * self.hold;
        let watch = (from - quiet, to + 2.0 * quiet + self.unrest);
        // The crossing falls anywhere within a tick.
        let phase = Uniform::new(0.0, 1.0 / scene.capture.rate).map_or(0.0, |u| u.sample(rng));
        let base = self.now;
        let seconds = |t: f64| t - watch.0 + phase;
        let judge = Judge {
            base,
            truth: scene.capture.ticks(seconds(truth)),
            nm: 1e9 * scene.approach.feed / scene.capture.rate,
            ns: 1e9 / scene.capture.rate,
        };
        let release = scene.capture.stamp(base, seconds(watch.1 + 3.0 * quiet));
        self.now = scene.capture.stamp(base, seconds(watch.1 + 6.0 * quiet));
        let edges = self.simulator.edges(rng, watch);
        let (until, capture) = (self.now, scene.capture);
        self.seats
            .iter_mut()
            .map(|seat| {
                let mut touches = Touches::default();
                seat.baseline = Baseline::new(u64::from(seat.config.hold_ticks()));
                for &(t, blocked) in edges {
                    let at = capture.stamp(base, seconds(t));
                    seat.baseline.edge(at, blocked);
                    touches.take(seat.edge(at, blocked));
                }
                touches.take(seat.poll(release));
                seat.baseline.until(release);
                touches.take(seat.edge(release, false));
                touches.take(seat.poll(until));
                judge.trial(&touches, &seat.baseline)
            })
            .collect()
    }
}

impl Seat {
    fn edge(&mut self, at: u64, blocked: bool) -> Option<Event> {
        let level = if blocked { Level::High } else { Level::Low };
        let edge = Edge::new(Instant::from_ticks(at), level);
        self.line.edge(&self.config, edge)
    }

    fn poll(&mut self, at: u64) -> Option<Event> {
        self.line.poll(&self.config, Instant::from_ticks(at))
    }
}

#[derive(Default)]
struct Touches {
    first: Option<Contact>,
    extra: u32,
}

impl Touches {
    fn take(&mut self, event: Option<Event>) {
        if let Some(Event::Touch(contact)) = event {
            if self.first.is_some() {
                self.extra += 1;
            } else {
                self.first = Some(contact);
            }
        }
    }
}

/// Compares with the truth of one touch.
struct Judge {
    base: u64,
    /// True onset after the base, ticks.
    truth: f64,
    /// Travel in a tick.
    nm: f64,
    /// Time in a tick.
    ns: f64,
}

impl Judge {
    fn trial(&self, touches: &Touches, baseline: &Baseline) -> Trial {
        let of_tick = |at: u64| self.after(Instant::from_ticks(at)) * self.nm;
        Trial {
            found: touches.first.map(|contact| Found {
                error_nm: self.fine(contact.onset) * self.nm,
                balance_nm: self.fine(contact.balance) * self.nm,
                doubt_nm: contact
                    .doubt
                    .map(|doubt| f64::from(doubt.sixteenths()) / 16.0 * self.nm),
                edges: contact.edges,
                flags: contact.flags,
                confirm_ns: self.after(contact.confirmed) * self.ns,
            }),
            extra: touches.extra,
            first_nm: baseline.first().map(of_tick),
            run_nm: baseline.run().map(of_tick),
        }
    }

    /// Ticks from the true onset to `at`.
    fn after(&self, at: Instant) -> f64 {
        let ticks = at.since(Instant::from_ticks(self.base)).ticks();
        ticks as f64 - self.truth
    }

    fn fine(&self, at: FineInstant) -> f64 {
        self.after(at.whole()) + f64::from(at.part_256()) / 256.0
    }
}
