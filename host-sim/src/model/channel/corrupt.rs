//! Bits turned over: one by one, or many near each other.
//!
//! Bit errors fall on every bit with the same chance (binary symmetric
//! channel). An error burst spans a stated number of bits: its first and last
//! are wrong and each between with the chance ½, the usual definition for
//! checks by remainder (Peterson, Brown, Proc. IRE 49 (1961) 228, from memory).
//! Limits: no bits inserted or lost, as a frame without its begin or end is
//! not heard at all; the chance does not depend on the medium's state.

use rand_distr::{Distribution, Uniform};

use super::trials::{chance, check_share, Trials};
use super::Bytes;
use crate::fault::Fault;
use crate::model::rng::Rng;

/// Bits of a frame.
const BITS: u64 = 8 * size_of::<Bytes>() as u64;

/// Errors on single bits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BitErrors {
    /// Chance of each bit to be wrong, 0 to 1.
    pub rate: f64,
}

impl BitErrors {
    /// # Errors
    /// A rate that is no chance.
    pub(super) fn check(self) -> Result<(), Fault> {
        check_share("bits turned over", self.rate)
    }

    /// Turns bits over.
    pub(super) fn draw(self, rng: &mut Rng, bytes: &mut Bytes) {
        let trials = Trials::new(self.rate);
        let mut bit = trials.failures(rng);
        while bit < BITS {
            flip(bytes, bit);
            bit = bit.saturating_add(trials.failures(rng)).saturating_add(1);
        }
    }
}

/// Errors on many bits near each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorBursts {
    /// Share of the frames with one, 0 to 1.
    pub share: f64,
    /// Bits from the first wrong one to the last, 1 to 128.
    pub bits: u32,
}

impl ErrorBursts {
    /// # Errors
    /// A share that is none, or a burst longer than a frame.
    pub(super) fn check(self) -> Result<(), Fault> {
        check_share("frames with an error burst", self.share)?;
        if (1..=BITS).contains(&u64::from(self.bits)) {
            return Ok(());
        }
        Err(Fault::new(
            format!("error bursts of {} bits", self.bits),
            format!("1 to {BITS}, the bits of a frame"),
            "state another length",
        ))
    }

    /// Turns the bits of one burst over, if the frame has one.
    pub(super) fn draw(self, rng: &mut Rng, bytes: &mut Bytes) {
        let length = u64::from(self.bits);
        let hit = chance(rng, self.share);
        let (true, Ok(place)) = (hit, Uniform::new_inclusive(0, BITS.saturating_sub(length)))
        else {
            return;
        };
        let first = place.sample(rng);
        for bit in 0..length {
            if bit == 0 || bit + 1 == length || chance(rng, 0.5) {
                flip(bytes, first + bit);
            }
        }
    }
}

/// Turns one bit over; bit 0 is sent first, the highest of the first byte.
fn flip(bytes: &mut Bytes, bit: u64) {
    if let Some(byte) = bytes.get_mut((bit / 8) as usize) {
        *byte ^= 0x80 >> (bit % 8);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;

    fn wrong(bytes: &Bytes) -> Vec<u32> {
        (0..128)
            .filter(|bit| bytes[*bit as usize / 8] & (0x80 >> (bit % 8)) != 0)
            .collect()
    }

    #[test]
    fn every_bit_is_wrong_as_often_as_asked() {
        for (seed, rate) in [1e-3, 0.05, 0.5].into_iter().enumerate() {
            let mut rng = rng::stream(&[seed as u64]);
            let n = 100_000;
            let mut at = [0_u32; 128];
            for _ in 0..n {
                let mut bytes = [0; 16];
                BitErrors { rate }.draw(&mut rng, &mut bytes);
                for bit in wrong(&bytes) {
                    at[bit as usize] += 1;
                }
            }
            let error = (rate * (1.0 - rate) / f64::from(n)).sqrt();
            let share = |count: u32| f64::from(count) / f64::from(n);
            // The widest of 128 places: 5 standard errors.
            assert!(at.iter().all(|&c| (share(c) - rate).abs() < 5.0 * error));
            let all = share(at.iter().sum()) / 128.0;
            assert!((all - rate).abs() < 4.0 * error / 128_f64.sqrt(), "{all}");
        }
    }

    #[test]
    fn a_burst_spans_its_length_and_lies_anywhere() {
        let mut rng = rng::stream(&[1]);
        let bursts = ErrorBursts {
            share: 1.0,
            bits: 9,
        };
        let (n, mut inner, mut places) = (50_000, 0, [0_u32; 120]);
        for _ in 0..n {
            let mut bytes = [0; 16];
            bursts.draw(&mut rng, &mut bytes);
            let wrong = wrong(&bytes);
            assert_eq!(wrong[wrong.len() - 1] - wrong[0], 8);
            inner += wrong.len() - 2;
            places[wrong[0] as usize] += 1;
        }
        let mean = inner as f64 / f64::from(n);
        assert!((mean - 3.5).abs() < 4.0 * (7.0 / 4.0 / f64::from(n)).sqrt());
        let expected = f64::from(n) / 120.0;
        let far = |&c: &u32| (f64::from(c) - expected).abs() < 5.0 * expected.sqrt();
        assert!(places.iter().all(far));
    }

    #[test]
    fn ends_of_the_range() {
        let mut rng = rng::stream(&[2]);
        let mut bytes = [0; 16];
        BitErrors { rate: 0.0 }.draw(&mut rng, &mut bytes);
        let mut never = ErrorBursts {
            share: 0.0,
            bits: 128,
        };
        never.draw(&mut rng, &mut bytes);
        assert_eq!(bytes, [0; 16]);
        BitErrors { rate: 1.0 }.draw(&mut rng, &mut bytes);
        assert_eq!(bytes, [0xFF; 16]);
        never.share = 1.0;
        never.draw(&mut rng, &mut bytes);
        assert!(bytes[0] & 0x80 == 0 && bytes[15] & 1 == 0);
        for bits in [0, 129, u32::MAX] {
            assert!(ErrorBursts { bits, ..never }.check().is_err());
        }
        assert!(never.check().is_ok() && BitErrors { rate: 2.0 }.check().is_err());
    }
}
