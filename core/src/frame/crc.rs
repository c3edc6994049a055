//! The check sum of frames and records.

/// x^16 + x^15 + x^12 + x^7 + x^6 + x^4 + x^3 + 1 in the usual notation: Hamming distance 6 up to
/// 135 bits of data (P. Koopman's tables of polynomials, from memory: 0xC86C there, the same
/// without its last term); a test goes through all errors of up to five bits in a frame.
const POLYNOMIAL: u16 = 0x90D9;

const TABLE: [u32; 16] = table(POLYNOMIAL);

/// The check of frames and records: CRC-16 of `bytes`, polynomial 0x90D9, most significant bit
/// first, from 0xFFFF, nothing inverted at the end.
#[must_use]
#[inline(never)]
pub fn crc16(bytes: &[u8]) -> u16 {
    remainder(bytes, &TABLE)
}

/// What four bits at the upper end leave behind, in the upper half of a word: half a byte a step,
/// for 64 bytes of table.
const fn table(polynomial: u16) -> [u32; 16] {
    let mut table = [0; 16];
    let mut index = 0;
    while index < 16 {
        let mut rest = (index as u16) << 12;
        let mut bit = 0;
        while bit < 4 {
            rest = if rest & 0x8000 == 0 {
                rest << 1
            } else {
                rest << 1 ^ polynomial
            };
            bit += 1;
        }
        table[index] = (rest as u32) << 16;
        index += 1;
    }
    table
}

fn remainder(bytes: &[u8], table: &[u32; 16]) -> u16 {
    // In the upper half, where what is shifted out needs no mask.
    let rest = bytes.iter().fold(0xFFFF_0000_u32, |rest, byte| {
        let rest = rest ^ u32::from(*byte) << 24;
        let rest = rest << 4 ^ table[(rest >> 28) as usize & 15];
        rest << 4 ^ table[(rest >> 28) as usize & 15]
    });
    (rest >> 16) as u16
}

#[cfg(test)]
mod tests {
    use super::{remainder, table};

    /// CRC-16/IBM-3740 of the public catalogues: the same rule with polynomial 0x1021 makes 0x29B1
    /// of "123456789".
    #[test]
    fn the_rule_is_that_of_the_catalogue() {
        assert_eq!(remainder(b"123456789", &table(0x1021)), 0x29B1);
    }
}
