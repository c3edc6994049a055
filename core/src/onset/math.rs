//! Integer arithmetic of the doubt: saturating, without a division by an unknown zero.

use core::num::NonZeroU32;

/// `x·k / 2^shift`, rounded down, saturating. `shift` is 1 to 32.
pub(crate) fn mul_shift(x: u64, k: u32, shift: u32) -> u64 {
    let high = (x >> 32) * u64::from(k);
    let low = (x & 0xffff_ffff) * u64::from(k);
    let up = 32 - shift;
    if high >> (64 - up).min(63) != 0 && up > 0 {
        return u64::MAX;
    }
    (high << up).saturating_add(low >> shift)
}

/// `x·k`, saturating.
pub(crate) fn mul(x: u64, k: u32) -> u64 {
    let high = (x >> 32) * u64::from(k);
    if high >> 32 != 0 {
        return u64::MAX;
    }
    let low = (x & 0xffff_ffff) * u64::from(k);
    (high << 32).saturating_add(low)
}

/// `256·x / y`, rounded down, saturating; 0 for a `y` of 0.
pub(super) fn quotient_256(x: u64, y: u32) -> u64 {
    let whole = quotient(x, y);
    if whole >> 56 != 0 {
        return u64::MAX;
    }
    let rest = x - whole * u64::from(y);
    whole << 8 | if y == 0 { 0 } else { quotient(rest << 8, y) }
}

/// `x / d`, rounded down; 0 for a `d` of 0.
///
/// Digit by digit on the narrow divider that a small core has, where one wide quotient would call a
/// long routine.
#[inline(never)]
pub(crate) fn quotient(x: u64, d: u32) -> u64 {
    let Some(d) = NonZeroU32::new(d) else {
        return 0;
    };
    let (high, low) = ((x >> 32) as u32, x as u32);
    if high == 0 {
        return u64::from(low / d);
    }
    let first = high / d;
    let rest = high - first * d.get();
    let last = if d.get() >> 16 == 0 {
        let rest = rest << 16 | low >> 16;
        let second = rest / d;
        let rest = (rest - second * d.get()) << 16 | low & 0xffff;
        (second << 16) | (rest / d)
    } else {
        digits(rest, low, d)
    };
    u64::from(first) << 32 | u64::from(last)
}

/// `(rest·2^32 + low) / d` for a rest below `d`: eight bits at a time where the remainder leaves room
/// for them, or else one.
fn digits(mut rest: u32, mut low: u32, d: NonZeroU32) -> u32 {
    if d.get() >> 24 == 0 {
        for _ in 0..4 {
            let part = rest << 8 | low >> 24;
            let digit = part / d;
            rest = part - digit * d.get();
            low = low << 8 | digit;
        }
        return low;
    }
    for _ in 0..32 {
        let over = rest >> 31 == 1;
        rest = rest << 1 | low >> 31;
        low <<= 1;
        if over || rest >= d.get() {
            rest = rest.wrapping_sub(d.get());
            low |= 1;
        }
    }
    low
}

/// `x / d`, rounded down, where that is below 2^`places`, 1 to 64: bit by bit, a few bytes where a
/// fast routine takes half a thousand. All bits set for a `d` of 0.
#[inline(never)]
pub(crate) fn long_quotient(x: u64, d: u64, places: u32) -> u64 {
    let mut rest = x.checked_shr(places).unwrap_or(0);
    let mut quotient = x << (64 - places.clamp(1, 64));
    for _ in 0..places {
        let over = rest >> 63;
        rest = rest << 1 | quotient >> 63;
        quotient <<= 1;
        if over != 0 || rest >= d {
            rest = rest.wrapping_sub(d);
            quotient |= 1;
        }
    }
    quotient
}

/// `top / bottom`, toward 0, of what is above -2^127; 0 for a `bottom` of 0.
///
/// Bit by bit, as a compiler for a small core writes it out as well, but once: written out at every
/// place it takes half a thousand bytes of flash, and of the stack all of them together.
#[inline(never)]
pub(crate) fn wide_quotient(top: i128, bottom: i128) -> i128 {
    if bottom == 0 {
        return 0;
    }
    let negative = (top < 0) != (bottom < 0);
    let (mut quotient, d) = (top.unsigned_abs(), bottom.unsigned_abs());
    let mut rest = 0_u128;
    let mut places = 128;
    while quotient >> 96 == 0 && places > 32 {
        quotient <<= 32;
        places -= 32;
    }
    for _ in 0..places {
        // The rest is below 2^127, since `d` is no more than that.
        rest = rest << 1 | quotient >> 127;
        quotient <<= 1;
        if rest >= d {
            rest -= d;
            quotient |= 1;
        }
    }
    let quotient = quotient as i128;
    if negative {
        quotient.wrapping_neg()
    } else {
        quotient
    }
}

