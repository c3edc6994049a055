//! Trials with a chance: whether one succeeds, how many fail before.
//!
//! The failures before a success are geometric, drawn by inversion
//! (`⌊ln u / ln(1−p)⌋`, Devroye, Non-Uniform Random Variate Generation, X.2),
//! which is exact to rounding down to the smallest chances. Limit: the library
//! of portable logarithms gives equal numbers on every machine; waits beyond
//! 2^53 are rounded.

use rand_distr::{Distribution, OpenClosed01, StandardUniform};

use crate::fault::Fault;
use crate::model::rng::Rng;

/// Whether a trial with the chance `p` succeeds; one draw, whatever `p` is.
pub(super) fn chance(rng: &mut Rng, p: f64) -> bool {
    let u: f64 = StandardUniform.sample(rng);
    u < p
}

/// Trials of one chance, one after the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trials {
    /// `ln(1−p)`: 0 for never, minus infinity for always.
    log_failure: f64,
}

impl Trials {
    /// Each succeeds with the chance `p`, 0 to 1.
    pub(super) fn new(p: f64) -> Self {
        Self {
            log_failure: libm::log1p(-p),
        }
    }

    /// Failures before the next success; `u64::MAX` where it never comes.
    pub(super) fn failures(self, rng: &mut Rng) -> u64 {
        let u: f64 = OpenClosed01.sample(rng);
        if self.log_failure >= 0.0 {
            return u64::MAX;
        }
        (libm::log(u) / self.log_failure) as u64
    }
}

/// Refuses a `share` of `what` that is no share.
pub(super) fn check_share(what: &str, share: f64) -> Result<(), Fault> {
    if (0.0..=1.0).contains(&share) {
        return Ok(());
    }
    Err(Fault::new(
        format!("{share} as the share of {what}"),
        "a share from 0 to 1",
        "state another share, 0 for none",
    ))
}

/// Refuses a `rate` (a second) of `what` that is no rate.
pub(super) fn check_rate(what: &str, rate: f64) -> Result<(), Fault> {
    if (0.0..=MAX_RATE).contains(&rate) {
        return Ok(());
    }
    Err(Fault::new(
        format!("{rate} {what} a second"),
        format!("a rate from 0 to {MAX_RATE} a second"),
        "state another rate, 0 for none",
    ))
}

/// Refuses a range (ns) of `what` that runs backwards.
pub(super) fn check_range(what: &str, range_ns: (u64, u64)) -> Result<(), Fault> {
    if range_ns.0 <= range_ns.1 {
        return Ok(());
    }
    Err(Fault::new(
        format!("{} to {} ns as the range of {what}", range_ns.0, range_ns.1),
        "the shorter time first",
        "swap the two",
    ))
}

/// Most events a second of any kind: one a nanosecond would leave no time.
pub(super) const MAX_RATE: f64 = 1e6;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;
    use crate::study::statistics::Moments;

    #[test]
    fn waits_have_the_mean_and_spread_of_the_law() {
        // Geometric: mean (1−p)/p, variance (1−p)/p² (textbook).
        for (k, p) in [0.9, 0.3, 0.01, 1e-7].into_iter().enumerate() {
            let mut rng = rng::stream(&[k as u64]);
            let waits: Moments = (0..200_000)
                .map(|_| Trials::new(p).failures(&mut rng) as f64)
                .collect();
            let (mean, sd) = ((1.0 - p) / p, (1.0 - p).sqrt() / p);
            assert!(
                (waits.mean() - mean).abs() < 4.0 * waits.mean_error(),
                "{p}"
            );
            assert!((waits.sd() - sd).abs() < 4.0 * waits.sd_error(), "{p}");
        }
    }

    #[test]
    fn never_and_always_and_nearly_never() {
        let mut rng = rng::stream(&[1]);
        assert_eq!(Trials::new(0.0).failures(&mut rng), u64::MAX);
        assert_eq!(Trials::new(1.0).failures(&mut rng), 0);
        assert!(Trials::new(1e-18).failures(&mut rng) > 1 << 40);
        assert!(!chance(&mut rng, 0.0) && chance(&mut rng, 1.0));
    }

    #[test]
    fn no_share_no_rate_and_no_range_is_taken_for_one() {
        for bad in [-0.1, 1.1, f64::NAN] {
            assert!(check_share("x", bad).is_err());
        }
        for bad in [-1.0, 2e6, f64::NAN, f64::INFINITY] {
            assert!(check_rate("x", bad).is_err());
        }
        assert!(check_range("x", (2, 1)).is_err());
        let told = check_share("frames copied", 1.5).map_err(|fault| fault.to_string());
        assert_eq!(
            told,
            Err("found 1.5 as the share of frames copied, expected a share from 0 to 1; state another share, 0 for none".to_owned())
        );
    }
}
