//! Carrier bursts: a remote control, a modulated lamp or a radio that the
//! receiver picks up for a while.
//!
//! Bursts come at random with a constant rate (Poisson); each is a sine of
//! fixed frequency and length and of random phase, added to the light. Limits:
//! square envelope, one carrier, no coding in it.

use core::f64::consts::TAU;

use rand_distr::{Distribution, Exp, StandardUniform};

use super::rng::Rng;

/// Rate and shape of the bursts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carrier {
    /// Mean number per second.
    pub rate: f64,
    /// Length of a burst, s.
    pub length: f64,
    /// Frequency of the carrier, Hz.
    pub frequency: f64,
    /// Peak of the sine, share of full light.
    pub amplitude: f64,
}

/// One burst.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Burst {
    /// Begin, s.
    pub begin: f64,
    /// End, s.
    pub end: f64,
    /// Turns (0 to 1) into the carrier's cycle at the begin.
    pub phase: f64,
}

impl Carrier {
    /// Bursts that begin between `from` and `to` (s), in order.
    pub fn draw(&self, rng: &mut Rng, from: f64, to: f64) -> Vec<Burst> {
        let mut bursts = Vec::new();
        let possible = self.rate > 0.0 && self.rate.is_finite();
        let Some(gap) = Exp::new(self.rate).ok().filter(|_| possible) else {
            return bursts;
        };
        let mut t = from + gap.sample(rng);
        while t < to {
            bursts.push(Burst {
                begin: t,
                end: t + self.length,
                phase: StandardUniform.sample(rng),
            });
            t += gap.sample(rng);
        }
        bursts
    }

    /// Light that `burst` adds at time `t` (s), share of full light.
    #[must_use]
    pub fn light(&self, burst: &Burst, t: f64) -> f64 {
        if t < burst.begin || t >= burst.end {
            return 0.0;
        }
        self.amplitude * (TAU * (self.frequency * (t - burst.begin) + burst.phase)).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::Carrier;
    use crate::model::rng;

    #[test]
    fn number_length_and_frequency_are_those_asked_for() {
        let carrier = Carrier {
            rate: 20.0,
            length: 1e-3,
            frequency: 38e3,
            amplitude: 0.3,
        };
        let bursts = carrier.draw(&mut rng::stream(&[4]), 0.0, 500.0);
        assert!((bursts.len() as f64 - 10_000.0).abs() < 400.0);
        let burst = &bursts[17];
        assert!((burst.end - burst.begin - 1e-3).abs() < 1e-12);
        let n = 100_000;
        let light: Vec<f64> = (0..n)
            .map(|k| carrier.light(burst, burst.begin + 1e-3 * f64::from(k) / f64::from(n)))
            .collect();
        let rises = light
            .windows(2)
            .filter(|w| w[0] < 0.0 && w[1] >= 0.0)
            .count();
        assert!(rises.abs_diff(38) <= 1);
        let power = light.iter().map(|l| l * l).sum::<f64>() / f64::from(n);
        assert!((power - 0.045).abs() < 1e-4);
        assert!(carrier.light(burst, burst.end + 1e-9).abs() < 1e-300);
    }
}
