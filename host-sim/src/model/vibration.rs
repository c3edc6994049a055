//! Vibration: the blade swings about its path.
//!
//! One sine along the travel, with a random phase at each touch. The truth of
//! a touch stays that of the mean path. Limits: one frequency, one direction,
//! no growth or decay.

use core::f64::consts::TAU;

/// A swinging blade or beam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vibration {
    /// Peak of the sine, m.
    pub amplitude: f64,
    /// Frequency, Hz.
    pub frequency: f64,
}

impl Vibration {
    /// Way off the path at time `t` (s), `phase` turns (0 to 1) in at time 0, m.
    #[must_use]
    #[inline]
    pub fn offset(&self, t: f64, phase: f64) -> f64 {
        self.amplitude * (TAU * (self.frequency * t + phase)).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::Vibration;

    #[test]
    fn it_swings_by_its_amplitude_at_its_frequency() {
        let vibration = Vibration {
            amplitude: 2e-6,
            frequency: 50.0,
        };
        assert!((vibration.offset(0.005, 0.0) - 2e-6).abs() < 1e-15);
        assert!((vibration.offset(0.01, 0.25) + 2e-6).abs() < 1e-15);
    }
}
