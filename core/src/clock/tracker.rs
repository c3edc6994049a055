//! Arrivals in, moments of slots out.

use super::config::{Away, ClockConfig};
use super::jitter::{Block, Change, Path, Source};
use super::line::{Line, Sight};
use super::moment::Length;
use super::monitor::Monitor;
use crate::onset::math;
use crate::time::{FineInstant, Instant, Span, TickRate};
use core::num::NonZeroU32;

/// The last slot: slots have 40 bits, 34 years of 1 ms.
pub const MAX_SLOT: u64 = (1 << 40) - 1;

/// Residuals from which the scatter is known well enough; with the two arrivals that make a line,
/// eight frames.
const LOCKS: u32 = 6;
/// Minima before which the presumed source stays, and before which large scatter is called even:
/// the first ones still have the start of their line in them.
const CHOOSES: u32 = 8;
const EVEN: u32 = 32;

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
    /// Fed by every arrival, and by the earliest of each block once one has ended.
    all: Path,
    earliest: Option<Path>,
    block: Block,
    source: Source,
    monitor: Monitor,
    clashes: u32,
    clash: bool,
    /// What the newest frame settled until the next, 1/256 ticks: the gate without slack, or less;
    /// the bound of the chosen line at its own slot, `None` while not locked.
    scatter_256: u32,
    here_256: Option<NonZeroU32>,
}

impl Clock {
    /// From the first frame: its slot and when it arrived.
    #[must_use]
    #[inline(always)] // So that it is made in its place, and not on the stack.
    pub fn start(config: &ClockConfig, slot: u64, arrival: Instant) -> Self {
        let half = scatter_256(config, &Change::NONE);
        Self {
            all: Path::new(Line::hung(config.slot_32, slot, arrival)),
            earliest: None,
            block: Block::NONE,
            source: config.presumed,
            monitor: Monitor::new(config, slot, arrival, half),
            clashes: 0,
            clash: false,
            scatter_256: 0,
            here_256: None,
        }
    }

    /// A frame that is taken for genuine. Whether it was used: only slots newer than all before
    /// are, and after 2^31 slots of silence a frame starts the clock anew.
    pub fn update(&mut self, config: &ClockConfig, slot: u64, arrival: Instant) -> bool {
        if slot <= self.all.line.slot() {
            return false;
        }
        if self.line().distance(slot) > u32::MAX / 2 {
            let clashes = self.clashes;
            self.restart(config, slot, arrival);
            self.clashes = clashes;
            return true;
        }
        let seen = self.all.line.sight(slot, arrival);
        if !self.all.line.is_new() {
            self.earliest(config, slot, arrival, seen.residual_32);
        }
        self.all.feed(config, &seen);
        self.watch(config, &seen, arrival);
        true
    }

    /// Anew, in its place.
    #[cold]
    #[inline(never)]
    fn restart(&mut self, config: &ClockConfig, slot: u64, arrival: Instant) {
        *self = Self::start(config, slot, arrival);
    }

    /// The second line. It takes its period from the first, which takes a few frames to learn it.
    #[inline(never)]
    fn earliest(&mut self, config: &ClockConfig, slot: u64, arrival: Instant, residual_32: i64) {
        let own = match &self.earliest {
            Some(path) => path.line.sight(slot, arrival).residual_32,
            None => residual_32,
        };
        let Some((slot, arrival)) = self.block.add(slot, arrival, own) else {
            return;
        };
        let Some(path) = &mut self.earliest else {
            let line = Line::hung(self.all.line.period_32(), slot, arrival);
            self.earliest = Some(Path::new(line));
            return;
        };
        path.feed(config, &path.line.sight(slot, arrival));
        if path.fed() < CHOOSES {
            return;
        }
        let all = self.all.change.scatter_16(0);
        let earliest = path.change.scatter_16(0);
        if all > config.large_16 && earliest < all / 4 {
            self.source = Source::Minima;
        } else if all < config.large_16 / 2 || is_even(&self.all, path) {
            self.source = Source::Arrivals;
        }
    }

    /// Intervals count from the lock on: before it, the scatter is not known.
    #[inline(never)]
    fn watch(&mut self, config: &ClockConfig, seen: &Sight, arrival: Instant) {
        let half = scatter_256(config, &self.all.change);
        self.scatter_256 = u32::try_from(half).unwrap_or(u32::MAX);
        self.clash = false;
        self.here_256 = None;
        if !self.locked(config) {
            self.monitor.restart(config, seen.slot, arrival, half);
            return;
        }
        self.clash = self.monitor.add(config, seen, arrival, half);
        if self.clash {
            self.clashes = self.clashes.saturating_add(1);
            self.all.distrust();
            if let Some(path) = &mut self.earliest {
                path.distrust();
            }
            return;
        }
        // A tick more for the capture, whose rounding may be the same in every frame.
        let path = self.path();
        let lag = config.lag_256(path.line.memory(config));
        let here = path
            .noise_256(config)
            .saturating_add(lag)
            .saturating_add(256);
        self.here_256 = u32::try_from(here).ok().and_then(NonZeroU32::new);
    }

