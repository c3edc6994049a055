//! Frames lost in bursts: the medium is good or bad for stretches of slots.
//!
//! Two states change slot by slot as a Markov chain, and a slot in the bad
//! state loses its frame (Gilbert, Bell Syst. Tech. J. 39 (1960) 1253; Elliott,
//! 42 (1963) 1977, let both states lose a share, which is left out here). The
//! chain is stated by what a user can count: the share of slots lost `p` and
//! the mean length of a burst `L` in slots. With `r = 1/L` from bad to good and
//! `g = p/(L(1−p))` from good to bad per slot, the bad share is `g/(g+r) = p`
//! and bursts are geometric with mean `L`. The medium goes on in slots without
//! a frame, so a sparse beat sees the same bursts as a dense one.
//!
//! Limits: burst lengths have no other shape; the medium does not get better
//! or worse with time; states change only between slots. `L = 1` means that no
//! two slots in a row are lost: losses without memory are
//! [`Loss::independent`], `L = 1/(1−p)`.

use super::trials::{chance, Trials};
use crate::fault::Fault;
use crate::model::rng::Rng;

/// A silence this long beyond the end of a run is stepped over at once, slots:
/// 17 minutes of 1 ms slots.
const FAR: u64 = 1 << 20;

/// How much is lost, in bursts of which length; checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    share: f64,
    burst: f64,
}

impl Loss {
    /// Nothing is lost.
    pub const NONE: Self = Self {
        share: 0.0,
        burst: 1.0,
    };

    /// A `share` of slots lost (0 to below 1) in bursts of `burst` slots on
    /// average (1 or more).
    ///
    /// # Errors
    /// Numbers out of range, and a share that bursts so short cannot make up:
    /// at most `burst/(burst+1)`, one good slot between any two bursts.
    pub fn new(share: f64, burst: f64) -> Result<Self, Fault> {
        if !(0.0..1.0).contains(&share) {
            return Err(Fault::new(
                format!("a loss of {share} of the slots"),
                "a share from 0 to below 1",
                "state another loss; an outage is a stretch of interference",
            ));
        }
        if !(1.0..f64::INFINITY).contains(&burst) {
            return Err(Fault::new(
                format!("bursts of {burst} slots on average"),
                "a finite mean of at least 1",
                "state longer bursts; losses without memory have 1/(1 − loss)",
            ));
        }
        let loss = Self { share, burst };
        // A hair for the rounding of a share right at the limit.
        if loss.entered() > 1.0 + 1e-12 {
            return Err(Fault::new(
                format!("a loss of {share} in bursts of {burst} slots on average"),
                format!(
                    "at most {:.4}, one good slot between any two bursts",
                    burst / (burst + 1.0)
                ),
                "state less loss or longer bursts",
            ));
        }
        Ok(loss)
    }

    /// Every slot lost with the chance `share` (0 to below 1), whatever was
    /// lost before.
    ///
    /// # Errors
    /// A share out of range.
    pub fn independent(share: f64) -> Result<Self, Fault> {
        // A wrong share is told as such, not by the bursts that follow from it.
        let burst = if (0.0..1.0).contains(&share) {
            1.0 / (1.0 - share)
        } else {
            1.0
        };
        Self::new(share, burst)
    }

    /// Share of slots lost.
    #[must_use]
    pub fn share(self) -> f64 {
        self.share
    }

    /// Mean length of a burst, slots.
    #[must_use]
    pub fn burst(self) -> f64 {
        self.burst
    }

    /// Chance that a bad slot follows a good one.
    #[must_use]
    pub fn enter(self) -> f64 {
        self.entered().min(1.0)
    }

    fn entered(self) -> f64 {
        self.share / (self.burst * (1.0 - self.share))
    }

    /// Chance that a good slot follows a bad one.
    #[must_use]
    pub fn leave(self) -> f64 {
        1.0 / self.burst
    }

