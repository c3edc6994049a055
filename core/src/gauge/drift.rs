//! Drift of an axis between two touches of a fixed reference.

/// How far an axis moves with heat: by at most `rise`, with no time constant shorter than `tau`.
///
/// Held since the last reference, its position is off by at most `A·(1 − exp(−Δ/τ))` (first-order
/// heating, textbook). That is a bound, and belongs to the guard; forecasts from few references
/// are no better.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Drift {
    /// The most it rises by, nm.
    pub rise_nm: u32,
    /// The shortest time constant, ms.
    pub tau_ms: u32,
}

const ONE: u64 = 1 << 32;
/// exp(−2^k)·2^32, cut off, for k = 4 down to −20.
const POWERS: [u32; 25] = [
    483,
    1_440_801,
    78_665_070,
    581_260_615,
    1_580_030_168,
    2_605_029_347,
    3_344_923_893,
    3_790_295_335,
    4_034_748_382,
    4_162_825_044,
    4_228_379_999,
    4_261_543_595,
    4_278_222_805,
    4_286_586_874,
    4_290_775_039,
    4_292_870_655,
    4_293_918_847,
    4_294_443_039,
    4_294_705_159,
    4_294_836_225,
    4_294_901_760,
    4_294_934_528,
    4_294_950_912,
    4_294_959_104,
    4_294_963_200,
];

impl Drift {
    /// The bound so long after the last reference, nm, rounded up.
    #[must_use]
    pub fn bound_nm(&self, since_ms: u64) -> u32 {
        // Above 31 time constants everything is reached.
        let Some(ratio) = (u128::from(since_ms) << 32).checked_div(u128::from(self.tau_ms)) else {
            return self.rise_nm;
        };
        if ratio >= 31 << 32 {
            return self.rise_nm;
        }
        let left = exponential(ratio as u64);
        let gone = u64::from(self.rise_nm) * (ONE - left);
        gone.div_ceil(ONE) as u32
    }

    /// How long a reference holds for a bound, ms, cut off; `None` where it holds for ever.
    #[must_use]
    pub fn interval_ms(&self, bound_nm: u32) -> Option<u64> {
        if bound_nm >= self.rise_nm {
            return None;
        }
        // The bound grows with time: halving finds the border.
        let (mut within, mut beyond) = (0_u64, 32 * u64::from(self.tau_ms) + 1);
        while beyond - within > 1 {
            let middle = within + (beyond - within) / 2;
            if self.bound_nm(middle) <= bound_nm {
                within = middle;
            } else {
                beyond = middle;
            }
        }
        Some(within)
    }
}

/// exp(−x) in 2^-32, at most 25 of it too small; `x` in 2^-32, below 32.
fn exponential(x: u64) -> u64 {
    let mut left = ONE;
    for (k, power) in POWERS.iter().enumerate() {
        if x >> (36 - k) & 1 != 0 {
            left = (left * u64::from(*power)) >> 32;
        }
    }
    // What is below 2^-20: exp(−x) ≥ 1 − x.
    let rest = x & 0xfff;
    left.saturating_sub(((left * rest) >> 32) + u64::from(rest != 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 30 µm, 45 min: 1.3, 3.2, 8.5 and 15 µm after 2, 5, 15 and 30 min; 1 µm holds for 1.5 min,
    /// 3 µm for 4.7 min.
    #[test]
    fn bounds_and_intervals_are_those_of_the_formula() {
        let drift = Drift {
            rise_nm: 30_000,
            tau_ms: 45 * 60_000,
        };
        for minutes in 0..600_u32 {
            let exact = -30_000.0 * (-f64::from(minutes) / 45.0).exp_m1();
            let bound = f64::from(drift.bound_nm(u64::from(minutes) * 60_000));
            assert!(bound >= exact && bound < exact + 1.01, "{minutes}: {bound}");
        }
        for bound in [1_u32, 300, 1_000, 3_000, 15_000, 29_990] {
            let exact = -45.0 * 60_000.0 * (-f64::from(bound) / 30_000.0).ln_1p();
            let interval = drift.interval_ms(bound).unwrap() as f64;
            assert!(
                interval <= exact && interval > exact * 0.999 - 1.0,
                "{bound}"
            );
        }
        assert_eq!(drift.interval_ms(30_000), None);
        assert_eq!(drift.bound_nm(u64::MAX), 30_000);
        assert_eq!(drift.interval_ms(0), Some(0));
    }

    #[test]
    fn without_a_time_constant_all_is_possible_at_once() {
        let drift = Drift {
            rise_nm: 5,
            tau_ms: 0,
        };
        assert_eq!((drift.bound_nm(0), drift.interval_ms(4)), (5, Some(0)));
    }

    #[test]
    fn the_bound_falls_by_its_rounding_at_most() {
        let drift = Drift {
            rise_nm: 100_000_000,
            tau_ms: 1_000,
        };
        let mut before = 0;
        for ms in 0..33_000 {
            let now = drift.bound_nm(ms);
            assert!(now + 1 >= before, "{ms}");
            before = now;
        }
    }
}
