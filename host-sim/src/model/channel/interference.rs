//! Stretches in which nothing is heard: a lamp, a drive, a door in the way.
//!
//! Whatever is on the air within one, be it partly, is lost at every receiver,
//! foreign frames too. Stretches are given, or drawn with a constant rate
//! (Poisson) and one length. Limit: all or nothing; what only weakens the
//! signal is a loss of the medium.

use rand_distr::{Distribution, Exp};

use super::trials::check_rate;
use super::{stream, Purpose};
use crate::fault::Fault;

/// Stretches of time without any frame.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Interference {
    /// First and one after the last instant, ns; in order and apart.
    stretches: Vec<(u64, u64)>,
}

impl Interference {
    /// These stretches, first and one after the last instant (ns) of each, in
    /// any order; empty ones count for nothing.
    #[must_use]
    pub fn new(mut stretches: Vec<(u64, u64)>) -> Self {
        stretches.retain(|stretch| stretch.0 < stretch.1);
        stretches.sort_unstable();
        let mut apart: Vec<(u64, u64)> = Vec::with_capacity(stretches.len());
        for stretch in stretches {
            match apart.last_mut() {
                Some(last) if stretch.0 <= last.1 => last.1 = last.1.max(stretch.1),
                _ => apart.push(stretch),
            }
        }
        Self { stretches: apart }
    }

    /// Stretches of `length_ns` that begin at random, `per_s` a second on
    /// average, before `until_ns`.
    ///
    /// # Errors
    /// A rate out of range.
    pub fn random(seed: u64, per_s: f64, length_ns: u64, until_ns: u64) -> Result<Self, Fault> {
        check_rate("stretches of interference", per_s)?;
        let mut rng = stream(seed, Purpose::Interference, 0, 0);
        let mut stretches = Vec::new();
        if let (true, Ok(gap)) = (per_s > 0.0, Exp::new(per_s * 1e-9)) {
            let mut begin = gap.sample(&mut rng) as u64;
            while begin < until_ns {
                stretches.push((begin, begin.saturating_add(length_ns)));
                begin = begin.saturating_add(gap.sample(&mut rng) as u64);
            }
        }
        Ok(Self::new(stretches))
    }

    /// The stretches, in order and apart.
    #[must_use]
    pub fn stretches(&self) -> &[(u64, u64)] {
        &self.stretches
    }

    /// Whether any of `begin` to `end` (ns, the end not included) is disturbed.
    #[must_use]
    pub fn meets(&self, (begin, end): (u64, u64)) -> bool {
        let after = self.stretches.partition_point(|stretch| stretch.1 <= begin);
        self.stretches.get(after).is_some_and(|next| next.0 < end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_are_joined_and_met_at_their_very_ends() {
        let all = Interference::new(vec![(50, 60), (10, 20), (20, 25), (5, 5), (52, 55)]);
        assert_eq!(all.stretches(), [(10, 25), (50, 60)]);
        for (frame, met) in [
            ((0, 10), false),
            ((0, 11), true),
            ((24, 30), true),
            ((25, 50), false),
            ((0, 99), true),
            ((59, 60), true),
            ((60, 99), false),
        ] {
            assert_eq!(all.meets(frame), met, "{frame:?}");
        }
        assert!(!Interference::default().meets((0, u64::MAX)));
    }

    #[test]
    fn random_ones_come_as_often_as_asked() {
        let hour = 3_600_000_000_000;
        let some = Interference::random(1, 1.0, 1_000, hour).unwrap();
        let n = some.stretches().len() as f64;
        assert!((n - 3_600.0).abs() < 4.0 * 60.0, "{n}");
        assert_eq!(some, Interference::random(1, 1.0, 1_000, hour).unwrap());
        assert_ne!(some, Interference::random(2, 1.0, 1_000, hour).unwrap());
        let none = Interference::random(1, 0.0, 1_000, hour).unwrap();
        assert!(none.stretches().is_empty());
        assert!(Interference::random(1, f64::NAN, 1, 1).is_err());
    }
}
