//! The capture clock: an edge is stamped with the last tick before it.

/// A counter that runs at `rate` and stamps by rounding down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capture {
    /// Ticks per second; 1e9 gives stamps in nanoseconds.
    pub rate: f64,
}

impl Capture {
    /// Stamp of an edge `t` seconds after tick `base`, ticks. The base is kept
    /// apart so that a day of ticks costs no digit of `t`.
    #[must_use]
    pub fn stamp(&self, base: u64, t: f64) -> u64 {
        base.saturating_add_signed((t * self.rate).floor() as i64)
    }

    /// True length of `t` seconds in ticks, unrounded.
    #[must_use]
    pub fn ticks(&self, t: f64) -> f64 {
        t * self.rate
    }
}

#[cfg(test)]
mod tests {
    use super::Capture;

    #[test]
    fn stamps_round_down_on_both_sides_of_the_base() {
        let capture = Capture { rate: 16e6 };
        assert_eq!(capture.stamp(1000, 62.6e-9), 1001);
        assert_eq!(capture.stamp(1000, -1e-9), 999);
    }
}
