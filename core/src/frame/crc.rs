//! The check sum of frames and records.

/// x^16 + x^15 + x^12 + x^7 + x^6 + x^4 + x^3 + 1 in the usual notation: Hamming distance 6 up to
/// 135 bits of data (P. Koopman's tables of polynomials, from memory: 0xC86C there, the same
/// without its last term); a test goes through all errors of up to five bits in a frame.
const POLYNOMIAL: u16 = 0x90D9;

/// The check of frames and records: CRC-16 of `bytes`, polynomial 0x90D9, most significant bit
/// first, from 0xFFFF, nothing inverted at the end.
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    remainder(bytes, POLYNOMIAL)
}

fn remainder(bytes: &[u8], polynomial: u16) -> u16 {
    let mut rest = 0xFFFF_u16;
    for byte in bytes {
        rest ^= u16::from(*byte) << 8;
        for _ in 0..8 {
            let carry = rest & 0x8000 != 0;
            rest <<= 1;
            if carry {
                rest ^= polynomial;
            }
        }
    }
    rest
}

#[cfg(test)]
mod tests {
    use super::remainder;

    /// CRC-16/IBM-3740 of the public catalogues: the same rule with polynomial 0x1021 makes 0x29B1
    /// of "123456789".
    #[test]
    fn the_rule_is_that_of_the_catalogue() {
        assert_eq!(remainder(b"123456789", 0x1021), 0x29B1);
    }
}