/// `x·y`, exact. Where the core has no wide multiply, two narrow ones do for a short `y`: runs of
/// chatter nearly always are.
#[inline]
pub(super) fn product(x: u32, y: u32) -> u64 {
    if cfg!(all(target_arch = "arm", not(target_has_atomic = "32"))) && y >> 16 == 0 {
        return narrow_product(x, y);
    }
    u64::from(x) * u64::from(y)
}

/// `x·y` for a `y` below 2^16.
#[inline]
fn narrow_product(x: u32, y: u32) -> u64 {
    u64::from((x & 0xffff) * y) + (u64::from((x >> 16) * y) << 16)
}

/// `x²`.
pub(crate) fn square(x: u32) -> u64 {
    u64::from(x) * u64::from(x)
}

/// At least √x, at most 2^-14 of it too large (exact rounding up below 2^32).
///
/// The upper 32 bits are enough for a doubt, and a 32-bit root bit by bit is cheap everywhere.
pub(crate) fn root_up(x: u64) -> u32 {
    let spare = (64 - x.leading_zeros()).saturating_sub(32).div_ceil(2);
    let kept = x >> (2 * spare);
    let exact = kept << (2 * spare) == x;
    let root = root_up_32(kept as u32, !exact);
    u32::try_from(u64::from(root) << spare).unwrap_or(u32::MAX)
}

/// √x, rounded up, where `guess` is near: up to three steps after Newton, and bit by bit if that was
/// not near enough.
pub(crate) fn root_up_near(x: u32, mut guess: u32) -> u32 {
    for _ in 0..3 {
        let Some(other) = x.checked_div(guess) else {
            break;
        };
        // No less than √x rounded down, whatever the guess.
        guess = (guess >> 1) + (other >> 1) + (guess & other & 1);
        let above = square(guess);
        if above < u64::from(x) {
            return guess + 1;
        }
        if above + 1 < u64::from(x) + 2 * u64::from(guess) {
            return guess;
        }
    }
    root_up_32(x, false)
}

/// The smallest integer whose square is at least `x`, or above it where `more` is set.
fn root_up_32(x: u32, more: bool) -> u32 {
    let mut rest = x;
    let mut root = 0_u32;
    // The largest power of four up to x.
    let mut bit = (1_u32 << 30) >> (x.leading_zeros() & !1).min(30);
    while bit != 0 {
        let step = root + bit;
        root >>= 1;
        if rest >= step {
            rest -= step;
            root += bit;
        }
        bit >>= 2;
    }
    root + u32::from(rest > 0 || more)
}

