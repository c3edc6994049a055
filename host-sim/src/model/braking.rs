//! How far an axis runs on after contact, and how fast it may be so that it runs no farther.
//!
//! From contact on it keeps its feed `v` for the time `late` (delay of the trigger, bound of a
//! link, reaction of the control), then brakes within acceleration `a` and jerk `j`:
//! `s = v·late + s_b`, `s_b = v²/2a + v·a/2j` from `v = a²/j` on, `√(v³/j)` below ([`Ramp`]). The
//! first form has the inverse `v = 2s/(B + √(B² + 2s/a))`, `B = late + a/2j`; the second is a cubic
//! in `√v`, which rises and bends upwards, so that Newton's method from above finds its only root.
//!
//! Limits: those of [`Ramp`]; the feed is constant until braking begins.

use super::ramp::{Limits, Ramp};

/// Steps of Newton's method; a dozen suffice for all digits.
const STEPS: usize = 40;

/// Way from contact to standstill, m, at a feed (m/s) kept for `late` (s).
#[must_use]
pub fn overtravel(feed: f64, late: f64, limits: &Limits) -> f64 {
    feed * late + Ramp::new(feed, limits).travel()
}

/// The fastest feed, m/s, that stands within `way` (m) when it is kept for `late` (s); infinite
/// where nothing holds it back.
#[must_use]
pub fn feed_within(way: f64, late: f64, limits: &Limits) -> f64 {
    let way = way.max(0.0);
    let (a, j) = (limits.acceleration, limits.jerk);
    if a.is_finite() {
        let (inert, change) = if j.is_finite() {
            (late + 0.5 * a / j, a * a / j)
        } else {
            (late, 0.0)
        };
        let feed = 2.0 * way / (inert + (inert * inert + 2.0 * way / a).sqrt());
        if feed >= change {
            return feed;
        }
    }
    if j.is_infinite() {
        return way / late;
    }
    // Each part alone would allow more than both together.
    let root = j.sqrt();
    let mut u = (way * root).cbrt().min((way / late).sqrt());
    for _ in 0..STEPS {
        let above = u * u * u / root + late * u * u - way;
        let slope = 3.0 * u * u / root + 2.0 * late * u;
        let next = u - above / slope;
        if next >= u || next.is_nan() {
            // No way and no slope give no number.
            break;
        }
        u = next;
    }
    u * u
}

#[cfg(test)]
mod tests {
    use super::{feed_within, overtravel, Limits};
    use crate::model::approach::mm_per_min;

    fn limits(acceleration: f64, jerk: f64) -> Limits {
        Limits { acceleration, jerk }
    }

    /// Braking integrated step by step: the jerk is switched, nothing else is known.
    fn integrated(feed: f64, late: f64, limits: &Limits) -> f64 {
        let (a, j) = (limits.acceleration, limits.jerk);
        // How long the deceleration rises, and how long it then stays.
        let rise = (a / j).min((feed / j).sqrt());
        let stay = (feed - j * rise * rise) / (j * rise);
        let mut at = [feed * late, feed, 0.0];
        for (span, jerk) in [(rise, -j), (stay, 0.0), (rise, j)] {
            let steps = 2_000;
            let dt = span / f64::from(steps);
            for _ in 0..steps {
                let [x, v, b] = at;
                at = [
                    x + dt * (v + dt * (b / 2.0 + dt * jerk / 6.0)),
                    v + dt * (b + dt * jerk / 2.0),
                    b + dt * jerk,
                ];
            }
        }
        assert!(at[1].abs() < 1e-12 && at[2].abs() < 1e-9, "{at:?}");
        at[0]
    }

    #[test]
    fn the_closed_form_is_the_integral_and_the_inverse_leads_back() {
        for (a, j) in [(0.5, 20.0), (2.0, 50.0), (10.0, 200.0)] {
            let limits = limits(a, j);
            for feed in [1.0, 60.0, 300.0, 1_000.0, 4_800.0, 20_000.0].map(mm_per_min) {
                for late in [0.0, 0.002, 0.05] {
                    let way = overtravel(feed, late, &limits);
                    let steps = integrated(feed, late, &limits);
                    assert!((way - steps).abs() < 1e-9 * way, "{way} {steps}");
                    let back = feed_within(way, late, &limits);
                    assert!((back / feed - 1.0).abs() < 1e-9, "{back} {feed}");
                }
            }
        }
    }

    #[test]
    fn without_limits_only_the_time_counts() {
        let sudden = |late| feed_within(1e-3, late, &Limits::NONE);
        assert!((sudden(0.01) - 0.1).abs() < 1e-15);
        assert!(sudden(0.0).is_infinite());
        let no_jerk = limits(2.0, f64::INFINITY);
        let feed = feed_within(1e-3, 0.0, &no_jerk);
        assert!((feed - (2.0_f64 * 2.0 * 1e-3).sqrt()).abs() < 1e-12);
        let no_acceleration = limits(f64::INFINITY, 50.0);
        let feed = feed_within(1e-3, 0.0, &no_acceleration);
        assert!((overtravel(feed, 0.0, &no_acceleration) - 1e-3).abs() < 1e-15);
        for limits in [no_jerk, no_acceleration] {
            assert!(feed_within(0.0, 0.01, &limits).abs() < 1e-300);
        }
    }

    /// Feeds in mm/min by allowed overtravel, delay and axis; reaction 2 ms. Computed by the
    /// project's own study with another program, on models, not measured.
    #[test]
    fn the_table_of_the_study_comes_out() {
        let axes = [(0.5, 20.0), (2.0, 50.0), (10.0, 200.0)];
        let rows: [(f64, [[f64; 3]; 4]); 4] = [
            (
                0.1,
                [
                    [323., 425., 634.],
                    [302., 390., 555.],
                    [101., 107., 113.],
                    [81., 84., 87.],
                ],
            ),
            (
                0.5,
                [
                    [971., 1302., 1990.],
                    [935., 1235., 1834.],
                    [435., 479., 530.],
                    [360., 388., 417.],
                ],
            ),
            (
                1.0,
                [
                    [1507., 2096., 3226.],
                    [1466., 2008., 3020.],
                    [793., 892., 1014.],
                    [669., 735., 809.],
                ],
            ),
            (
                3.0,
                [
                    [2875., 4430., 6883.],
                    [2828., 4300., 6570.],
                    [1909., 2314., 2762.],
                    [1688., 1965., 2258.],
                ],
            ),
        ];
        for (way_mm, by_delay) in rows {
            for (delay_ms, by_axis) in [0.2, 2.0, 48.0, 64.0].into_iter().zip(by_delay) {
                for ((a, j), wanted) in axes.into_iter().zip(by_axis) {
                    let late = (delay_ms + 2.0) * 1e-3;
                    let feed = feed_within(way_mm * 1e-3, late, &limits(a, j)) * 60_000.0;
                    assert!(
                        (feed - wanted).abs() < 1.0,
                        "{way_mm} {delay_ms} {a}: {feed}"
                    );
                }
            }
        }
        // Jerk is what counts: 69 um by acceleration alone, 304 with it, at 1000 mm/min.
        let um = |jerk| 1e6 * overtravel(mm_per_min(1_000.0), 0.0, &limits(2.0, jerk));
        assert_eq!((um(f64::INFINITY).round(), um(50.0).round()), (69.0, 304.0));
    }
}
