//! Contact flutter: the blade is thrown back before it stays.
//!
//! From the first make on it blocks for a while, leaves the beam, blocks
//! again, and after a number of hits stays. Blocked and free times are evenly
//! spread in their ranges; the truth is the first make. Limits: the hits are
//! independent, do not shorten as they would in a real bounce, and their
//! flanks are sudden.

use rand_distr::{Distribution, Uniform};

use super::rng::Rng;

/// How a contact flutters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flutter {
    /// Most hits before the blade stays, at least 1; each number from 1 on is
    /// as likely.
    pub hits: u32,
    /// Shortest and longest hit, s.
    pub blocked: (f64, f64),
    /// Shortest and longest time between two hits, s.
    pub free: (f64, f64),
}

impl Default for Flutter {
    /// One to eight hits of 50 µs to 1 ms, 20 µs to 0.5 ms apart.
    fn default() -> Self {
        Self {
            hits: 8,
            blocked: (50e-6, 1e-3),
            free: (20e-6, 0.5e-3),
        }
    }
}

impl Flutter {
    /// Begins and ends (s) of the blocked times from the first make at `t`
    /// (s); the last one, in which the blade stays, ends at `until` (s). A
    /// contact that is over before it settled is cut there.
    pub fn draw(&self, rng: &mut Rng, t: f64, until: f64) -> Vec<(f64, f64)> {
        let mut hits = Vec::new();
        let (Ok(count), Ok(blocked), Ok(free)) = (
            Uniform::new_inclusive(1, self.hits.max(1)),
            Uniform::new_inclusive(self.blocked.0, self.blocked.1),
            Uniform::new_inclusive(self.free.0, self.free.1),
        ) else {
            hits.push((t, until));
            return hits;
        };
        let mut begin = t;
        for _ in 0..count.sample(rng) {
            let end = begin + blocked.sample(rng);
            hits.push((begin, end));
            begin = end + free.sample(rng);
        }
        hits.push((begin, until));
        hits.retain(|hit| hit.0 < until);
        if let Some(last) = hits.last_mut() {
            last.1 = last.1.min(until);
        }
        hits
    }
}

#[cfg(test)]
mod tests {
    use super::Flutter;
    use crate::model::rng;

    #[test]
    fn it_begins_with_the_first_make_and_stays_in_its_ranges() {
        let flutter = Flutter::default();
        let mut total = 0;
        for touch in 0..2000 {
            let hits = flutter.draw(&mut rng::stream(&[touch]), 0.5, 9.0);
            assert!((hits[0].0 - 0.5).abs() < 1e-15);
            assert!((hits.last().unwrap().1 - 9.0).abs() < 1e-15);
            let bounces = hits.len() - 1;
            assert!((1..=8).contains(&bounces));
            total += bounces;
            for pair in hits.windows(2) {
                let (on, off) = (pair[0].1 - pair[0].0, pair[1].0 - pair[0].1);
                assert!((49.9e-6..1.001e-3).contains(&on), "{on}");
                assert!((19.9e-6..0.501e-3).contains(&off), "{off}");
            }
        }
        assert!((total as f64 / 2000.0 - 4.5).abs() < 0.2);
        let cut = flutter.draw(&mut rng::stream(&[1]), 0.5, 0.500_01);
        assert_eq!(cut, [(0.5, 0.500_01)]);
    }
}
