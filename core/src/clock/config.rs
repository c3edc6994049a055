//! What a user says of slots and oscillator, checked once.

use super::jitter::Source;
use crate::onset::math;
use crate::time::TickRate;

/// Least and most of a slot, ns.
const SLOT_NS: (u32, u32) = (100_000, 100_000_000);
/// The step in which ages are told, ns.
const STEP_NS: u32 = 125;
/// The part of the gate that does not scatter, ns.
const GATE_NS: u64 = 4_000;
/// Scatter above which stamps may come from software, and what is taken for granted of capture
/// and of software before any was measured: mean sizes, ns.
const LARGE_NS: u64 = 2_000;
const PRIOR_NS: (u64, u64) = (800, 8_000);

/// The probe's oscillator as seen by the receiver's: limits of both together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Oscillator {
    /// How fast or slow it may run, ppm.
    pub tolerance_ppm: u32,
    /// How fast that may change steadily (temperature, supply), ppb/s.
    pub drift_ppb_s: u32,
    /// How it wanders at random: standard deviation of the change in a second, which grows with
    /// the root of time, ppb.
    pub wander_ppb: u32,
    /// Longest memory τ of the clock, ms. The best is (1.25·dt·σ²/4a²)^(1/5) for frames every
    /// `dt` that scatter by σ and a drift of `a`; it hardly matters within a factor of two.
    pub memory_ms: u32,
}

impl Oscillator {
    /// Crystals on both sides: 40 and 20 ppm, 0.1 ppm/s; memory 1 s.
    pub const CRYSTAL: Self = Self {
        tolerance_ppm: 60,
        drift_ppb_s: 100,
        wander_ppb: 0,
        memory_ms: 1_000,
    };

    /// An RC oscillator in the probe: 2 %, 30 ppm/s, 3 ppm in a second at random; memory 80 ms.
    pub const RC: Self = Self {
        tolerance_ppm: 20_020,
        drift_ppb_s: 30_000,
        wander_ppb: 3_000,
        memory_ms: 80,
    };
}

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ClockConfigError {
    /// A slot outside 0.1 to 100 ms, or not a whole number of 125 ns.
    Slot,
    /// Fewer than 256 or more than 2^26 ticks in a slot.
    TicksPerSlot,
    /// A tolerance of 0 or above 50 000 ppm.
    Tolerance,
    /// A drift or wander above 1 000 000 ppb.
    Drift,
    /// A memory below eight slots or above 60 s.
    Memory,
}

impl core::fmt::Display for ClockConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Slot => "slot is not within 0.1 to 100 ms in whole steps of 125 ns",
            Self::TicksPerSlot => {
                "a slot has fewer than 256 or more than 2^26 ticks; state another tick rate"
            }
            Self::Tolerance => "tolerance is not within 1 to 50000 ppm",
            Self::Drift => "drift or wander is above 1000000 ppb",
            Self::Memory => "memory is not within eight slots to 60 s",
        })
    }
}

impl core::error::Error for ClockConfigError {}

/// What drifts by so much in a slot is off by `mantissa / 2^shift · x` after `x` slots squared,
/// in 1/256 ticks.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Bend {
    mantissa: u32,
    shift: u32,
}

impl Bend {
    /// Drift (ppb/s) × slot (s) × slot (1/256 ticks), rounded up to 24 bits.
    const fn new(drift_ppb_s: u64, slot_ns: u32, slot_256: u64) -> Self {
        if drift_ppb_s == 0 {
            return Self {
                mantissa: 0,
                shift: 0,
            };
        }
        // At most 2^47 and 2^34; both brought to 31 bits, rounded up.
        let (drift, by_drift) = short(drift_ppb_s * slot_ns as u64);
        let (slot, by_slot) = short(slot_256);
        // 10^18 is 931 322 574.6 · 2^30. The quotient has 31 or 32 bits; it is cut to 24.
        let quotient = drift * slot / 931_322_574 + 1;
        let shift = 30 - by_drift - by_slot - 8;
        Self {
            mantissa: ((quotient >> 8) + 1) as u32,
            shift: if shift < 0 { 0 } else { shift as u32 },
        }
    }

    /// 1/256 ticks after `x` slots squared, rounded up; saturates.
    #[inline(never)]
    fn after(&self, x: u64) -> u64 {
        match x.checked_mul(u64::from(self.mantissa)) {
            Some(product) => (product >> self.shift.min(63)) + 1,
            None => u64::MAX,
        }
    }
}

