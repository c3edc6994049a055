//! Frames heard twice: an echo, a repeater, a receiver that reads out twice.
//!
//! A share of the frames heard comes a second time, all bytes alike, begun
//! again a while later; the while is evenly spread. Limits: at most one copy
//! of a frame, and it never overlaps the frame so that both are lost.

use rand_distr::{Distribution, Uniform};

use super::trials::{chance, check_range, check_share};
use crate::fault::Fault;
use crate::model::rng::Rng;

/// How often a frame comes again, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Copies {
    /// Share of the frames concerned, 0 to 1.
    pub share: f64,
    /// Shortest and longest time from the frame to its second begin, ns.
    pub after_ns: (u64, u64),
}

impl Copies {
    /// # Errors
    /// A share or a range that is none.
    pub(super) fn check(&self, what: &str) -> Result<(), Fault> {
        check_share(what, self.share)?;
        check_range(what, self.after_ns)
    }

    /// How much later a frame comes again, ns, if it does.
    pub(super) fn draw(&self, rng: &mut Rng) -> Option<u64> {
        let again = chance(rng, self.share);
        let after = Uniform::new_inclusive(self.after_ns.0, self.after_ns.1).ok()?;
        again.then(|| after.sample(rng))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;
    use crate::study::statistics::Moments;

    #[test]
    fn as_many_as_asked_within_the_time_asked() {
        let copies = Copies {
            share: 0.05,
            after_ns: (1_000, 3_000),
        };
        let mut rng = rng::stream(&[1]);
        let n = 200_000;
        let after: Moments = (0..n)
            .filter_map(|_| copies.draw(&mut rng))
            .inspect(|after| assert!((1_000..=3_000).contains(after)))
            .map(|after| after as f64)
            .collect();
        let share = after.count() as f64 / f64::from(n);
        assert!((share - 0.05).abs() < 4.0 * (0.05 * 0.95 / f64::from(n)).sqrt());
        assert!((after.mean() - 2_000.0).abs() < 4.0 * after.mean_error());
    }

    #[test]
    fn wrong_numbers_are_refused() {
        let copies = |share, after_ns| Copies { share, after_ns }.check("copies");
        assert!(copies(0.5, (0, 0)).is_ok());
        assert!(copies(1.1, (0, 0)).is_err() && copies(0.5, (2, 1)).is_err());
    }
}
