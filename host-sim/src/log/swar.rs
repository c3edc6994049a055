//! Text taken eight bytes at a time in one register (SWAR): numbers, and where a name ends.

const ONES: u64 = 0x0101_0101_0101_0101;
const TOPS: u64 = 0x8080_8080_8080_8080;
const POWERS: [u64; 8] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000];

/// The number at `at`, of 1 to 19 digits, and the place behind it.
#[inline]
pub(crate) fn digits(bytes: &[u8], at: usize) -> Option<(u64, usize)> {
    let (first, count) = some_digits(word(bytes, at)?);
    if count < 8 {
        return (count > 0).then_some((first, at + count));
    }
    let (second, more) = some_digits(word(bytes, at + 8)?);
    if more < 8 {
        return Some((first * POWERS[more] + second, at + 8 + more));
    }
    let (third, rest) = some_digits(word(bytes, at + 16)?);
    (rest <= 3).then(|| {
        (
            (first * 100_000_000 + second) * POWERS[rest] + third,
            at + 16 + rest,
        )
    })
}

/// The number that begins a row if it has 8 to 15 digits, and the place behind it.
#[inline]
pub(crate) fn eight_to_fifteen_digits(row: &[u8; 32]) -> Option<(u64, usize)> {
    let (first, second) = (word(row, 0)? ^ (ONES * 0x30), word(row, 8)? ^ (ONES * 0x30));
    if no_digits(first) != 0 {
        return None;
    }
    let others = no_digits(second);
    if others == 0 {
        return None;
    }
    let more = (others.trailing_zeros() / 8) as usize;
    // In two steps, since a shift by 64 for no digits would be none.
    let rest = joined((second << 8) << (56 - 8 * more));
    Some((joined(first) * POWERS[more & 7] + rest, 8 + more))
}

/// Value and number of the digits that begin a word, up to eight.
#[inline]
fn some_digits(word: u64) -> (u64, usize) {
    let values = word ^ (ONES * 0x30);
    let count = (no_digits(values).trailing_zeros() / 8) as usize;
    if count == 0 {
        return (0, 0);
    }
    // Moved up, so that zeros stand in front.
    (joined(values << (64 - 8 * count)), count)
}

/// The top bit of the first byte that is no value 0 to 9, and perhaps of bytes behind it.
#[inline]
fn no_digits(values: u64) -> u64 {
    // Adding 0x76 reaches the top bit from 10 on. A carry out of a byte only disturbs bytes behind one that is
    // no digit.
    (values.wrapping_add(ONES * 0x76) | values) & TOPS
}

/// The number that eight digit values make: neighbours are joined to pairs, fours, eights.
#[inline]
fn joined(ones: u64) -> u64 {
    let pairs = (ones.wrapping_mul(1 + (10 << 8)) >> 8) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs.wrapping_mul(1 + (100 << 16)) >> 16) & 0x0000_ffff_0000_ffff;
    fours.wrapping_mul(1 + (10_000 << 32)) >> 32
}

/// Eight bytes as a word, the first one lowest.
#[inline]
pub(crate) fn word(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(bytes.get(at..at + 8)?.try_into().ok()?))
}

/// The number of bytes before the first `end`, 8 if there is none.
#[inline]
pub(crate) fn until(word: u64, end: u8) -> usize {
    let ends = word ^ (ONES * u64::from(end));
    ((ends.wrapping_sub(ONES) & !ends & TOPS).trailing_zeros() / 8) as usize
}

/// The number of bytes before the first blank or control character, 8 if there is none.
#[inline]
pub(crate) fn until_blank(word: u64) -> usize {
    ((word.wrapping_sub(ONES * 0x21) & !word & TOPS).trailing_zeros() / 8) as usize
}

/// The key of the name in the first `count` bytes of a word, fewer than eight: those bytes, and `count` on top.
#[inline]
pub(crate) fn key(word: u64, count: usize) -> u64 {
    (word & !(u64::MAX << (8 * count))) | ((count as u64) << 56)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn numbers_agree_with_the_standard_library(value in any::<u64>(), shift in 0..64_u32, tail in "[^0-9]{1}.{0,9}") {
            let value: u64 = value >> shift;
            let text = format!("{value}{tail}{}", "\0".repeat(32));
            let digits_in = value.to_string().len();
            let want = (digits_in <= 19).then_some((value, digits_in));
            prop_assert_eq!(digits(text.as_bytes(), 0), want);
        }

        #[test]
        fn ends_agree_with_a_search(bytes in any::<[u8; 8]>()) {
            let word = u64::from_le_bytes(bytes);
            prop_assert_eq!(until(word, b','), bytes.iter().position(|&b| b == b',').unwrap_or(8));
            prop_assert_eq!(until_blank(word), bytes.iter().position(|&b| b <= b' ').unwrap_or(8));
        }
    }

    #[test]
    fn no_digit_no_number() {
        assert_eq!(digits(&[b','; 32], 0), None);
        assert_eq!(digits(b"1", 0), None);
    }
}