/// `x` as a number of 31 bits and a power of two: x ≤ m·2^e. `x` is below 2^62 and not 0.
const fn short(x: u64) -> (u64, i32) {
    let exponent = 64 - x.leading_zeros() as i32 - 31;
    if exponent <= 0 {
        (x << -exponent, exponent)
    } else {
        ((x >> exponent) + 1, exponent)
    }
}

/// The settings of a clock; one may serve many.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ClockConfig {
    rate: TickRate,
    /// Steps of age in a slot.
    pub(super) steps: u32,
    /// Nominal, shortest and longest slot, ticks with 32 binary places.
    pub(super) slot_32: u64,
    pub(super) shortest_32: u64,
    pub(super) longest_32: u64,
    /// Longest memory, slots.
    pub(super) memory: u32,
    /// Steady drift, and what wander over a memory adds to it.
    drift: Bend,
    lag: Bend,
    /// What tolerance does in a slot, and drift and wander to a slot in a slot: ticks with 24
    /// binary places.
    pub(super) tolerance_24: i64,
    pub(super) drift_24: i64,
    /// Half a step of age and the fixed part of the gate, 1/256 ticks, rounded up.
    pub(super) half_step_256: u64,
    pub(super) gate_256: u64,
    /// Large and presumed mean scatter, ticks with 16 binary places.
    pub(super) large_16: u64,
    pub(super) prior_16: u64,
    /// The source before the choice.
    pub(super) presumed: Source,
}

impl ClockConfig {
    /// Arrivals in ticks of `rate`, slots of `slot_ns`, the probe's oscillator.
    ///
    /// # Errors
    /// [`ClockConfigError`].
    pub const fn new(
        rate: TickRate,
        slot_ns: u32,
        oscillator: Oscillator,
    ) -> Result<Self, ClockConfigError> {
        if slot_ns < SLOT_NS.0 || slot_ns > SLOT_NS.1 || slot_ns % STEP_NS != 0 {
            return Err(ClockConfigError::Slot);
        }
        let Oscillator {
            tolerance_ppm,
            drift_ppb_s,
            wander_ppb,
            memory_ms,
        } = oscillator;
        if tolerance_ppm == 0 || tolerance_ppm > 50_000 {
            return Err(ClockConfigError::Tolerance);
        }
        if drift_ppb_s > 1_000_000 || wander_ppb > 1_000_000 {
            return Err(ClockConfigError::Drift);
        }
        let memory = memory_ms as u64 * 1_000_000 / slot_ns as u64;
        if memory < 8 || memory_ms > 60_000 {
            return Err(ClockConfigError::Memory);
        }
        // Below 2^59; the rest of the division below 2^30.
        let product = slot_ns as u64 * rate.hz() as u64;
        let whole = product / 1_000_000_000;
        if whole < 256 || whole > 1 << 26 {
            return Err(ClockConfigError::TicksPerSlot);
        }
        let part_32 = ((product % 1_000_000_000) << 32) / 1_000_000_000;
        let slot_32 = (whole << 32) | part_32;
        // A clamp on the tolerance itself would pull at an oscillator that is just within it.
        let clamp_ppm = (tolerance_ppm + tolerance_ppm / 8 + drift_ppb_s / 1_000 + 25) as u64;
        let clamp_32 = slot_32 / 1_000_000 * clamp_ppm;
        // Six standard deviations of wander over a memory, as drift: 6·w/√τ.
        let root = (memory_ms as u64 * 1_000).isqrt();
        let Some(wander) = (6_000 * wander_ppb as u64).checked_div(root) else {
            return Err(ClockConfigError::Memory);
        };
        let slot_256 = (slot_32 >> 24) + 1;
        let drift = Bend::new(drift_ppb_s as u64, slot_ns, slot_256);
        let lag = Bend::new(drift_ppb_s as u64 + wander, slot_ns, slot_256);
        Ok(Self {
            rate,
            steps: slot_ns / STEP_NS,
            slot_32,
            shortest_32: slot_32 - clamp_32,
            longest_32: slot_32 + clamp_32,
            memory: memory as u32,
            drift,
            lag,
            tolerance_24: (((slot_32 >> 8) / 1_000_000 + 1) * tolerance_ppm as u64) as i64,
            drift_24: (((lag.mantissa as u64) << 16 >> lag.shift) + 1) as i64,
            half_step_256: ticks(STEP_NS as u64 / 2 + 1, rate, 8),
            gate_256: ticks(GATE_NS, rate, 8),
            large_16: ticks(LARGE_NS, rate, 16),
            prior_16: ticks(PRIOR_NS.0, rate, 16),
            presumed: Source::Arrivals,
        })
    }

