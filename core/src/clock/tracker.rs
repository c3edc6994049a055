//! Arrivals in, moments of slots out.

use super::config::ClockConfig;
use super::jitter::{Fed, Jitter, Source};
use super::line::Line;
use super::moment::{Length, Moment};
use super::monitor::Monitor;
use crate::onset::math;
use crate::time::{FineInstant, Instant, Span, TickRate};

/// The last slot: slots have 40 bits, 34 years of 1 ms.
pub const MAX_SLOT: u64 = (1 << 40) - 1;

/// Residuals from which the scatter is known well enough; with the two arrivals that make a line,
/// eight frames.
const LOCKS: u32 = 6;

/// When something on the probe's clock happens on the receiver's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Prediction {
    /// The instant.
    pub at: FineInstant,
    /// How far the true one may be off at most, 1/256 ticks: a bound, not a standard uncertainty.
    /// `None` while the clock is not locked, and beyond 2^24 ticks.
    pub doubt_256: Option<u32>,
    /// What silence since the newest frame adds to the gate.
    pub slack: Span,
}

impl Prediction {
    /// The bound in nanoseconds, rounded up.
    #[must_use]
    pub fn doubt_ns(&self, rate: TickRate) -> Option<u32> {
        let ns = rate.ns(u64::from(self.doubt_256?)) / 256 + 1;
        u32::try_from(ns).ok()
    }
}

/// The probe's clock as heard by the receiver: O(1) in memory and work a frame.
///
/// The caller decides which frames are genuine, and asks [`fits`](Self::fits) before
/// [`update`](Self::update). Anything may come in: arrivals that go back, slots years away; no
/// input panics.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Clock {
    line: Line,
    jitter: Jitter,
    monitor: Monitor,
    clashes: u32,
    clash: bool,
}

impl Clock {
    /// From the first frame: its slot and when it arrived.
    #[must_use]
    pub fn start(config: &ClockConfig, slot: u64, arrival: Instant) -> Self {
        let jitter = Jitter::default();
        let half = scatter_256(config, &jitter);
        Self {
            line: Line::new(config, slot, arrival),
            jitter,
            monitor: Monitor::new(config, slot, arrival, half),
            clashes: 0,
            clash: false,
        }
    }

    /// A frame that is taken for genuine. Whether it was used: only slots newer than all before
    /// are, and after 2^31 slots of silence a frame starts the clock anew.
    pub fn update(&mut self, config: &ClockConfig, slot: u64, arrival: Instant) -> bool {
        if slot <= self.monitor.slot() {
            return false;
        }
        if self.line.distance(slot) > u32::MAX / 2 {
            *self = Self {
                clashes: self.clashes,
                ..Self::start(config, slot, arrival)
            };
            return true;
        }
        let residual_32 = self.line.moment(slot).to_32(arrival);
        if self.line.is_new() && self.jitter.source() == Source::Arrivals {
            // It only tells the slope, and is no scatter.
            self.line.update(config, slot, residual_32);
        } else {
            match self.jitter.add(slot, residual_32, config.large_16) {
                Fed::Residual(slot, residual_32) => self.line.update(config, slot, residual_32),
                Fed::Changed(slot, residual_32) => self.line.restart(slot, residual_32),
                Fed::Nothing => {}
            }
        }
        let half = scatter_256(config, &self.jitter);
        self.clash = self.monitor.add(config, slot, arrival, half);
        if self.clash {
            self.clashes = self.clashes.saturating_add(1);
            self.jitter.distrust();
        }
        true
    }

    /// When `slot` begins.
    #[must_use]
    pub fn predict(&self, config: &ClockConfig, slot: u64) -> Prediction {
        let away = self.line.distance(slot);
        self.prediction(config, self.line.moment(slot), away, 0)
    }

    /// `age_125ns` steps of 0.125 µs, on the probe's clock, before `slot` begins: an edge whose
    /// age was rounded to the nearest step.
    #[must_use]
    pub fn predict_before(&self, config: &ClockConfig, slot: u64, age_125ns: u32) -> Prediction {
        let slots = age_125ns.checked_div(config.steps).unwrap_or(0);
        let rest = age_125ns - slots * config.steps;
        let share = (u64::from(rest) << 32)
            .checked_div(u64::from(config.steps))
            .unwrap_or(0);
        let period = self.line.period_32();
        let at = self
            .line
            .moment(slot)
            .earlier(Length::periods(period, slots))
            // The rest is below a slot.
            .earlier(Length::share(period, share as u32));
        let away = self
            .line
            .distance(slot)
            .saturating_add(slots)
            .saturating_add(1);
        self.prediction(config, at, away, config.half_step_256)
    }

