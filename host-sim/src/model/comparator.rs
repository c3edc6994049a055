//! The comparator: blocked when the light falls below its trip level.
//!
//! With a half hysteresis of `h` noise sigmas it turns to blocked `h` below
//! the trip level and back `h` above it. It has no delay of its own.

/// Trip level and hysteresis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparator {
    /// Trip level, share of full light.
    pub trip: f64,
    /// Half the hysteresis in standard deviations of the noise.
    pub half_hysteresis: f64,
}

impl Comparator {
    /// Trip level at half the light, half hysteresis of `h` noise sigmas.
    #[must_use]
    pub fn half_light(h: f64) -> Self {
        Self {
            trip: 0.5,
            half_hysteresis: h,
        }
    }
}

/// Output level of a comparator and the way it follows its input.
#[derive(Debug, Clone, Copy)]
pub struct Output {
    blocked: bool,
    half: f64,
}

impl Output {
    /// An output that stands at `blocked` before the first input.
    #[must_use]
    pub fn new(comparator: &Comparator, blocked: bool) -> Self {
        Self {
            blocked,
            half: comparator.half_hysteresis,
        }
    }

    /// Level now.
    #[must_use]
    pub fn blocked(self) -> bool {
        self.blocked
    }

    /// Goes to `blocked` at once, as after a sudden change far beyond the threshold.
    pub fn set(&mut self, blocked: bool) {
        self.blocked = blocked;
    }

    /// Follows the input from `before` to `after` (light minus trip level, in
    /// noise sigmas, straight in between); a change of level is told by the
    /// share of the step at which the input met the threshold.
    #[inline]
    pub fn follow(&mut self, before: f64, after: f64) -> Option<f64> {
        let threshold = if self.blocked { self.half } else { -self.half };
        if (after > threshold) == self.blocked {
            self.blocked = !self.blocked;
            let share = (threshold - before) / (after - before);
            // An input that already stood beyond the threshold switches at once.
            Some(if share > 0.0 { share.min(1.0) } else { 0.0 })
        } else {
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Comparator, Output};

    #[test]
    fn each_level_waits_for_its_own_threshold() {
        let mut out = Output::new(&Comparator::half_light(0.5), false);
        assert_eq!(out.follow(1.0, -0.25), None);
        assert_eq!(out.follow(-0.25, -0.75), Some(0.5));
        assert!(out.blocked());
        assert_eq!(out.follow(-0.75, 0.25), None);
        assert_eq!(out.follow(0.25, 1.25), Some(0.25));
        assert!(!out.blocked());
    }
}
