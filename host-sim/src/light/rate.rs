//! A sampling rate without loss.

/// `samples` periods take `ns` nanoseconds, in lowest terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rate {
    samples: u64,
    ns: u64,
}

impl Rate {
    /// The rate at which `samples` periods take `ns`; `None` if either is 0.
    #[must_use]
    pub fn new(samples: u64, ns: u64) -> Option<Self> {
        let divisor = gcd(samples, ns);
        (samples > 0 && ns > 0).then(|| Self {
            samples: samples / divisor,
            ns: ns / divisor,
        })
    }

    /// Periods that take [`ns`](Self::ns).
    #[must_use]
    pub fn samples(self) -> u64 {
        self.samples
    }

    /// Time of [`samples`](Self::samples) periods, ns.
    #[must_use]
    pub fn ns(self) -> u64 {
        self.ns
    }

    /// One period, ns.
    #[must_use]
    pub fn period_ns(self) -> f64 {
        self.ns as f64 / self.samples as f64
    }

    /// Samples a second, rounded to a whole number; 0 below one in two seconds.
    #[must_use]
    pub fn hz(self) -> u64 {
        let (samples, ns) = (u128::from(self.samples), u128::from(self.ns));
        u64::try_from((samples * 2_000_000_000 + ns) / (2 * ns)).unwrap_or(u64::MAX)
    }

    /// The instant of sample `index`, the first at 0, in ns, rounded half to even; `None` beyond 64 bits.
    #[must_use]
    pub fn time_ns(self, index: u64) -> Option<i64> {
        let (product, samples) = (
            u128::from(index) * u128::from(self.ns),
            u128::from(self.samples),
        );
        let (whole, rest) = (product / samples, product % samples);
        let up = rest * 2 > samples || (rest * 2 == samples && whole % 2 == 1);
        i64::try_from(whole + u128::from(up)).ok()
    }
}

fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_are_those_of_the_fraction() {
        let rate = Rate::new(44_100, 1_000_000_000).unwrap();
        assert_eq!(
            (rate.samples(), rate.ns(), rate.hz()),
            (441, 10_000_000, 44_100)
        );
        assert_eq!(rate.time_ns(1), Some(22_676));
        assert_eq!(rate.time_ns(441), Some(10_000_000));
        assert_eq!(rate.time_ns(44_100 * 86_400), Some(86_400_000_000_000));
        assert_eq!(rate.time_ns(u64::MAX), None);
        let half = Rate::new(2, 1).unwrap();
        let times: Vec<_> = (0..6).map(|k| half.time_ns(k).unwrap()).collect();
        assert_eq!(times, [0, 0, 1, 2, 2, 2]);
    }

    #[test]
    fn nothing_is_no_rate() {
        assert_eq!(Rate::new(0, 5), None);
        assert_eq!(Rate::new(5, 0), None);
        assert_eq!(Rate::new(u64::MAX, 1).unwrap().hz(), u64::MAX);
        assert_eq!(Rate::new(1, u64::MAX).unwrap().hz(), 0);
    }
}
