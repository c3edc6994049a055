//! Monte Carlo of the sampled barrier: light of a blade at constant feed through the very code
//! the firmware runs.
//!
//! Noise is white at the sampling rate, of the density that `snr` has in 100 kHz behind a
//! fourth-order low-pass (ONE figure of the scenario for edges and samples alike).

use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use trueonset::barrier::{Barrier, BarrierConfig, Method, Seen};
use trueonset::flags::Flags;
use trueonset::onset::{Contact, Event};
use trueonset::time::{Instant, TickRate};

use super::closed_form::noise_bandwidth;
use crate::model::approach::mm_per_min;
use crate::model::light::Light;
use crate::model::rng::{self, Rng};

/// Bandwidth in which `snr` is meant, Hz.
const NOISE_CORNER: f64 = 100e3;
/// Order of the low-pass in front of it.
const NOISE_ORDER: u32 = 4;
/// The light falls from this far, in spans: 1 - 1e-7 of it.
const FROM_SPANS: f64 = 1.118;
/// Blocks of rest a barrier learns its noise from before the touches.
const SCHOOL: u32 = 300;

/// What is simulated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampledCell {
    /// Feed, mm/min; negative where the blade leaves.
    pub feed: f64,
    /// Full light over noise, dB.
    pub snr: f64,
    /// Travel from 99 % to 1 % of light, m.
    pub span: f64,
    /// Samples a second.
    pub rate_hz: u32,
    /// Bits of the converter.
    pub bits: u8,
    /// Share of full scale that the rest light fills.
    pub fill: f64,
    /// How the wide zone weighs.
    pub method: Method,
    /// Hold beyond the zone, ns.
    pub hold_ns: u64,
    /// Light that film takes, share of the clean light an hour.
    pub film_per_h: f64,
    /// How long film has grown before the touch, s.
    pub armed_s: f64,
}

/// A touch; lengths in nm along the path, deeper positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampledTrial {
    /// Error of the refined onset; none when missed.
    pub error_nm: Option<f64>,
    /// Error of the early onset.
    pub hard_nm: Option<f64>,
    /// Doubt of the refined onset.
    pub doubt_nm: Option<f64>,
    /// Flags of the touch.
    pub flags: Flags,
}

impl SampledCell {
    /// The cell of the study: 150 µm span, 200 kS/s, 12 bit filled to 90 %, hold 100 µs, no film.
    /// `feed` in mm/min, `snr` in dB.
    #[must_use]
    pub fn new(feed: f64, snr: f64, method: Method) -> Self {
        Self {
            feed,
            snr,
            span: 150e-6,
            rate_hz: 200_000,
            bits: 12,
            fill: 0.9,
            method,
            hold_ns: 100_000,
            film_per_h: 0.0,
            armed_s: 0.0,
        }
    }

    /// Noise of one sample, share of full light.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        let light = Light::new(self.span, self.snr);
        let density_band = 2.0 * noise_bandwidth(NOISE_ORDER) * NOISE_CORNER;
        light.sigma * (f64::from(self.rate_hz) / density_band).sqrt()
    }

    /// The full-span bound for this light, nm.
    #[must_use]
    pub fn bound_nm(&self) -> f64 {
        let light = Light::new(self.span, self.snr);
        super::closed_form::full_span_bound(
            mm_per_min(self.feed),
            NOISE_CORNER,
            NOISE_ORDER,
            light.sigma,
            light.profile.slope_energy(),
        ) * 1e9
    }

    fn config(&self) -> Option<BarrierConfig> {
        BarrierConfig::new(TickRate::NANOSECONDS, self.rate_hz, self.hold_ns)
            .and_then(|config| config.bits(self.bits))
            .and_then(|config| config.method(self.method))
            .ok()
    }

    fn name(&self) -> [u64; 6] {
        [
            self.feed.to_bits(),
            self.snr.to_bits(),
            self.span.to_bits(),
            u64::from(self.rate_hz),
            u64::from(self.bits),
            self.fill.to_bits() ^ self.film_per_h.to_bits() ^ self.armed_s.to_bits(),
        ]
    }
}

