//! Lamp flicker: stray light of mains lamps that reaches the receiver.
//!
//! A sine of twice the mains frequency, added to the light. Its constant part
//! is taken as removed by the receiver. Limits: no harmonics, no drift of the
//! mains frequency.

use core::f64::consts::TAU;

/// Stray light that comes and goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flicker {
    /// Peak of the sine, share of full light.
    pub depth: f64,
    /// Frequency, Hz.
    pub frequency: f64,
}

impl Flicker {
    /// Lamps on 50 Hz mains: 100 Hz.
    #[must_use]
    pub fn mains(depth: f64) -> Self {
        Self {
            depth,
            frequency: 100.0,
        }
    }

    /// Added light at time `t` (s) for a lamp that is `phase` (turns, 0 to 1)
    /// into its cycle at time 0, share of full light.
    #[must_use]
    #[inline]
    pub fn light(&self, t: f64, phase: f64) -> f64 {
        self.depth * (TAU * (self.frequency * t + phase)).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::Flicker;

    #[test]
    fn a_hundred_cycles_a_second_of_the_stated_depth() {
        let lamp = Flicker::mains(0.02);
        assert!((lamp.light(0.0025, 0.0) - 0.02).abs() < 1e-12);
        assert!((lamp.light(0.0, 0.25) - lamp.light(0.13, 0.25)).abs() < 1e-12);
        assert!((lamp.light(0.0075, 0.0) + 0.02).abs() < 1e-12);
    }
}
