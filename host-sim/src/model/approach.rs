//! Where the blade is: from standstill to a feed towards the beam, a stop, the way back.
//!
//! Position 0 is the middle of the beam, reached at time 0 by the constant
//! feed (or by its straight continuation, where the start comes too late for
//! it); positive is deeper in the light. Every change of feed keeps the
//! [`Limits`] of the drive (see [`super::ramp`]); without limits it is sudden.
//! After braking from `v` the blade stands `v²/2a`, with a jerk limit more,
//! behind the place where braking began. Limits: rigid axis, no lag between
//! command and travel; vibration is a stage of its own.

use super::ramp::{Limits, Ramp};

/// A path with constant feeds and limited changes between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// Feed towards the beam, m/s, above 0.
    pub feed: f64,
    /// Position where braking begins, m; infinite never stops.
    pub depth: f64,
    /// How long the blade stands, s.
    pub stand: f64,
    /// Feed of the way back, m/s, above 0.
    pub retract: f64,
    /// Distance before the middle of the beam at which the blade starts, m;
    /// infinite has moved for ever.
    pub clearance: f64,
    /// What the drive can do.
    pub limits: Limits,
}

impl Approach {
    /// A path at `feed` m/s that never stops: enough for the contact alone.
    #[must_use]
    pub fn endless(feed: f64) -> Self {
        Self {
            feed,
            depth: f64::INFINITY,
            stand: 0.0,
            retract: feed,
            clearance: f64::INFINITY,
            limits: Limits::NONE,
        }
    }

    /// Fastest feed that is reached on `travel` (m) from standstill, m/s.
    #[must_use]
    pub fn reachable_feed(travel: f64, limits: &Limits) -> f64 {
        let fits = |feed: f64| Ramp::new(feed, limits).travel() <= travel;
        let (mut low, mut high) = (0.0, 1e3);
        if fits(high) {
            return f64::INFINITY;
        }
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if fits(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }

    /// Position at time `t` (s), m.
    #[must_use]
    pub fn position(&self, t: f64) -> f64 {
        // A path that has no begin and no end spares itself the question where on it `t` lies.
        if self.depth.is_infinite() && self.clearance.is_infinite() {
            return self.feed * t;
        }
        if t <= self.brake() {
            let (start, ramp) = (self.start(), self.ramp());
            if t < start + ramp.duration() {
                ramp.position(t - start) - self.clearance
            } else {
                self.feed * t
            }
        } else if t < self.stop() {
            self.rest() - self.ramp().position(self.stop() - t)
        } else if t <= self.turn() {
            self.rest()
        } else {
            let back = self.ramp_back();
            let t = t - self.turn();
            if t < back.duration() {
                self.rest() - back.position(t)
            } else {
                self.rest() - back.travel() - self.retract * (t - back.duration())
            }
        }
    }

    /// Feed at time `t` (s), m/s, negative on the way out.
    #[must_use]
    pub fn velocity(&self, t: f64) -> f64 {
        if t <= self.brake() {
            let start = self.start();
            if t < start {
                0.0
            } else {
                self.ramp().velocity(t - start)
            }
        } else if t < self.stop() {
            self.ramp().velocity(self.stop() - t)
        } else if t <= self.turn() {
            0.0
        } else {
            -self.ramp_back().velocity(t - self.turn())
        }
    }

    /// Position at `from` and feed (m/s), when the feed is constant from there
    /// until `to` (s).
    #[must_use]
    pub fn straight(&self, from: f64, to: f64) -> Option<(f64, f64)> {
        let cruise = self.start() + self.ramp().duration();
        let standing = self.stop() <= from && to <= self.turn();
        let there = cruise <= from && to <= self.brake();
        let back = self.turn() + self.ramp_back().duration() <= from;
        (there || standing || back).then(|| (self.position(from), self.velocity(from)))
    }

    /// Time at which the blade starts, s; minus infinity when it has moved for ever.
    #[must_use]
    pub fn start(&self) -> f64 {
        if self.clearance.is_finite() {
            let ramp = self.ramp();
            (ramp.travel() - self.clearance) / self.feed - ramp.duration()
        } else {
            f64::NEG_INFINITY
        }
    }

    /// Time at which braking begins, s; not before the feed is reached.
    #[must_use]
    pub fn brake(&self) -> f64 {
        self.brake_position() / self.feed
    }

    /// Position at which the blade stands, m.
    #[must_use]
    pub fn rest(&self) -> f64 {
        self.brake_position() + self.ramp().travel()
    }

    /// Time from which the blade stands, s.
    #[must_use]
    pub fn stop(&self) -> f64 {
        self.brake() + self.ramp().duration()
    }

    /// Time at which the way back begins, s.
    #[must_use]
    pub fn turn(&self) -> f64 {
        self.stop() + self.stand
    }

    /// When the blade passes `x` (m) on its way in, s; none when it stops
    /// before or starts behind it.
    #[must_use]
    pub fn inward(&self, x: f64) -> Option<f64> {
        let cruise_begin = self.ramp().travel() - self.clearance;
        if x > self.rest() || x < -self.clearance {
            None
        } else if x < cruise_begin {
            let start = self.start();
            Some(self.solve(x, start, start + self.ramp().duration()))
        } else if x <= self.brake_position() {
            Some(x / self.feed)
        } else {
            Some(self.solve(x, self.brake(), self.stop()))
        }
    }

    /// When the blade passes `x` (m) on its way out, s; none when it never got there.
    #[must_use]
    pub fn outward(&self, x: f64) -> Option<f64> {
        let (rest, back) = (self.rest(), self.ramp_back());
        if x > rest || rest.is_infinite() {
            return None;
        }
        let cruise_begin = rest - back.travel();
        Some(if x > cruise_begin {
            self.solve(x, self.turn(), self.turn() + back.duration())
        } else {
            self.turn() + back.duration() + (cruise_begin - x) / self.retract
        })
    }

    fn ramp(&self) -> Ramp {
        Ramp::new(self.feed, &self.limits)
    }

    fn ramp_back(&self) -> Ramp {
        Ramp::new(self.retract, &self.limits)
    }

    /// A start too near for the feed is run up to it first.
    fn brake_position(&self) -> f64 {
        self.depth.max(self.ramp().travel() - self.clearance)
    }

    /// Time between `from` and `to` at which the position is `x`; the path
    /// goes one way between them.
    fn solve(&self, x: f64, mut from: f64, mut to: f64) -> f64 {
        let rising = self.position(from) <= self.position(to);
        for _ in 0..100 {
            let middle = 0.5 * (from + to);
            if (self.position(middle) < x) == rising {
                from = middle;
            } else {
                to = middle;
            }
        }
        0.5 * (from + to)
    }
}

/// A feed given in mm/min, in m/s.
#[must_use]
pub fn mm_per_min(feed: f64) -> f64 {
    feed / 60_000.0
}

#[cfg(test)]
mod tests {
    use super::{Approach, Limits};

