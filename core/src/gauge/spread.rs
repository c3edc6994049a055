//! Mean and standard deviation, exact.

use super::limits::isqrt_up;

/// Values may lie this far from the first, either way: 1099 mm in pm.
const FURTHEST: u64 = 1 << 40;
/// The most values.
const MOST: u32 = 1 << 23;

/// Sums of whole numbers of any unit, about the first of them: no digit is lost, so that variance
/// is what it is however far from zero the values lie. O(1) memory.
///
/// `n·Σd² − (Σd)²` over `n·(n − 1)` is the variance (textbook).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Spread {
    first: i64,
    count: u32,
    sum: i64,
    squares: u128,
}

impl Spread {
    /// Without a value.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            first: 0,
            count: 0,
            sum: 0,
            squares: 0,
        }
    }

    /// Takes a value; `false` where it is not taken: beyond ±2^40 of the first, or 2^23 are there.
    #[must_use]
    pub fn push(&mut self, value: i64) -> bool {
        if self.count == 0 {
            self.first = value;
        }
        let size = value.abs_diff(self.first);
        if size > FURTHEST || self.count >= MOST {
            return false;
        }
        let from_first = value.saturating_sub(self.first);
        self.count += 1;
        // Up to 2^23 times 2^40, and 2^23 times 2^80.
        self.sum = self.sum.saturating_add(from_first);
        self.squares = self
            .squares
            .saturating_add(u128::from(size) * u128::from(size));
        true
    }

    /// How many there are.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// The sum of all, beside `count` times the first: mean = first + sum/count.
    #[must_use]
    pub const fn about(&self) -> (i64, i64) {
        (self.first, self.sum)
    }

    /// The mean, a half rounded away from the first; `None` without a value.
    #[must_use]
    pub fn mean(&self) -> Option<i64> {
        let count = core::num::NonZeroU64::new(u64::from(self.count))?;
        let offset = crate::rounded::quotient(self.sum, count);
        Some(self.first.saturating_add(offset))
    }

    /// Numerator and denominator of the variance; `None` below two values.
    #[must_use]
    pub fn variance(&self) -> Option<(u128, u64)> {
        if self.count < 2 {
            return None;
        }
        let n = u64::from(self.count);
        let sum = u128::from(self.sum.unsigned_abs());
        let above = (u128::from(n) * self.squares).saturating_sub(sum * sum);
        Some((above, n * (n - 1)))
    }

    /// The standard deviation, in the unit of the values, rounded up; `None` below two values.
    #[must_use]
    pub fn deviation(&self) -> Option<u64> {
        let (above, below) = self.variance()?;
        let square = above.checked_div(u128::from(below))?;
        let rest = above > square.saturating_mul(u128::from(below));
        u64::try_from(isqrt_up(square.saturating_add(u128::from(rest)))).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn far_from_zero_is_as_near_it() {
        let deviation = |offset: i64| {
            let mut spread = Spread::new();
            for k in 0..1_001 {
                assert!(spread.push(offset + [1, -1][k % 2]));
            }
            (spread.mean(), spread.variance())
        };
        let (mean, variance) = deviation(0);
        for offset in [-i64::MAX / 2, -1_000_000, 7, i64::MAX / 2] {
            let (far_mean, far) = deviation(offset);
            assert_eq!(far, variance);
            assert_eq!(far_mean, mean.map(|mean| mean + offset));
        }
    }

    #[test]
    fn what_does_not_fit_is_not_taken() {
        let mut spread = Spread::new();
        assert_eq!((spread.mean(), spread.deviation()), (None, None));
        assert!(spread.push(i64::MIN));
        assert!(!spread.push(i64::MAX) && !spread.push(0));
        assert_eq!(spread.deviation(), None);
        assert!(spread.push(i64::MIN + (1 << 40)));
        assert_eq!(spread.count(), 2);
        // 2^40 / √2, rounded up.
        assert_eq!(spread.deviation(), Some(777_472_127_994));
    }
}