/// Value of a table over powers of two, linear in between: `table[i]` is the value at `2^i`.
/// `x` is in 2^-places and at least 1; beyond the table its last entry holds.
pub(super) fn by_octave(table: &[u16], x: u32, places: u32) -> u32 {
    let x = x.max(1 << places);
    let zeros = x.leading_zeros();
    let octave = 31 - places - zeros;
    let part = ((x << zeros) >> 23) & 255;
    let at = |i: u32| {
        table
            .get(i as usize)
            .or(table.last())
            .map_or(0, |v| u32::from(*v))
    };
    let (low, high) = (at(octave), at(octave + 1));
    // Tables may fall or rise; both products stay below 2^24.
    (low * (256 - part) + high * part) >> 8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples() -> impl Iterator<Item = u64> {
        let mut next = crate::drawn::numbers(0x1234_5678_9abc_def1);
        (0..20_000).map(move |_| {
            let number = next();
            number >> (number % 63)
        })
    }

    #[test]
    fn products_equal_128_bit_arithmetic() {
        for (x, k) in samples().zip(samples().skip(7)) {
            let k = k as u32;
            let exact = u128::from(x) * u128::from(k);
            assert_eq!(mul(x, k), u64::try_from(exact).unwrap_or(u64::MAX));
            for shift in [1, 8, 16, 31, 32] {
                let exact = u64::try_from(exact >> shift).unwrap_or(u64::MAX);
                let got = mul_shift(x, k, shift);
                // Two truncations instead of one: at most one unit apart.
                assert!(
                    exact - got.min(exact) <= 1 && got <= exact,
                    "{x} {k} {shift}"
                );
            }
        }
    }

    #[test]
    fn narrow_divisions_equal_a_wide_one() {
        for (x, d) in samples().zip(samples().skip(11)) {
            for d in [d as u32, d as u32 >> 16, (d as u32 >> 20) + 1] {
                assert_eq!(quotient(x, d), x.checked_div(d.into()).unwrap_or(0));
            }
        }
        assert_eq!(quotient(u64::MAX, 0xffff), u64::MAX / 0xffff);
        assert_eq!(quotient(u64::MAX, 1), u64::MAX);
    }

    #[test]
    fn wide_divisions_equal_the_compilers() {
        for (high, low) in samples().zip(samples().skip(5)) {
            for (top, places) in [(high, 63), (high, 31), (0, 0)] {
                let top = i128::from(top as i64) << places | i128::from(low);
                for bottom in [low as i64, (high >> 40) as i64, -(high as i64)] {
                    for bottom in [i128::from(bottom), i128::from(bottom) << 60, 0] {
                        let exact = top.checked_div(bottom).unwrap_or(0);
                        assert_eq!(wide_quotient(top, bottom), exact);
                    }
                }
            }
        }
        assert_eq!(wide_quotient(i128::MAX, 1), i128::MAX);
        assert_eq!(wide_quotient(-i128::MAX, i128::MIN), 0);
        assert_eq!(wide_quotient(i128::MAX, -i128::MAX), -1);
    }

    #[test]
    fn bit_by_bit_equals_the_wide_division() {
        for (x, d) in samples().zip(samples().skip(13)) {
            let d = d.max(1);
            let places = (64 - (x / d).leading_zeros()).max(1);
            assert_eq!(long_quotient(x, d, 64), x / d);
            assert_eq!(long_quotient(x, d, places), x / d);
        }
        assert_eq!(long_quotient(u64::MAX, u64::MAX, 1), 1);
        assert_eq!(long_quotient(u64::MAX - 1, u64::MAX, 64), 0);
        assert_eq!(long_quotient(7, 0, 64), u64::MAX);
    }

    #[test]
    fn quotients_equal_128_bit_arithmetic() {
        for (x, y) in samples().zip(samples().skip(5)) {
            let y = (y as u32 >> 1).max(1);
            let exact = u64::try_from((u128::from(x) << 8) / u128::from(y)).unwrap_or(u64::MAX);
            assert_eq!(quotient_256(x, y), exact, "{x} {y}");
        }
        assert_eq!(quotient_256(u64::MAX, 256), u64::MAX);
        assert_eq!(quotient_256(u64::MAX, 255), u64::MAX);
        assert_eq!(quotient_256(u64::MAX >> 8, 1), u64::MAX - 255);
        assert_eq!(quotient_256(5, 0), 0);
    }

    #[test]
    fn two_narrow_products_equal_a_wide_one() {
        for (x, y) in samples().zip(samples().skip(3)) {
            let (x, y) = (x as u32, y as u32);
            let exact = u64::from(x) * u64::from(y);
            assert_eq!(product(x, y), exact);
            assert_eq!(
                narrow_product(x, y & 0xffff),
                u64::from(x) * u64::from(y & 0xffff)
            );
        }
        assert_eq!(
            narrow_product(u32::MAX, 0xffff),
            u64::from(u32::MAX) * 0xffff
        );
    }

    #[test]
    fn root_is_never_too_small_and_hardly_too_large() {
        for x in samples().chain([0, 1, 2, 3, 4, 1 << 32, u64::MAX, u64::MAX - 1]) {
            let root = u128::from(root_up(x));
            let x = u128::from(x);
            assert!(root * root >= x || root == u128::from(u32::MAX), "{x}");
            let less = if x < 1 << 32 {
                root
            } else {
                root - (root >> 14)
            };
            assert!(root == 0 || (less - 1) * (less - 1) < x, "{x} {root}");
        }
    }

    #[test]
    fn no_guess_changes_a_root() {
        for (x, guess) in samples().zip(samples().skip(9)) {
            let x = x as u32;
            let root = root_up(x.into());
            for guess in [guess as u32, root, root / 2, root + root / 64, 0, u32::MAX] {
                assert_eq!(root_up_near(x, guess), root, "{x} {guess}");
            }
        }
        assert_eq!((root_up_near(0, 7), root_up_near(1, 7)), (0, 1));
        assert_eq!(root_up_near(u32::MAX, 1 << 16), 1 << 16);
    }

    #[test]
    fn octaves_interpolate() {
        let table = [1000, 500, 100];
        assert_eq!(by_octave(&table, 0, 8), 1000);
        assert_eq!(by_octave(&table, 256, 8), 1000);
        assert_eq!(by_octave(&table, 384, 8), 750);
        assert_eq!(by_octave(&table, 2, 0), 500);
        assert_eq!(by_octave(&table, 3, 0), 300);
        assert_eq!(by_octave(&table, 1024, 8), 100);
        assert_eq!(by_octave(&table, u32::MAX, 0), 100);
    }
}