    fn sudden() -> Approach {
        Approach {
            depth: 0.001,
            stand: 0.25,
            retract: 0.004,
            ..Approach::endless(0.002)
        }
    }

    #[test]
    fn the_path_is_continuous_and_its_inverses_agree() {
        let path = sudden();
        assert!((path.position(0.5) - 0.001).abs() < 1e-15);
        assert!((path.position(0.75) - 0.001).abs() < 1e-15);
        assert!((path.position(1.0) - 0.0).abs() < 1e-15);
        for x in [-0.0007, 0.0, 0.0004, 0.001] {
            let (t_in, t_out) = (path.inward(x).unwrap(), path.outward(x).unwrap());
            assert!((path.position(t_in) - x).abs() < 1e-15);
            assert!((path.position(t_out) - x).abs() < 1e-15);
        }
        assert_eq!(path.inward(0.0011), None);
    }

    #[test]
    fn with_limits_the_path_starts_brakes_and_returns_smoothly() {
        for jerk in [f64::INFINITY, 50.0] {
            let limits = Limits {
                acceleration: 0.5,
                jerk,
            };
            let path = Approach {
                clearance: 0.002,
                limits,
                ..sudden()
            };
            let over = path.rest() - path.depth;
            if jerk.is_infinite() {
                assert!((over - 0.002 * 0.002 / (2.0 * 0.5)).abs() < 1e-15);
            } else {
                assert!((over - (0.002_f64.powi(3) / 50.0).sqrt()).abs() < 1e-15);
            }
            assert_eq!(path.inward(0.0), Some(0.0));
            assert!((path.velocity(0.0) - 0.002).abs() < 1e-15);
            let (from, to) = (path.start() - 0.01, path.turn() + 1.0);
            let step = 1e-5;
            let mut t = from;
            while t < to {
                let slope = (path.position(t + step) - path.position(t)) / step;
                assert!(
                    (slope - path.velocity(t + 0.5 * step)).abs() < 0.5 * step,
                    "{t}"
                );
                t += step;
            }
            let overtravel = path.depth + 0.7 * over;
            for x in [-0.001_999_999, -0.001_999, 0.0, 0.001, overtravel] {
                let (t_in, t_out) = (path.inward(x).unwrap(), path.outward(x).unwrap());
                assert!((path.position(t_in) - x).abs() < 1e-15, "{x}");
                assert!((path.position(t_out) - x).abs() < 1e-15, "{x}");
            }
            assert_eq!(path.inward(-0.0021), None);
            assert_eq!(path.inward(path.rest() + 1e-9), None);
        }
    }

    #[test]
    fn a_feed_that_cannot_be_reached_is_told() {
        let limits = Limits {
            acceleration: 2.0,
            jerk: 50.0,
        };
        let feed = Approach::reachable_feed(1e-3, &limits);
        assert!(((feed.powi(3) / 50.0).sqrt() - 1e-3).abs() < 1e-12);
        assert!(Approach::reachable_feed(1.0, &Limits::NONE).is_infinite());
    }
}