    /// The path that the source chooses.
    fn path(&self) -> &Path {
        if self.source == Source::Arrivals {
            return &self.all;
        }
        self.earliest.as_ref().unwrap_or(&self.all)
    }

    fn line(&self) -> &Line {
        &self.path().line
    }

    /// The newest slot heard.
    #[must_use]
    pub fn newest(&self) -> u64 {
        self.all.line.slot()
    }

    /// The tick in which `slot` begins, without a bound.
    #[must_use]
    pub fn begins(&self, slot: u64) -> Instant {
        self.line().moment(slot).whole()
    }

    /// When `slot` begins.
    #[must_use]
    pub fn predict(&self, config: &ClockConfig, slot: u64) -> Prediction {
        let line = self.line();
        Prediction {
            doubt_256: self.doubt_256(config, line.away(slot), 0),
            at: line.moment(slot).fine(),
        }
    }

    /// `age_125ns` steps of 0.125 µs, on the probe's clock, before `slot` begins: an edge whose
    /// age was rounded to the nearest step.
    #[must_use]
    pub fn predict_before(&self, config: &ClockConfig, slot: u64, age_125ns: u32) -> Prediction {
        let slots = age_125ns.checked_div(config.steps).unwrap_or(0);
        let rest = age_125ns - slots * config.steps;
        let before = self.line().away(slot).earlier(slots);
        Prediction {
            doubt_256: self.doubt_256(config, before, config.half_step_256),
            at: self.earlier(config, slot, slots, rest),
        }
    }

    /// So many slots, and `rest` steps of 0.125 µs less than a slot, before `slot` begins.
    fn earlier(&self, config: &ClockConfig, slot: u64, slots: u32, rest: u32) -> FineInstant {
        let share = math::quotient(u64::from(rest) << 32, config.steps);
        let line = self.line();
        let period = line.period_32();
        let age = Length::periods(period, slots).plus(Length::share(period, share as u32));
        line.moment(slot).earlier(age).fine()
    }

    /// The bound there, 1/256 ticks, with what was rounded.
    fn doubt_256(&self, config: &ClockConfig, away: Away, rounding_256: u64) -> Option<u32> {
        let here = self.here_256?;
        let near = away.ahead == 0 && away.behind <= 2 * self.line().memory(config);
        let farther = if near {
            0
        } else {
            self.farther_256(config, away)
        };
        // Half a step is below 2^32.
        let doubt = (u64::from(here.get()) + rounding_256).saturating_add(farther);
        u32::try_from(doubt).ok()
    }

    /// What a bound grows by away from the slot of the line: nothing within two memories before it.
    #[inline(never)]
    fn farther_256(&self, config: &ClockConfig, away: Away) -> u64 {
        let tau = self.line().memory(config);
        let noise = self.path().noise_256(config);
        self.fanned(noise, config, away).saturating_add(
            config
                .bent_256(tau, away)
                .saturating_sub(config.lag_256(tau)),
        )
    }

    /// What scatter of the slope adds to that of the line. Their sum has the variance
    /// (1.25 + h/τ + h²/4τ²)·dt/τ: ahead less than h/2τ more, behind less up to 4τ.
    fn fanned(&self, noise: u64, config: &ClockConfig, away: Away) -> u64 {
        let tau = self.line().memory(config).max(1);
        let far = if away.behind / 4 >= tau {
            away.behind
        } else {
            0
        };
        let slots = away.ahead.max(far);
        if slots == 0 {
            return 0;
        }
        math::quotient(math::mul(noise, slots), 2 * tau)
    }

    /// What the predicted moment may be off by since the newest frame of the line.
    #[inline(never)]
    fn slack_256(&self, config: &ClockConfig, slot: u64) -> u64 {
        let line = self.line();
        let away = line.away(slot);
        if line.is_new() {
            let tolerance = config.tolerance_24.unsigned_abs();
            let slots = away.ahead.max(away.behind);
            return math::mul_shift(tolerance, slots, 16).saturating_add(1);
        }
        let scatter = self.all.change.scatter_16(config.prior_16);
        let noise = (line.noise_16(config, scatter) >> 8) + 1;
        self.fanned(noise, config, away)
            .saturating_add(config.bent_256(line.memory(config), away))
    }

    /// What silence since the newest frame adds to the [`gate`](Self::gate) at `slot`.
    #[must_use]
    pub fn slack(&self, config: &ClockConfig, slot: u64) -> Span {
        span_up(self.slack_256(config, slot))
    }

    /// How far a genuine arrival of `slot` may be from its prediction: twelve standard deviations
    /// of the arrivals and 4 µs, and the slack.
    #[must_use]
    pub fn gate(&self, config: &ClockConfig, slot: u64) -> Span {
        let slack = self.slack_256(config, slot);
        span_up(scatter_256(config, &self.all.change).saturating_add(slack))
    }

    /// Whether an arrival is within the [`gate`](Self::gate).
    #[must_use]
    pub fn fits(&self, config: &ClockConfig, slot: u64, arrival: Instant) -> bool {
        let off = arrival.since(self.begins(slot)).ticks().unsigned_abs();
        // As nearly always, without a look at the slack.
        off <= u64::from(self.scatter_256 / 256)
            || off <= self.gate(config, slot).ticks().unsigned_abs()
    }

