//! Instants and lengths with 32 binary places of a tick.

use crate::time::{FineInstant, Instant};

/// Residuals are held to this, ticks with 32 binary places.
const MOST_32: i64 = i64::MAX - u32::MAX as i64;

/// A length that is not negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Length {
    pub(super) whole: u64,
    pub(super) part_32: u32,
}

impl Length {
    /// `length_32` has 32 binary places.
    pub(super) fn from_32(length_32: u64) -> Self {
        Self {
            whole: length_32 >> 32,
            part_32: length_32 as u32,
        }
    }

    /// `n` periods.
    pub(super) fn periods(period_32: u64, n: u32) -> Self {
        let n = u64::from(n);
        // Both products are of 32 by 32 bits, the sum stays below 2^64.
        let parts = n * (period_32 & 0xffff_ffff);
        Self {
            whole: n * (period_32 >> 32) + (parts >> 32),
            part_32: parts as u32,
        }
    }

    /// Both, which are below 2^62.
    pub(super) fn plus(self, other: Self) -> Self {
        let (part_32, carry) = self.part_32.overflowing_add(other.part_32);
        Self {
            whole: self.whole + other.whole + u64::from(carry),
            part_32,
        }
    }

    /// The share `share_32` of a period, in 2^-32.
    pub(super) fn share(period_32: u64, share_32: u32) -> Self {
        let share = u64::from(share_32);
        let wide = (period_32 >> 32) * share;
        Self::from_32(wide + (((period_32 & 0xffff_ffff) * share) >> 32))
    }
}

/// An instant with 32 binary places of a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Moment {
    whole: u64,
    part_32: u32,
}

impl Moment {
    pub(super) const fn of(at: Instant) -> Self {
        Self {
            whole: at.ticks(),
            part_32: 0,
        }
    }

    /// Saturates at the end of time.
    pub(super) fn later(self, by: Length) -> Self {
        let (part_32, carry) = self.part_32.overflowing_add(by.part_32);
        // Lengths are below 2^63.
        let whole = by.whole + u64::from(carry);
        Self {
            whole: self.whole.saturating_add(whole),
            part_32,
        }
    }

    /// Saturates at 0.
    pub(super) fn earlier(self, by: Length) -> Self {
        let (part_32, borrow) = self.part_32.overflowing_sub(by.part_32);
        match self.whole.checked_sub(by.whole + u64::from(borrow)) {
            Some(whole) => Self { whole, part_32 },
            None => Self {
                whole: 0,
                part_32: 0,
            },
        }
    }

    /// `at` minus this, 32 binary places; saturates at ±2^31 ticks.
    pub(super) fn to_32(self, at: Instant) -> i64 {
        let whole = at.since(Instant::from_ticks(self.whole)).ticks();
        if whole >= 1 << 31 {
            return MOST_32;
        }
        if whole <= -(1 << 31) {
            return -MOST_32;
        }
        (whole << 32).saturating_sub(i64::from(self.part_32))
    }

    /// To the nearest 1/256 tick.
    pub(super) fn fine(self) -> FineInstant {
        let (rounded, carry) = self.part_32.overflowing_add(1 << 23);
        FineInstant::of_parts(self.whole, carry, (rounded >> 24) as u8)
    }

    pub(super) fn whole(self) -> Instant {
        Instant::from_ticks(self.whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(moment: Moment) -> u128 {
        u128::from(moment.whole) << 32 | u128::from(moment.part_32)
    }

    #[test]
    fn lengths_equal_128_bit_arithmetic_and_moments_carry() {
        let mut next = crate::drawn::numbers(0x9e37_79b9_7f4a_7c15);
        for _ in 0..100_000 {
            let (period, n) = (next() >> (5 + next() % 30), next() as u32);
            let length = Length::periods(period, n);
            let as_128 = u128::from(length.whole) << 32 | u128::from(length.part_32);
            assert_eq!(as_128, u128::from(period) * u128::from(n));
            let share = Length::share(period, n);
            let as_128 = u128::from(share.whole) << 32 | u128::from(share.part_32);
            assert_eq!(as_128, (u128::from(period) * u128::from(n)) >> 32);
            let both = length.plus(share);
            let sum = u128::from(both.whole) << 32 | u128::from(both.part_32);
            assert_eq!(sum, u128::from(period) * u128::from(n) + as_128);
            let moment = Moment {
                whole: next() >> 6,
                part_32: next() as u32,
            };
            let later = moment.later(share);
            assert_eq!(exact(later), exact(moment) + as_128);
            assert_eq!(later.earlier(share), moment);
            let by = next() >> (next() % 40);
            let earlier = moment.earlier(Length::from_32(by));
            let expected = exact(moment).saturating_sub(u128::from(by));
            assert_eq!(exact(earlier), expected);
        }
    }

    #[test]
    fn the_ends_of_time_hold() {
        let end = Moment::of(Instant::from_ticks(u64::MAX));
        assert_eq!(end.later(Length::from_32(u64::MAX)).whole, u64::MAX);
        let zero = Moment::of(Instant::from_ticks(0));
        assert_eq!(zero.earlier(Length::from_32(1)), zero);
        assert_eq!(zero.to_32(Instant::from_ticks(u64::MAX)), MOST_32);
        assert_eq!(end.to_32(Instant::from_ticks(0)), -MOST_32);
        let low = Moment {
            whole: 1 << 31,
            part_32: u32::MAX,
        };
        assert!(low.to_32(Instant::from_ticks(1)) < -((1 << 62) - 1));
    }

    #[test]
    fn parts_round_to_the_nearest() {
        let at = |part_32| Moment { whole: 9, part_32 }.fine();
        assert_eq!(
            (at(0x8000_0000).whole().ticks(), at(0x8000_0000).part_256()),
            (9, 128)
        );
        assert_eq!(
            (at(0xff80_0000).whole().ticks(), at(0xff80_0000).part_256()),
            (10, 0)
        );
        assert_eq!(at(0x007f_ffff).part_256(), 0);
    }
}
