//! One random stream per touch.
//!
//! A stream is named by words (seed, purpose, cell, touch ...). The words are
//! mixed with the finaliser of `SplitMix64` (Steele, Lea, Flood 2014) into the
//! seed of a xoshiro256++ generator (Blackman, Vigna 2019), so equal names
//! give equal streams on every machine and thread, and near names give
//! unrelated ones. Not for cryptography.

use rand_xoshiro::rand_core::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

/// The generator of all simulations.
pub type Rng = Xoshiro256PlusPlus;

/// The stream with the name `words`; their order and number matter.
#[must_use]
pub fn stream(words: &[u64]) -> Rng {
    let mut state = mix(words.len() as u64);
    for &word in words {
        state = mix(state ^ mix(word));
    }
    Rng::seed_from_u64(state)
}

/// `SplitMix64`: one step of the Weyl sequence, then the 64-bit finaliser.
fn mix(word: u64) -> u64 {
    let mut z = word.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::stream;
    use rand_xoshiro::rand_core::RngCore;

    #[test]
    fn equal_names_give_equal_streams_and_near_names_do_not() {
        assert_eq!(stream(&[1, 2]).next_u64(), stream(&[1, 2]).next_u64());
        let near: Vec<u64> = [&[1_u64, 2][..], &[2, 1], &[1], &[1, 2, 0], &[1, 3]]
            .iter()
            .map(|name| stream(name).next_u64())
            .collect();
        for (i, a) in near.iter().enumerate() {
            assert!(near[i + 1..].iter().all(|b| a != b));
        }
    }
}