    fn prediction(
        &self,
        config: &ClockConfig,
        at: Moment,
        away: u32,
        rounding_256: u64,
    ) -> Prediction {
        let doubt_256 = self.locked(config).then(|| {
            // A tick more for the capture, whose rounding may be the same in every frame.
            self.noise_256(self.jitter.fed_16(), config, away)
                .saturating_add(config.bent_256(self.line.memory(config), away))
                .saturating_add(rounding_256)
                .saturating_add(256)
        });
        Prediction {
            at: at.fine(),
            doubt_256: doubt_256.and_then(|doubt| u32::try_from(doubt).ok()),
            slack: span_up(self.slack_256(config, away)),
        }
    }

    /// What scatter does to a moment so many slots away: the line's own noise, and that of its
    /// slope, h/2τ of it.
    fn noise_256(&self, mean_16: u64, config: &ClockConfig, away: u32) -> u64 {
        let noise = (self.line.noise_16(mean_16) >> 8) + 1;
        noise.saturating_add(self.fanned(noise, config, away))
    }

    fn fanned(&self, noise: u64, config: &ClockConfig, away: u32) -> u64 {
        let twice = 2 * u64::from(self.line.memory(config).max(1));
        math::mul(noise, away).checked_div(twice).unwrap_or(0)
    }

    /// What the predicted moment may have gone astray since the newest frame of the line.
    fn slack_256(&self, config: &ClockConfig, away: u32) -> u64 {
        if self.line.is_new() && self.jitter.source() == Source::Arrivals {
            let tolerance = config.tolerance_24.unsigned_abs();
            return math::mul_shift(tolerance, away, 16).saturating_add(1);
        }
        let scatter = self.jitter.scatter_16(config.prior_16);
        let noise = (self.line.noise_16(scatter) >> 8) + 1;
        self.fanned(noise, config, away)
            .saturating_add(config.bent_256(self.line.memory(config), away))
    }

    /// How far a genuine arrival of `slot` may be from its prediction: twelve standard deviations
    /// of the arrivals and 4 µs, and the slack.
    #[must_use]
    pub fn gate(&self, config: &ClockConfig, slot: u64) -> Span {
        let slack = self.slack_256(config, self.line.distance(slot));
        span_up(scatter_256(config, &self.jitter).saturating_add(slack))
    }

    /// Whether an arrival is within the [`gate`](Self::gate).
    #[must_use]
    pub fn fits(&self, config: &ClockConfig, slot: u64, arrival: Instant) -> bool {
        let predicted = self.line.moment(slot).whole();
        arrival.since(predicted).ticks().unsigned_abs()
            <= self.gate(config, slot).ticks().unsigned_abs()
    }

    /// The slot whose low 16 bits are these and whose start is nearest to the arrival, 0 to
    /// [`MAX_SLOT`]. Right while the clock is less than 2^15 slots off: after silence of up to
    /// 2^15 slots over the error of the rate.
    #[must_use]
    pub fn nearest(&self, low16: u16, arrival: Instant) -> u64 {
        let guess = self.line.position(arrival).min(MAX_SLOT);
        let step = i64::from(low16.wrapping_sub(guess as u16) as i16);
        let slot = guess as i64 + step;
        let slot = match slot {
            ..0 => slot + (1 << 16),
            _ if slot > MAX_SLOT as i64 => slot - (1 << 16),
            _ => slot,
        };
        slot as u64
    }

    /// Whether predictions have a bound: eight frames since the start, a change of source or a
    /// clash, and the source not in question.
    #[must_use]
    pub fn locked(&self, config: &ClockConfig) -> bool {
        self.jitter.fed() >= LOCKS && !self.jitter.undecided(config.large_16)
    }

    /// What feeds the clock: the earliest of eight arrivals where these scatter less than a
    /// quarter of all, and all by more than 4 µs; every arrival otherwise.
    #[must_use]
    pub fn source(&self) -> Source {
        self.jitter.source()
    }

    /// Whether the newest frame contradicts those before it: no oscillator within its stated
    /// limits could have sent all of them, each at most a gate off.
    #[must_use]
    pub fn clash(&self) -> bool {
        self.clash
    }

    /// Clashes so far, saturating.
    #[must_use]
    pub fn clashes(&self) -> u32 {
        self.clashes
    }

    /// How much faster (shorter slots) than nominal the probe's clock runs, ppb.
    #[must_use]
    pub fn rate_ppb(&self, config: &ClockConfig) -> i32 {
        // At most 7 % of 2^58.
        let nominal = config.slot_32;
        let apart = nominal.abs_diff(self.line.period_32());
        let unit = (nominal / 1_000_000_000).max(1);
        let ppb = apart.checked_div(unit).unwrap_or(0).min(i32::MAX as u64) as i32;
        if self.line.period_32() > nominal {
            -ppb
        } else {
            ppb
        }
    }
}

/// Twelve standard deviations, 12·1.2533 mean sizes, and what is fixed.
fn scatter_256(config: &ClockConfig, jitter: &Jitter) -> u64 {
    (math::mul(jitter.scatter_16(config.prior_16), 15) >> 8).saturating_add(config.gate_256)
}

fn span_up(length_256: u64) -> Span {
    // Below 2^57.
    Span::from_ticks((length_256 / 256 + 1) as i64)
}
