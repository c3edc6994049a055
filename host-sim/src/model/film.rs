//! Film on the lens: light is lost slowly, everywhere alike.
//!
//! The loss grows in a straight line with time and is a share of the clean
//! barrier's full light. Limits: no scattering that would blur the profile, no
//! recovery.

/// Loss of light by a film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Film {
    /// Share of the clean light lost at time 0 of the path, 0 to 1.
    pub loss: f64,
    /// Further share lost per hour.
    pub per_hour: f64,
}

impl Film {
    /// Share of the clean light that is left at time `t` (s).
    #[must_use]
    #[inline]
    pub fn left(&self, t: f64) -> f64 {
        (1.0 - self.loss - self.per_hour * t / 3600.0).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::Film;

    #[test]
    fn an_hour_takes_the_stated_share() {
        let film = Film {
            loss: 0.1,
            per_hour: 0.5,
        };
        assert!((film.left(0.0) - 0.9).abs() < 1e-15);
        assert!((film.left(1800.0) - 0.65).abs() < 1e-15);
        assert!(film.left(10_000.0) <= 0.0);
    }
}