/// Runs the touches with these seeds; `None` where the cell is outside the core's range.
#[must_use]
pub fn run_sampled(
    cell: &SampledCell,
    seeds: std::ops::RangeInclusive<u64>,
) -> Option<Vec<SampledTrial>> {
    let config = cell.config()?;
    let light = Converter::new(cell);
    let mut school = Barrier::new(Instant::from_ticks(0));
    let mut rng = rng::stream(&[&cell.name()[..], &[0]].concat());
    let block = 16 << (cell.rate_hz / 250).ilog2();
    let clean = SCHOOL * block;
    for _ in 0..clean {
        let _idle = school.sample(&config, light.count(1.0, &mut rng));
    }
    let mut light = light;
    light.loss_per_sample = cell.film_per_h / 3_600.0 / f64::from(cell.rate_hz);
    for k in 0..(cell.armed_s * f64::from(cell.rate_hz)) as u64 {
        let share = 1.0 - light.loss_per_sample * k as f64;
        let _idle = school.sample(&config, light.count(share, &mut rng));
    }
    light.clean_samples = u64::from(clean);
    let trials = seeds
        .into_par_iter()
        .map(|seed| {
            let mut rng = rng::stream(&[&cell.name()[..], &[seed]].concat());
            touch(cell, &config, &light, school.clone(), &mut rng)
        })
        .collect();
    Some(trials)
}

/// From a share of full light to counts, noise included.
struct Converter {
    full: f64,
    most: f64,
    sigma: f64,
    /// Film, and since which sample it grows.
    loss_per_sample: f64,
    clean_samples: u64,
}

impl Converter {
    fn new(cell: &SampledCell) -> Self {
        let most = f64::from((1_u32 << cell.bits) - 1);
        Self {
            full: cell.fill * most,
            most,
            sigma: cell.sigma(),
            loss_per_sample: 0.0,
            clean_samples: 0,
        }
    }

    /// Share of the clean light that film has left at a sample.
    fn left(&self, sample: u64) -> f64 {
        1.0 - self.loss_per_sample * sample.saturating_sub(self.clean_samples) as f64
    }

    fn count(&self, share: f64, rng: &mut Rng) -> u16 {
        let noise: f64 = StandardNormal.sample(rng);
        let counts = (share + self.sigma * noise) * self.full + 0.5;
        counts.clamp(0.0, self.most) as u16
    }
}

fn touch(
    cell: &SampledCell,
    config: &BarrierConfig,
    light: &Converter,
    mut barrier: Barrier,
    rng: &mut Rng,
) -> SampledTrial {
    let profile = Light::new(cell.span, cell.snr).profile;
    let step = mm_per_min(cell.feed) / f64::from(cell.rate_hz);
    // The first sample lies anywhere within a sample.
    let shift: f64 = rand_distr::Uniform::new(0.0, 1.0).map_or(0.0, |d| d.sample(rng));
    let begin = -FROM_SPANS * cell.span + shift * step;
    let first = barrier.samples();
    // Crossing of half light, in ns of the barrier's clock.
    let truth = (first as f64 - begin / step) * 1e9 / f64::from(cell.rate_hz);
    let nm_per_ns = mm_per_min(cell.feed);
    let mut trial = SampledTrial {
        error_nm: None,
        hard_nm: None,
        doubt_nm: None,
        flags: Flags::NONE,
    };
    let error = |at: trueonset::time::FineInstant| {
        (at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0 - truth) * nm_per_ns
    };
    // Straight pieces of at most 1/1000 of the span: far below the noise.
    let piece = ((cell.span / 1_000.0 / step) as u64).clamp(1, 1 << 16);
    let end = (2.0 * FROM_SPANS * cell.span / step) as u64
        + 4 * u64::from(cell.rate_hz) * cell.hold_ns / 1_000_000_000
        + 2;
    let mut done = 0;
    let mut level = profile.transmitted(begin);
    while done < end {
        let next = profile.transmitted(begin + (done + piece) as f64 * step);
        let fall = (next - level) / piece as f64;
        for k in 0..piece {
            let share = (level + fall * k as f64) * light.left(first + done + k);
            match barrier.sample(config, light.count(share, rng)) {
                Some(Seen::Hard(hard)) => trial.hard_nm = Some(error(hard.onset)),
                Some(Seen::Event(Event::Touch(contact))) => {
                    note(&mut trial, &contact, error(contact.onset), nm_per_ns);
                    return trial;
                }
                _ => {}
            }
        }
        level = next;
        done += piece;
    }
    trial
}

fn note(trial: &mut SampledTrial, contact: &Contact, error_nm: f64, nm_per_ns: f64) {
    trial.error_nm = Some(error_nm);
    trial.doubt_nm = contact
        .doubt
        .map(|doubt| f64::from(doubt.sixteenths()) / 16.0 * nm_per_ns);
    trial.flags = contact.flags;
}
