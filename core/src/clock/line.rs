//! The line through the arrivals: the moment of one slot, and the period of a slot.

use super::config::{Away, ClockConfig};
use super::moment::{Length, Moment};
use super::tracker::MAX_SLOT;
use crate::onset::math;
use crate::time::Instant;

/// Fading-memory filter of degree 1 in ticks and slots.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Line {
    /// The slot the line hangs on, and when it begins.
    slot: u64,
    at: Moment,
    /// Length of a slot, ticks, 32 binary places.
    period_32: u64,
    /// Slots from the first arrival to `slot`, up to twice the memory.
    run: u32,
    /// Σ of the squared weights of the arrivals in memory, 2^-32; see [`noise_16`](Self::noise_16).
    weights_32: u32,
    /// Its root, 2^-16, rounded up.
    root_16: u32,
    /// Largest step of the moment lately, ticks, 16 binary places; fades with the memory.
    step_16: u64,
}

impl Line {
    /// Hung on one arrival, with a period known before.
    pub(super) const fn hung(period_32: u64, slot: u64, arrival: Instant) -> Self {
        Self {
            slot,
            at: Moment::of(arrival),
            period_32,
            run: 0,
            weights_32: u32::MAX,
            root_16: 1 << 16,
            step_16: 0,
        }
    }

    pub(super) fn slot(&self) -> u64 {
        self.slot
    }

    /// Whether it hangs on a single arrival.
    pub(super) fn is_new(&self) -> bool {
        self.run == 0
    }

    pub(super) fn period_32(&self) -> u64 {
        self.period_32
    }

    /// The memory now, slots: half the run, at most that of the oscillator.
    pub(super) fn memory(&self, config: &ClockConfig) -> u32 {
        (self.run / 2).min(config.memory)
    }

    /// Slots from the line's own to `slot`, saturated to 32 bits.
    pub(super) fn distance(&self, slot: u64) -> u32 {
        u32::try_from(slot.abs_diff(self.slot)).unwrap_or(u32::MAX)
    }

    pub(super) fn away(&self, slot: u64) -> Away {
        let distance = self.distance(slot);
        if slot < self.slot {
            Away {
                ahead: 0,
                behind: distance,
            }
        } else {
            Away {
                ahead: distance,
                behind: 0,
            }
        }
    }

    /// When `slot` begins.
    #[inline(never)]
    pub(super) fn moment(&self, slot: u64) -> Moment {
        if slot == self.slot {
            return self.at;
        }
        let length = Length::periods(self.period_32, self.distance(slot));
        if slot < self.slot {
            self.at.earlier(length)
        } else {
            self.at.later(length)
        }
    }

    /// The tick in which its own slot begins.
    pub(super) fn whole(&self) -> Instant {
        self.at.whole()
    }

    /// A later slot as it is seen from here.
    pub(super) fn sight(&self, slot: u64, arrival: Instant) -> Sight {
        let slots = self.distance(slot);
        let expected = self.at.later(Length::periods(self.period_32, slots));
        Sight {
            slot,
            slots,
            expected,
            residual_32: expected.to_32(arrival),
        }
    }

    /// Whether the period lies at the end of what it may be: the arrivals may come from beyond, and
    /// the line trails them by an unknown time.
    pub(super) fn is_held(&self, config: &ClockConfig) -> bool {
        self.period_32 <= config.shortest_32 || self.period_32 >= config.longest_32
    }

    /// The slot with these low bits, where line and arrival leave no doubt: both within 2^15 slots
    /// after the line's own.
    pub(super) fn soon(&self, low16: u16, arrival: Instant) -> Option<u64> {
        let since = arrival.ticks().checked_sub(self.at.whole().ticks())?;
        let ahead = low16.wrapping_sub(self.slot as u16);
        let near = since >> 14 < self.period_32 >> 32 && ahead >> 15 == 0;
        (near && self.slot <= MAX_SLOT - (1 << 15)).then(|| self.slot + u64::from(ahead))
    }

