//! Frames that are not of this probe: another one's, or bytes out of noise.
//!
//! Each kind comes at random with a constant rate (Poisson) and a random
//! stream of its own. A neighbour's frame has the layout of ours and a good
//! check; what it says is random, as is its tag to a receiver with another
//! key. Noise is 128 random bits. All receivers hear them. Replays, frames of
//! this very probe put on the air again later, are [`Copies`](super::Copies)
//! of what it sent, whether heard the first time or not.
//!
//! Limits: a neighbour has no slots of its own, it comes at any time; two
//! frames on the air at once do not destroy each other (their losses belong to
//! the medium); nobody with the key lies.

use rand_distr::{Distribution, Exp, StandardUniform};

use trueonset::frame::crc16;

use super::trials::check_rate;
use super::{stream, Bytes, Purpose, What};
use crate::fault::Fault;
use crate::model::rng::Rng;

/// Highest probe number: 12 bits.
pub const MAX_ID: u16 = 0x0FFF;
/// Kinds of frames there are.
const KINDS: u8 = 3;

/// How much of what comes from elsewhere.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Foreign {
    /// This probe's number, at most [`MAX_ID`].
    pub id: u16,
    /// Frames of a neighbour with another number, a second.
    pub other_id_per_s: f64,
    /// Frames of a neighbour with the same number and another key, a second.
    pub same_id_per_s: f64,
    /// Frames out of noise, a second.
    pub noise_per_s: f64,
}

impl Foreign {
    /// # Errors
    /// A number of more than 12 bits, a rate out of range.
    pub(super) fn check(&self) -> Result<(), Fault> {
        if self.id > MAX_ID {
            return Err(Fault::new(
                format!("probe number {}", self.id),
                format!("0 to {MAX_ID}, 12 bits"),
                "state another number",
            ));
        }
        check_rate("frames of another number", self.other_id_per_s)?;
        check_rate("frames of the same number", self.same_id_per_s)?;
        check_rate("frames out of noise", self.noise_per_s)
    }

    /// The sources, one a kind that comes at all.
    pub(super) fn sources(&self, seed: u64) -> Vec<Source> {
        let kinds = [
            (What::Neighbour, self.other_id_per_s),
            (What::SameId, self.same_id_per_s),
            (What::Noise, self.noise_per_s),
        ];
        let source = |(what, per_s): (What, f64)| {
            let gap = Exp::new(per_s * 1e-9).ok().filter(|_| per_s > 0.0)?;
            let mut rng = stream(seed, Purpose::Foreign, what as u64, 0);
            let next_ns = gap.sample(&mut rng) as u64;
            Some(Source {
                what,
                id: self.id,
                gap,
                rng,
                next_ns,
                count: 0,
            })
        };
        kinds.into_iter().filter_map(source).collect()
    }
}

/// One kind of foreign frames as they come.
#[derive(Debug, Clone)]
pub(super) struct Source {
    pub(super) what: What,
    id: u16,
    gap: Exp<f64>,
    rng: Rng,
    next_ns: u64,
    count: u64,
}

impl Source {
    /// Number, begin (ns) and bytes of the next frame, if it begins by `until_ns`.
    pub(super) fn next(&mut self, until_ns: u64) -> Option<(u64, u64, Bytes)> {
        if self.next_ns > until_ns || self.next_ns == u64::MAX {
            return None;
        }
        let begin_ns = self.next_ns;
        let bytes = self.bytes();
        let gap_ns = self.gap.sample(&mut self.rng) as u64;
        self.next_ns = begin_ns.saturating_add(gap_ns.max(1));
        self.count += 1;
        Some((self.count, begin_ns, bytes))
    }

    fn bytes(&mut self) -> Bytes {
        let mut bytes: Bytes = StandardUniform.sample(&mut self.rng);
        let id = match self.what {
            What::SameId => self.id,
            What::Neighbour => self.id ^ 1,
            _ => return bytes,
        };
        bytes[0] = ((bytes[0] % KINDS) << 4) | (id >> 8) as u8;
        bytes[1] = id as u8;
        let (said, rest) = bytes.split_at_mut(14);
        rest.copy_from_slice(&crc16(said).to_be_bytes());
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: Foreign = Foreign {
        id: 0xABC,
        other_id_per_s: 30.0,
        same_id_per_s: 20.0,
        noise_per_s: 50.0,
    };

    #[test]
    fn each_kind_comes_as_often_as_asked_and_looks_as_it_should() {
        let second = 1_000_000_000;
        for mut source in ALL.sources(5) {
            let mut begins = Vec::new();
            while let Some((count, begin_ns, bytes)) = source.next(1_000 * second) {
                begins.push(begin_ns);
                assert_eq!(count, begins.len() as u64);
                let id = u16::from_be_bytes([bytes[0] & 0x0F, bytes[1]]);
                let good = crc16(&bytes) == 0;
                match source.what {
                    What::Neighbour => assert!(good && id == 0xABD && bytes[0] >> 4 < KINDS),
                    What::SameId => assert!(good && id == 0xABC && bytes[0] >> 4 < KINDS),
                    _ => {}
                }
            }
            let expected = match source.what {
                What::Neighbour => 30e3,
                What::SameId => 20e3_f64,
                _ => 50e3,
            };
            let seen = begins.len() as f64;
            assert!((seen - expected).abs() < 4.0 * expected.sqrt(), "{seen}");
            assert!(begins.windows(2).all(|w| w[0] < w[1]));
        }
        assert_eq!(ALL.sources(5).len(), 3);
        assert!(Foreign::default().sources(5).is_empty());
    }

    /// Of random bytes one in 2^16 passes a check of 16 bits.
    #[test]
    fn noise_passes_the_check_by_chance_only() {
        let noise = Foreign {
            noise_per_s: 1e6,
            ..Foreign::default()
        };
        let mut source = noise.sources(1).remove(0);
        let frames = 1_000_000;
        let good = (0..frames)
            .filter_map(|_| source.next(u64::MAX - 1))
            .filter(|(_, _, bytes)| crc16(bytes) == 0)
            .count();
        let expected = f64::from(frames) / 65_536.0;
        assert!(
            (good as f64 - expected).abs() < 4.0 * expected.sqrt(),
            "{good}"
        );
    }

    #[test]
    fn wrong_numbers_are_refused() {
        assert!(ALL.check().is_ok());
        let wrong = [
            Foreign { id: 0x1000, ..ALL },
            Foreign {
                other_id_per_s: -1.0,
                ..ALL
            },
            Foreign {
                same_id_per_s: f64::NAN,
                ..ALL
            },
            Foreign {
                noise_per_s: 1e7,
                ..ALL
            },
        ];
        assert!(wrong.iter().all(|foreign| foreign.check().is_err()));
    }
}
