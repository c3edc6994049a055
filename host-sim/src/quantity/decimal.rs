//! Decimal numbers, read exactly: no binary fraction stands between the text and the integer.

/// Digits kept exactly. What follows them only decides how a tie is rounded.
const KEPT_DIGITS: u32 = 24;

/// `±digits * 10^exponent`, plus something smaller than the last digit if `more`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Decimal {
    negative: bool,
    digits: u128,
    exponent: i32,
    more: bool,
}

impl Decimal {
    /// Reads `[+-]digits[.digits][e[+-]digits]`, decimal point or decimal comma; `None` if it is anything else.
    pub(crate) fn parse(text: &[u8]) -> Option<Self> {
        if text.is_empty() || Self::prefix_len(text) != text.len() {
            return None;
        }
        let (negative, unsigned) = match text[0] {
            b'-' => (true, &text[1..]),
            b'+' => (false, &text[1..]),
            _ => (false, text),
        };
        let mut number = Self {
            negative,
            digits: 0,
            exponent: 0,
            more: false,
        };
        let (mut kept, mut seen, mut behind_point) = (0, false, false);
        for (at, &byte) in unsigned.iter().enumerate() {
            match byte {
                b'0'..=b'9' => {
                    seen = true;
                    let digit = u128::from(byte - b'0');
                    if kept < KEPT_DIGITS {
                        number.digits = number.digits * 10 + digit;
                        kept += u32::from(number.digits != 0);
                        number.exponent -= i32::from(behind_point);
                    } else {
                        number.more |= digit != 0;
                        number.exponent += i32::from(!behind_point);
                    }
                }
                b'.' | b',' => behind_point = true,
                _ => {
                    number.exponent = number
                        .exponent
                        .saturating_add(exponent(&unsigned[at + 1..]));
                    break;
                }
            }
        }
        seen.then_some(number)
    }

    /// Length of the longest beginning that has the shape of a number; it may still lack its digits.
    pub(crate) fn prefix_len(text: &[u8]) -> usize {
        let digits = |from: usize| {
            text[from..]
                .iter()
                .take_while(|byte| byte.is_ascii_digit())
                .count()
        };
        let sign = |at: usize| usize::from(matches!(text.get(at), Some(b'+' | b'-')));
        let mut at = sign(0);
        at += digits(at);
        if matches!(text.get(at), Some(b'.' | b',')) {
            at += 1;
            at += digits(at);
        }
        if matches!(text.get(at), Some(b'e' | b'E')) {
            let start = at + 1 + sign(at + 1);
            let length = text.get(start..).map_or(0, |_| digits(start));
            if length > 0 {
                at = start + length;
            }
        }
        at
    }

    /// `self * factor * 10^power / divisor`, rounded half to even, and whether that was exact.
    ///
    /// `None` if it does not fit 64 bits. `factor` and `divisor` are at most 3600 here, so that the products
    /// below stay inside 128 bits.
    pub(crate) fn scaled(self, factor: u64, power: i32, divisor: u64) -> Option<(i64, bool)> {
        let product = self.digits.checked_mul(u128::from(factor))?;
        if product == 0 {
            return Some((0, !self.more));
        }
        let power = self.exponent.saturating_add(power);
        let (above, below) = if power >= 0 {
            let scale = 10_u128.checked_pow(power.unsigned_abs())?;
            (product.checked_mul(scale)?, u128::from(divisor))
        } else if power > -35 {
            (
                product,
                10_u128.pow(power.unsigned_abs()) * u128::from(divisor),
            )
        } else {
            // 10^24 * 3600 / 10^35 is far below one half.
            return Some((0, false));
        };
        let (mut whole, rest) = (above / below, above % below);
        let twice = rest * 2;
        if twice > below || (twice == below && (self.more || whole % 2 == 1)) {
            whole += 1;
        }
        let signed = i128::try_from(whole).ok()?;
        let signed = if self.negative { -signed } else { signed };
        Some((i64::try_from(signed).ok()?, rest == 0 && !self.more))
    }
}

/// The signed digits behind an `e`, cut off where any finite range ends.
fn exponent(text: &[u8]) -> i32 {
    let (negative, digits) = match text.first() {
        Some(b'-') => (true, &text[1..]),
        Some(b'+') => (false, &text[1..]),
        _ => (false, text),
    };
    let size = digits.iter().fold(0_i32, |sum, &byte| {
        (sum * 10 + i32::from(byte - b'0')).min(1_000_000)
    });
    if negative {
        -size
    } else {
        size
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ns(text: &str) -> Option<(i64, bool)> {
        Decimal::parse(text.as_bytes())?.scaled(1, 9, 1)
    }

    #[test]
    fn seconds_are_read_exactly() {
        assert_eq!(ns("0.1"), Some((100_000_000, true)));
        assert_eq!(ns("-1,000000001"), Some((-1_000_000_001, true)));
        assert_eq!(ns("1.5e-9"), Some((2, false)));
        assert_eq!(ns("2.5e-9"), Some((2, false)));
        assert_eq!(
            ns("2.50000000000000000000000000000001e-9"),
            Some((3, false))
        );
        assert_eq!(ns("1e-400"), Some((0, false)));
        assert_eq!(ns("0e999999999999"), Some((0, true)));
        assert_eq!(ns("1e400"), None);
        assert_eq!(ns("9223372036.854775807"), Some((i64::MAX, true)));
        assert_eq!(ns("9223372036.854775808"), None);
        assert_eq!(ns(".5"), Some((500_000_000, true)));
        assert_eq!(ns("5."), Some((5_000_000_000, true)));
        assert_eq!(
            ns("0.000000001000000000000000000000000000"),
            Some((1, true))
        );
        assert_eq!(ns("+12E+0"), Some((12_000_000_000, true)));
    }

    #[test]
    fn other_text_is_no_number() {
        for text in [
            "", "-", ".", "1e", "1e+", "e5", "1.2.3", "0x1", "1 ", " 1", "1_0", "nan", "inf", "--1",
        ] {
            assert_eq!(Decimal::parse(text.as_bytes()), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn agrees_with_integers(whole in -9_000_000_000_i64..9_000_000_000, part in 0..1_000_000_000_i64) {
            let sign = if whole < 0 { "-" } else { "" };
            let text = format!("{sign}{}.{part:09}", whole.unsigned_abs());
            let want = whole * 1_000_000_000 + if whole < 0 { -part } else { part };
            prop_assert_eq!(ns(&text), Some((want, true)));
        }

        #[test]
        fn any_bytes_get_an_answer(text in proptest::collection::vec(any::<u8>(), 0..40)) {
            if let Some(number) = Decimal::parse(&text) {
                let _ = number.scaled(3600, 9, 60);
            }
        }
    }
}