    /// The slot that begins nearest to `at`, 0 at the least.
    #[inline(never)]
    pub(super) fn position(&self, at: Instant) -> u64 {
        let since = at.since(self.at.whole()).ticks();
        let size = since.unsigned_abs();
        // Sixteen binary places of the period as long as they fit: below 2^47 ticks.
        let slots = if size >> 47 == 0 {
            let period_16 = self.period_32 >> 16;
            math::long_quotient((size << 16) + period_16 / 2, period_16, 64)
        } else {
            math::long_quotient(size, self.period_32 >> 32, 64)
        };
        if since < 0 {
            self.slot.saturating_sub(slots)
        } else {
            self.slot.saturating_add(slots)
        }
    }

    /// Takes in a later slot.
    pub(super) fn update(&mut self, config: &ClockConfig, seen: &Sight) {
        let (n, residual_32) = (seen.slots, seen.residual_32);
        let tau = self.memory(config);
        // 1 − θ = dt/(τ + dt), at most one unit below 1.
        let fresh = math::quotient(u64::from(n) << 32, n.saturating_add(tau));
        let fresh = u32::try_from(fresh).unwrap_or(u32::MAX);
        // (1 − θ)² of a slow loop is some 10^-6: rounded, and with all 32 places.
        let square = ((math::square(fresh) + (1 << 31)) >> 32) as u32;
        let gain = (2 * u64::from(fresh)).saturating_sub(u64::from(square));
        let gain = u32::try_from(gain).unwrap_or(u32::MAX);
        let size = residual_32.unsigned_abs();
        // Both at most the size, below 2^63.
        let step = math::mul_shift(size, gain, 32);
        let turn = math::quotient(math::mul_shift(size, square, 32), n);
        // The first residual tells the slope: as large as the oscillator is off, it is no late arrival.
        let scatters = !self.is_new();
        let by = Length::from_32(step);
        let period = if residual_32 < 0 {
            self.at = seen.expected.earlier(by);
            self.period_32.saturating_sub(turn)
        } else {
            self.at = seen.expected.later(by);
            self.period_32.saturating_add(turn)
        };
        self.period_32 = period.max(config.shortest_32).min(config.longest_32);
        self.slot = seen.slot;
        self.run = self
            .run
            .saturating_add(n)
            .min(config.memory.saturating_mul(2));
        // θ² = 1 − gain.
        let kept = (u64::from(self.weights_32) * u64::from(!gain)) >> 32;
        self.weights_32 = u32::try_from(kept + u64::from(square)).unwrap_or(u32::MAX);
        self.root_16 = math::root_up_near(self.weights_32, self.root_16);
        let theta = !fresh;
        if scatters {
            self.step_16 = math::mul_shift(self.step_16, theta, 32).max(step >> 16);
        }
    }

    /// How far scatter of mean size `mean_16` moves the line at its own slot, at most: ticks, 16
    /// binary places.
    ///
    /// A mean with these weights scatters by √Σw² (its square follows w² ← θ²w² + (1 − θ)²); the
    /// end of a line by √2.5 of that (its variance 1.25·dt/τ against dt/2τ), and by √(4/3) more
    /// while the memory grows. 6.5 standard deviations of 1.2533 mean sizes: 6.5·1.2533·√2.5 is
    /// 12.9, or 14.9. One late arrival in a thousand is no part of a normal distribution: twice
    /// the largest step it made is the least.
    pub(super) fn noise_16(&self, config: &ClockConfig, mean_16: u64) -> u64 {
        let grows = self.run / 2 < config.memory;
        let times = if grows { 15 } else { 13 };
        // Below 2^55, and the step below 2^47.
        math::mul_shift(mean_16 * times, self.root_16, 16).max(self.step_16 * 2)
    }
}

/// A later slot as a line sees it: how far it is, when it should begin, and how much later than
/// that it did: ticks, 32 binary places.
pub(super) struct Sight {
    pub(super) slot: u64,
    pub(super) slots: u32,
    expected: Moment,
    pub(super) residual_32: i64,
}
