//! A change between standstill and a feed, within an acceleration and a jerk.
//!
//! The acceleration rises with the jerk, stays at its limit if it gets there,
//! and falls with the jerk (S-curve; textbook motion profile). It is
//! symmetrical in time, so the travel is half of feed times duration:
//! `v²/2a + v·a/2j` from `v = a²/j` on, `√(v³/j)` below. Braking is the same
//! curve run backwards. Limits: no lag of the drive, no ringing of the axis.

/// What the drive can do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Largest acceleration, m/s²; infinite changes the feed at once.
    pub acceleration: f64,
    /// Largest jerk, m/s³; infinite changes the acceleration at once.
    pub jerk: f64,
}

impl Limits {
    /// A drive that changes its feed at once.
    pub const NONE: Self = Self {
        acceleration: f64::INFINITY,
        jerk: f64::INFINITY,
    };
}

/// The change from standstill to a feed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ramp {
    feed: f64,
    /// Acceleration at the peak, m/s².
    peak: f64,
    jerk: f64,
    /// How long the acceleration rises, s.
    rise: f64,
    duration: f64,
}

impl Ramp {
    /// The fastest change to `feed` (m/s, at least 0) within `limits`.
    #[must_use]
    pub fn new(feed: f64, limits: &Limits) -> Self {
        let (a, jerk) = (limits.acceleration, limits.jerk);
        let (peak, rise, duration) = if a.is_infinite() && jerk.is_infinite() {
            (f64::INFINITY, 0.0, 0.0)
        } else if jerk.is_infinite() {
            (a, 0.0, feed / a)
        } else if a.is_infinite() || feed < a * a / jerk {
            let rise = (feed / jerk).sqrt();
            (jerk * rise, rise, 2.0 * rise)
        } else {
            (a, a / jerk, feed / a + a / jerk)
        };
        Self {
            feed,
            peak,
            jerk,
            rise,
            duration,
        }
    }

    /// How long the change takes, s.
    #[must_use]
    pub fn duration(&self) -> f64 {
        self.duration
    }

    /// Travel of the whole change, m.
    #[must_use]
    pub fn travel(&self) -> f64 {
        0.5 * self.feed * self.duration
    }

    /// Travel since standstill, `t` (s) after the start; goes on at the feed
    /// after the end.
    #[must_use]
    pub fn position(&self, t: f64) -> f64 {
        if t <= 0.0 {
            0.0
        } else if t >= self.duration {
            self.travel() + self.feed * (t - self.duration)
        } else if t > 0.5 * self.duration {
            // The second half is the first one turned about the middle.
            self.travel() - self.feed * (self.duration - t) + self.first_half(self.duration - t).0
        } else {
            self.first_half(t).0
        }
    }

    /// Feed `t` (s) after the start, m/s.
    #[must_use]
    pub fn velocity(&self, t: f64) -> f64 {
        if t >= self.duration {
            self.feed
        } else if t <= 0.0 {
            0.0
        } else if t > 0.5 * self.duration {
            self.feed - self.first_half(self.duration - t).1
        } else {
            self.first_half(t).1
        }
    }

    /// Travel and feed in the first half.
    fn first_half(&self, t: f64) -> (f64, f64) {
        if t < self.rise {
            let v = 0.5 * self.jerk * t * t;
            (v * t / 3.0, v)
        } else {
            let (gained, moved) = (
                0.5 * self.peak * self.rise,
                self.peak * self.rise * self.rise / 6.0,
            );
            let dt = t - self.rise;
            (
                moved + gained * dt + 0.5 * self.peak * dt * dt,
                gained + self.peak * dt,
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Limits, Ramp};

    #[test]
    fn travel_is_the_closed_form_and_the_sum_of_the_feed() {
        for (feed, a, j) in [
            (0.01, 2.0, 50.0),
            (0.5, 2.0, 50.0),
            (0.08, 2.0, 50.0),
            (0.01, 0.5, f64::INFINITY),
            (0.01, f64::INFINITY, 50.0),
        ] {
            let ramp = Ramp::new(
                feed,
                &Limits {
                    acceleration: a,
                    jerk: j,
                },
            );
            let closed = if feed >= a * a / j {
                feed * feed / (2.0 * a)
                    + if j.is_finite() {
                        feed * a / (2.0 * j)
                    } else {
                        0.0
                    }
            } else {
                (feed * feed * feed / j).sqrt()
            };
            assert!(
                (ramp.travel() / closed - 1.0).abs() < 1e-12,
                "{feed} {a} {j}"
            );
            let step = ramp.duration() / 10_000.0;
            let mut sum = 0.0;
            for k in 0..10_000 {
                let t = f64::from(k) * step;
                assert!((ramp.position(t) - sum).abs() < 1e-9 * closed, "{feed} {k}");
                // Simpson is exact for the feed's parabolas away from its kinks.
                sum += step / 6.0
                    * (ramp.velocity(t)
                        + 4.0 * ramp.velocity(t + 0.5 * step)
                        + ramp.velocity(t + step));
                if k > 0 {
                    let rate = (ramp.velocity(t + step) - ramp.velocity(t)) / step;
                    assert!(rate > -1e-9 && rate < a.min((feed * j).sqrt()) + 1e-6);
                }
            }
            assert!((ramp.position(1.0 + ramp.duration()) - closed - feed).abs() < 1e-12);
        }
    }

    #[test]
    fn without_limits_the_feed_is_there_at_once() {
        let ramp = Ramp::new(0.3, &Limits::NONE);
        assert_eq!((ramp.duration(), ramp.travel()), (0.0, 0.0));
        assert_eq!((ramp.velocity(0.0), ramp.position(2.0)), (0.3, 0.6));
    }
}
