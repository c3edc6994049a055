//! Quotients rounded to the nearest.

use core::num::NonZeroU64;

/// `n / d`, a half rounded away from zero; saturates where `d` is 1 and `n` the smallest number.
pub(crate) const fn quotient(n: i64, d: NonZeroU64) -> i64 {
    let (whole, rest) = (n.unsigned_abs() / d.get(), n.unsigned_abs() % d.get());
    let size = whole + (rest >= d.get() - rest) as u64;
    if size > i64::MAX as u64 {
        i64::MAX
    } else if n < 0 {
        -(size as i64)
    } else {
        size as i64
    }
}

/// 10^9, as what nanometres a second and nanoseconds are divided by.
pub(crate) const GIGA: NonZeroU64 = match NonZeroU64::new(1_000_000_000) {
    Some(giga) => giga,
    None => NonZeroU64::MIN,
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_go_away_from_zero() {
        let of = |n, d| quotient(n, NonZeroU64::new(d).unwrap());
        assert_eq!([of(5, 2), of(-5, 2), of(4, 3), of(-4, 3)], [3, -3, 1, -1]);
        assert_eq!([of(0, 7), of(1, 2), of(-1, 2)], [0, 1, -1]);
        assert_eq!(of(i64::MAX, 1), i64::MAX);
        assert_eq!(of(i64::MIN, 2), i64::MIN / 2);
        assert_eq!(of(i64::MAX, u64::MAX), 0);
    }
}
