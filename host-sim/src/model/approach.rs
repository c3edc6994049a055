//! Where the blade is: constant feed towards the beam, a stop, the way back.
//!
//! Position 0 is the middle of the beam, reached at time 0 by an endless
//! constant feed; positive is deeper in the light. Limits: acceleration,
//! vibration and the bounce of the plate are not in it, so the stop is sudden.

/// A path with constant feeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// Feed towards the beam, m/s, above 0.
    pub feed: f64,
    /// Position where the blade stops, m.
    pub depth: f64,
    /// How long it stands there, s.
    pub stand: f64,
    /// Feed of the way back, m/s, above 0.
    pub retract: f64,
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
        }
    }

    /// Position at time `t` (s), m.
    #[must_use]
    pub fn position(&self, t: f64) -> f64 {
        let stop = self.stop();
        if t <= stop {
            self.feed * t
        } else if t <= self.turn() {
            self.depth
        } else {
            self.depth - self.retract * (t - self.turn())
        }
    }

    /// Time of the stop, s.
    #[must_use]
    pub fn stop(&self) -> f64 {
        self.depth / self.feed
    }

    /// Time at which the way back begins, s.
    #[must_use]
    pub fn turn(&self) -> f64 {
        self.stop() + self.stand
    }

    /// When the blade passes `x` (m) on its way in, s; none when it stops before.
    #[must_use]
    pub fn inward(&self, x: f64) -> Option<f64> {
        (x <= self.depth).then(|| x / self.feed)
    }

    /// When the blade passes `x` (m) on its way out, s; none when it never got there.
    #[must_use]
    pub fn outward(&self, x: f64) -> Option<f64> {
        (x <= self.depth && self.depth.is_finite())
            .then(|| self.turn() + (self.depth - x) / self.retract)
    }
}

/// A feed given in mm/min, in m/s.
#[must_use]
pub fn mm_per_min(feed: f64) -> f64 {
    feed / 60_000.0
}

#[cfg(test)]
mod tests {
    use super::Approach;

    #[test]
    fn the_path_is_continuous_and_its_inverses_agree() {
        let path = Approach {
            feed: 0.002,
            depth: 0.001,
            stand: 0.25,
            retract: 0.004,
        };
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
}