    /// Correlation of the losses of neighbouring slots, the second eigenvalue
    /// of the chain: 0 without memory, negative where bursts are shorter.
    #[must_use]
    pub fn memory(self) -> f64 {
        1.0 - self.leave() - self.enter()
    }
}

/// One medium as it goes on, slot by slot.
#[derive(Debug, Clone)]
pub struct Gilbert {
    loss: Loss,
    good: Trials,
    bad: Trials,
    rng: Rng,
    lossy: bool,
    /// First slot after the run of slots that are all as lossy as this one.
    until: u64,
}

impl Gilbert {
    /// A medium that has gone on for ever before slot 0. What it does is given
    /// by `loss` and the stream `rng`, not by the slots asked for.
    #[must_use]
    pub fn new(loss: Loss, mut rng: Rng) -> Self {
        let lossy = chance(&mut rng, loss.share);
        let mut medium = Self {
            loss,
            good: Trials::new(loss.enter()),
            bad: Trials::new(loss.leave()),
            rng,
            lossy,
            until: 0,
        };
        medium.until = medium.run();
        medium
    }

    /// Whether a frame in `slot` is lost. Slots are asked for in order; one
    /// before the last is taken as the last.
    pub fn loses(&mut self, slot: u64) -> bool {
        if slot.saturating_sub(self.until) > FAR {
            self.step_over(slot);
        }
        while slot >= self.until && self.until < u64::MAX {
            self.lossy = !self.lossy;
            self.until = self.until.saturating_add(self.run());
        }
        self.lossy
    }

    /// Length of a run of slots from its first on, at least 1. The rest of a
    /// run has the same law wherever one looks.
    fn run(&mut self) -> u64 {
        let further = if self.lossy { self.bad } else { self.good };
        further.failures(&mut self.rng).saturating_add(1)
    }

