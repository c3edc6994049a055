//! Summaries of samples, each with its standard error.

/// Running moments up to the fourth (Welford 1962, extended by Terriberry).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Moments {
    n: f64,
    mean: f64,
    m2: f64,
    m3: f64,
    m4: f64,
}

impl Moments {
    /// Takes one value in.
    pub fn add(&mut self, x: f64) {
        let before = self.n;
        self.n += 1.0;
        let n = self.n;
        let delta = x - self.mean;
        let share = delta / n;
        let square = share * share;
        let term = delta * share * before;
        self.mean += share;
        self.m4 += term * square * (n * n - 3.0 * n + 3.0) + 6.0 * square * self.m2
            - 4.0 * share * self.m3;
        self.m3 += term * share * (n - 2.0) - 3.0 * share * self.m2;
        self.m2 += term;
    }

    /// Those of both samples together (Chan, Golub, LeVeque 1979; third and fourth after Pébay 2008).
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        let (a, b, n) = (self.n, other.n, self.n + other.n);
        if n == 0.0 {
            return self;
        }
        let delta = other.mean - self.mean;
        let share = delta / n;
        let crossed = a * b * delta * share;
        Self {
            n,
            mean: self.mean + b * share,
            m2: self.m2 + other.m2 + crossed,
            m3: self.m3
                + other.m3
                + crossed * (a - b) * share
                + 3.0 * share * (a * other.m2 - b * self.m2),
            m4: self.m4
                + other.m4
                + crossed * (a * a - a * b + b * b) * share * share
                + 6.0 * share * share * (a * a * other.m2 + b * b * self.m2)
                + 4.0 * share * (a * other.m3 - b * self.m3),
        }
    }

    /// Number of values.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.n as u64
    }

    /// Mean; 0 without values.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Standard error of the mean.
    #[must_use]
    pub fn mean_error(&self) -> f64 {
        self.sd() / self.n.sqrt()
    }

    /// Standard deviation (n − 1); not a number below two values.
    #[must_use]
    pub fn sd(&self) -> f64 {
        (self.m2 / (self.n - 1.0)).sqrt()
    }

    /// Standard error of the standard deviation, from the fourth moment, so that
    /// heavy tails show.
    #[must_use]
    pub fn sd_error(&self) -> f64 {
        let variance = self.m2 / self.n;
        let of_variance = ((self.m4 / self.n - variance * variance) / self.n).sqrt();
        of_variance / (2.0 * variance.sqrt())
    }
}

impl Extend<f64> for Moments {
    fn extend<I: IntoIterator<Item = f64>>(&mut self, values: I) {
        for x in values {
            self.add(x);
        }
    }
}

impl FromIterator<f64> for Moments {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut moments = Self::default();
        moments.extend(values);
        moments
    }
}

/// The value that a share `p` (0 to 1) of `values` does not exceed; none without
/// values. Sorts them.
pub fn quantile(values: &mut [f64], p: f64) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let rank = (p * values.len() as f64).ceil() as usize;
    values.get(rank.saturating_sub(1)).copied()
}

/// A share of trials.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    /// How many it held for.
    pub hits: u64,
    /// Of how many.
    pub trials: u64,
}

impl Share {
    /// The share itself; not a number without trials.
    #[must_use]
    pub fn value(self) -> f64 {
        self.hits as f64 / self.trials as f64
    }

    /// Standard error at the share found.
    #[must_use]
    pub fn error(self) -> f64 {
        let p = self.value();
        (p * (1.0 - p) / self.trials as f64).sqrt()
    }

    /// Wilson's interval (1927) for `z` standard deviations.
    #[must_use]
    pub fn wilson(self, z: f64) -> (f64, f64) {
        let (n, p) = (self.trials as f64, self.value());
        let square = z * z / n;
        let centre = (p + 0.5 * square) / (1.0 + square);
        let half = z * (p * (1.0 - p) / n + 0.25 * square / n).sqrt() / (1.0 + square);
        ((centre - half).max(0.0), (centre + half).min(1.0))
    }
}

/// What a rate of events is below, at 95 % confidence, after none in `trials`:
/// the exact `1 − 0.05^(1/n)`, about 3/n.
#[must_use]
pub fn bound_after_none(trials: u64) -> f64 {
    -(0.05_f64.ln() / trials as f64).exp_m1()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_equal_two_passes() {
        let values: Vec<f64> = (0..1000).map(|k| f64::from(k * k % 97) + 1e6).collect();
        let m: Moments = values.iter().copied().collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let central = |p| values.iter().map(|x| (x - mean).powi(p)).sum::<f64>();
        assert!((m.mean() - mean).abs() < 1e-6);
        assert!((m.sd() - (central(2) / (n - 1.0)).sqrt()).abs() < 1e-6);
        let variance = central(2) / n;
        let error = ((central(4) / n - variance * variance) / n).sqrt() / (2.0 * variance.sqrt());
        assert!((m.sd_error() / error - 1.0).abs() < 1e-6);
    }

    #[test]
    fn two_samples_together_are_one() {
        let values: Vec<f64> = (0..1000).map(|k| f64::from(k * k % 97)).collect();
        let all: Moments = values.iter().copied().collect();
        for cut in [0, 1, 2, 400, 999, 1000] {
            let part = |values: &[f64]| values.iter().copied().collect::<Moments>();
            let both = part(&values[..cut]).and(part(&values[cut..]));
            assert_eq!(both.count(), 1000);
            for (is, of) in [
                (both.mean(), all.mean()),
                (both.m2, all.m2),
                (both.m3, all.m3),
                (both.m4, all.m4),
            ] {
                assert!((is / of - 1.0).abs() < 1e-9, "cut at {cut}: {is} {of}");
            }
        }
        assert_eq!(Moments::default().and(Moments::default()).count(), 0);
    }

    #[test]
    fn quantiles_and_intervals_match_hand_values() {
        let mut values: Vec<f64> = (1..=1000).rev().map(f64::from).collect();
        assert_eq!(quantile(&mut values, 0.999), Some(999.0));
        assert_eq!(quantile(&mut [], 0.5), None);
        // 81 of 263 at 95 %: Newcombe (1998) gives 0.2553 to 0.3662.
        let (low, high) = Share {
            hits: 81,
            trials: 263,
        }
        .wilson(1.959_964);
        assert!((low - 0.2553).abs() < 5e-5 && (high - 0.3662).abs() < 5e-5);
        assert!((bound_after_none(1000) - 0.002_991_2).abs() < 1e-6);
    }
}