    /// Whether silence up to `now` has not made the clock worse than a fourth of a slot.
    pub(crate) fn is_good(&self, config: &ClockConfig, now: Instant) -> bool {
        let line = self.line();
        let (slot, tau) = (config.slot_ticks(), line.memory(config));
        // Within a memory of nominal slots, so within two of the line's own, scatter fans out to its
        // own size, which is below the gate or the bound of here; and τ² + 2τh + h²/2 is at most
        // seven times the lag within that bound.
        let since = now.ticks_since(line.whole());
        let newest = self.newest();
        let near = since < slot * u64::from(tau) && newest - line.slot() < u64::from(tau);
        if let Some(here) = self.here_256.filter(|_| near) {
            if u64::from(self.scatter_256) + 8 * u64::from(here.get()) < slot / 4 * 256 {
                return true;
            }
        }
        let since = now.ticks_since(self.begins(newest));
        let slots = math::quotient(since, slot as u32);
        let there = newest.saturating_add(slots).saturating_add(1);
        self.slack(config, there).ticks().unsigned_abs() <= slot / 4
    }

    /// The slot whose low 16 bits are these and whose start is nearest to the arrival, 0 to
    /// [`MAX_SLOT`]. Right while the clock is less than 2^15 slots off: after silence of up to
    /// 2^15 slots over the error of the rate.
    #[must_use]
    pub fn nearest(&self, low16: u16, arrival: Instant) -> u64 {
        let line = self.line();
        if let Some(slot) = line.soon(low16, arrival) {
            return slot;
        }
        let guess = line.position(arrival).min(MAX_SLOT);
        let step = i64::from(low16.wrapping_sub(guess as u16) as i16);
        let slot = guess as i64 + step;
        let slot = match slot {
            ..0 => slot + (1 << 16),
            _ if slot > MAX_SLOT as i64 => slot - (1 << 16),
            _ => slot,
        };
        slot as u64
    }

    /// Whether predictions have a bound: eight frames since the start or a clash, and the source
    /// not in question: minima take nine blocks of eight, and arrivals that scatter evenly but
    /// by more than 2 µs take 33. A start of late stamps that happens to be quiet may lock sooner
    /// on arrivals, and for some frames state a bound about the constant of these: presume minima
    /// where stamps come from software. Never while the rate is held at the end of what it may
    /// be.
    #[must_use]
    pub fn locked(&self, config: &ClockConfig) -> bool {
        if self.line().is_held(config) {
            return false;
        }
        // Both sources have constants of their own: microseconds apart for late stamps.
        match self.source {
            Source::Minima => self
                .earliest
                .as_ref()
                .is_some_and(|path| path.fed() >= CHOOSES),
            Source::Arrivals => {
                let even = |path: &Path| is_even(&self.all, path);
                let small = self.all.change.scatter_16(0) < config.large_16;
                self.all.fed() >= LOCKS && (small || self.earliest.as_ref().is_some_and(even))
            }
        }
    }

    /// What feeds the clock. The earliest of eight arrivals takes over where arrivals scatter by
    /// more than 2 µs (mean size) and it scatters less than a quarter of that; it gives back where
    /// arrivals scatter by less than 1 µs, or the earliest half as much as all.
    #[must_use]
    pub fn source(&self) -> Source {
        self.source
    }

    /// Whether the rate is held at the end of what it may be, though enough was heard to know it:
    /// the tolerance, an eighth of it and 25 ppm more. The probe's oscillator is not the one that
    /// was stated.
    #[must_use]
    pub fn out_of_tolerance(&self, config: &ClockConfig) -> bool {
        self.all.fed() >= LOCKS && self.line().is_held(config)
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
        let apart = nominal.abs_diff(self.line().period_32());
        let unit = (nominal / 1_000_000_000).max(1);
        let ppb = apart.checked_div(unit).unwrap_or(0).min(i32::MAX as u64) as i32;
        if self.line().period_32() > nominal {
            -ppb
        } else {
            ppb
        }
    }
}

/// Whether every arrival is as good as the next. The earliest of eight that scatter evenly scatter
/// 0.6 of these, and of a line that follows them somewhat more; those of late stamps a tenth. As
/// a line through one in eight scatters √8 times as much, a third is the point where minima pay:
/// they take over below a quarter, and give back above a half.
fn is_even(all: &Path, earliest: &Path) -> bool {
    earliest.fed() >= EVEN && earliest.change.scatter_16(0) > all.change.scatter_16(0) / 2
}

/// Twelve standard deviations, 12·1.2533 mean sizes, and what is fixed.
fn scatter_256(config: &ClockConfig, change: &Change) -> u64 {
    // Sizes are below 2^48.
    ((change.scatter_16(config.prior_16) * 15) >> 8) + config.gate_256
}

fn span_up(length_256: u64) -> Span {
    // Below 2^57.
    Span::from_ticks((length_256 / 256 + 1) as i64)
}