    /// The state at a far slot by the law of the chain: `d` slots after a known
    /// one it is bad with `p + (known − p)·memory^d`.
    fn step_over(&mut self, slot: u64) {
        let known = f64::from(u8::from(!self.lossy));
        let share = self.loss.share;
        let left = self.loss.memory().powf((slot - self.until) as f64);
        self.lossy = chance(&mut self.rng, share + (known - share) * left);
        self.until = slot.saturating_add(self.run());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;

    /// Slots lost and bursts begun among the first `slots`.
    fn counted(loss: Loss, seed: u64, slots: u64) -> (u64, u64) {
        let mut medium = Gilbert::new(loss, rng::stream(&[seed]));
        let (mut lost, mut bursts, mut before) = (0, 0, false);
        for slot in 0..slots {
            let now = medium.loses(slot);
            lost += u64::from(now);
            bursts += u64::from(now && !before);
            before = now;
        }
        (lost, bursts)
    }

    /// Standard errors: a sum over a two-state chain spreads by
    /// `p(1−p)·(1+memory)/(1−memory)` a slot (Hasslinger, Hohlfeld, MMB 2008,
    /// second-order statistics of the model, from memory), a geometric burst by
    /// `√(L(L−1))`.
    #[test]
    fn loss_and_burst_length_are_those_asked_for() {
        let slots = 2_000_000;
        let cases = [
            (0.001, 1.0),
            (0.01, 1.0),
            (0.01, 3.0),
            (0.01, 20.0),
            (0.05, 1.0 / 0.95),
            (0.1, 5.0),
            (0.3, 1.5),
            (0.3, 20.0),
            (0.5, 1.0),
            (0.9, 10.0),
        ];
        for (seed, (share, burst)) in cases.into_iter().enumerate() {
            let loss = Loss::new(share, burst).unwrap();
            let (lost, bursts) = counted(loss, seed as u64, slots);
            let n = slots as f64;
            let spread = (1.0 + loss.memory()) / (1.0 - loss.memory());
            let error = (share * (1.0 - share) * spread / n).sqrt();
            let seen = lost as f64 / n;
            // Half a slot: two states in strict turn have no spread at all.
            let margin = 4.0 * error + 0.5 / n;
            assert!((seen - share).abs() <= margin, "{share} {burst}: {seen}");
            let mean = lost as f64 / bursts as f64;
            let error = (burst * (burst - 1.0) / bursts as f64).sqrt();
            // The first and the last burst may be cut.
            let margin = 4.0 * error + 2.0 * burst / bursts as f64;
            assert!((mean - burst).abs() <= margin, "{share} {burst}: {mean}");
        }
    }

    #[test]
    fn what_the_medium_does_does_not_depend_on_the_slots_asked_for() {
        let loss = Loss::new(0.2, 4.0).unwrap();
        let all = {
            let mut medium = Gilbert::new(loss, rng::stream(&[7]));
            (0..10_000).map(|k| medium.loses(k)).collect::<Vec<_>>()
        };
        let mut sparse = Gilbert::new(loss, rng::stream(&[7]));
        for slot in (0..10_000).step_by(7) {
            assert_eq!(sparse.loses(slot), all[slot as usize]);
        }
        assert_eq!(
            sparse.loses(3),
            sparse.loses(9_996),
            "the past is the present"
        );
    }

    #[test]
    fn far_slots_are_answered_at_once_by_the_same_law() {
        let far = |loss: Loss, seed| {
            let mut medium = Gilbert::new(loss, rng::stream(&[seed]));
            (1..=20).filter(|k| medium.loses(k * (1 << 50))).count()
        };
        let loss = Loss::new(0.3, 4.0).unwrap();
        let lost: usize = (0..2_000).map(|seed| far(loss, seed)).sum();
        // 40 000 slots without memory: 0.3 ± 0.0023.
        let share = lost as f64 / 40_000.0;
        assert!((share - 0.3).abs() < 4.0 * 0.0023, "{share}");
        // Bursts of 2^21 slots remember over 2^21: bad with 0.3 + 0.7·memory^d.
        let long = Loss::new(0.3, f64::from(1 << 21)).unwrap();
        let (mut bad, mut still) = (0, 0);
        for seed in 0..20_000 {
            let mut medium = Gilbert::new(long, rng::stream(&[seed]));
            if medium.loses(0) {
                bad += 1;
                still += i32::from(medium.loses(1 << 21));
            }
        }
        let expected = 0.3 + 0.7 * long.memory().powi(1 << 21);
        let error = (expected * (1.0 - expected) / f64::from(bad)).sqrt();
        let seen = f64::from(still) / f64::from(bad);
        assert!((seen - expected).abs() < 4.0 * error, "{seen} {expected}");
        let mut medium = Gilbert::new(loss, rng::stream(&[1]));
        let _either = medium.loses(u64::MAX);
        let mut none = Gilbert::new(Loss::NONE, rng::stream(&[1]));
        assert!(!none.loses(0) && !none.loses(u64::MAX));
        assert!(!none.loses(u64::MAX));
    }

    #[test]
    fn impossible_numbers_are_refused_with_a_reason() {
        let told = |share, burst| Loss::new(share, burst).unwrap_err().to_string();
        for share in [-0.01, 1.0, 1.5, f64::NAN, f64::INFINITY] {
            assert!(told(share, 3.0).contains("share from 0 to below 1"));
            assert!(Loss::independent(share).is_err());
        }
        for burst in [0.0, 0.999, -1.0, f64::NAN, f64::INFINITY] {
            assert!(told(0.1, burst).contains("at least 1"), "{burst}");
        }
        assert_eq!(
            told(0.6, 1.0),
            "found a loss of 0.6 in bursts of 1 slots on average, expected at most 0.5000, \
             one good slot between any two bursts; state less loss or longer bursts"
        );
        assert!(Loss::new(0.5, 1.0).is_ok() && Loss::new(0.751, 3.0).is_err());
        assert!(Loss::new(2.0 / 3.0, 2.0).is_ok());
        assert!(Loss::independent(0.999).is_ok_and(|loss| loss.memory().abs() < 1e-12));
    }
}