    /// What to presume of the stamps before their scatter is measured: [`Source::Arrivals`] for
    /// those of a capture unit (so it is if nothing is said), [`Source::Minima`] for those taken
    /// by software. The measured scatter decides either way.
    #[must_use]
    pub const fn presuming(mut self, source: Source) -> Self {
        self.presumed = source;
        let prior_ns = match source {
            Source::Arrivals => PRIOR_NS.0,
            Source::Minima => PRIOR_NS.1,
        };
        self.prior_16 = ticks(prior_ns, self.rate, 16);
        self
    }

    /// The tick rate of the arrivals.
    #[must_use]
    pub const fn rate(&self) -> TickRate {
        self.rate
    }

    /// Ticks in a nominal slot, rounded down; 256 or more.
    #[must_use]
    pub const fn slot_ticks(&self) -> u64 {
        self.slot_32 >> 32
    }

    /// A nominal slot, ns.
    #[must_use]
    pub const fn slot_ns(&self) -> u32 {
        self.steps * STEP_NS
    }

    /// How fast the probe's clock may run, as it is followed, ppm, rounded up.
    pub(crate) const fn fastest_ppm(&self) -> u32 {
        let apart = self.slot_32 - self.shortest_32;
        match apart.checked_div(self.slot_32 / 1_000_000) {
            Some(ppm) => ppm as u32 + 1,
            None => 1_000_000,
        }
    }

    /// The least bound of an edge that lasts, ticks: what drift and wander do within the memory,
    /// as for arrivals that do not scatter, and what is always added.
    pub(crate) const fn least_bound(&self) -> u64 {
        let kept = self.memory as u64 * self.memory as u64;
        match kept.checked_mul(self.lag.mantissa as u64) {
            Some(product) if self.lag.shift < 64 => {
                let bent = product >> self.lag.shift;
                (bent + self.half_step_256 + 256) / 256 + 2
            }
            _ => u64::MAX,
        }
    }

    /// The longest memory, slots.
    #[must_use]
    pub const fn memory_slots(&self) -> u32 {
        self.memory
    }

    /// What a line with a memory of `tau` slots is off at most if the rate changes as stated,
    /// 1/256 ticks.
    ///
    /// A step of the rate `u` ago is still missing from the line by u·exp(−u/τ), and from its
    /// slope by (1 + u/τ)·exp(−u/τ). Over all steps within ±a that comes to a·(τ² + 2τh + h²/2)
    /// ahead of its slot, the steady lag of a constant drift; behind it to less than a·τ² as far
    /// as 3τ (integrated numerically), and less than a·(τ² + h²/2) anywhere. Wander weighs in
    /// what is remembered, steady drift alone in the time since.
    pub(super) fn bent_256(&self, tau: u32, away: Away) -> u64 {
        let (t, ahead, behind) = (
            u64::from(tau),
            u64::from(away.ahead),
            u64::from(away.behind),
        );
        let far = if behind > 2 * t { behind } else { 0 };
        // Memories are below 2^20 slots: the sum stays below 2^64.
        let kept = t * t + 2 * t * ahead + far * far / 2;
        self.lag
            .after(kept)
            .saturating_add(self.drift.after((ahead * ahead) / 2))
    }

    /// The same at the slot of the line.
    pub(super) fn lag_256(&self, tau: u32) -> u64 {
        self.lag.after(math::square(tau)).saturating_add(1)
    }
}

/// How many slots after or before that of a line, one of both 0 or nearly so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Away {
    pub(super) ahead: u32,
    pub(super) behind: u32,
}

impl Away {
    /// What lies more than `slots` and less than a slot more before that.
    pub(super) fn earlier(self, slots: u32) -> Self {
        let behind = slots.saturating_add(1).saturating_sub(self.ahead);
        Self {
            ahead: self.ahead.saturating_sub(slots),
            behind: self.behind.saturating_add(behind),
        }
    }
}

/// `ns` in ticks with `places` binary places, rounded up. `ns` is at most 8000.
const fn ticks(ns: u64, rate: TickRate, places: u32) -> u64 {
    ((ns * rate.hz() as u64) << places) / 1_000_000_000 + 1
}
