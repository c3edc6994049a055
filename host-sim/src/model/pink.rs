//! 1/f noise of receiver and light source.
//!
//! A sum of first-order processes of equal variance whose corners are an
//! octave apart. Between the ends of its band such a sum has the density
//! `s²/(f·ln 2)`: the ripple of octave steps is below 1e−5, but the missing
//! octaves outside take 8 % an eighth into the band and half at its ends, so
//! the sum reaches three octaves further than asked for and is 8 % low at its
//! ends (derived here; tested below). Each process is stepped exactly,
//! whatever the step. Limits: Gaussian, stationary, nothing below the lowest
//! frequency.

use core::f64::consts::{LN_2, TAU};

use rand_distr::{Distribution, StandardNormal};

use super::rng::Rng;

/// Octaves added at both ends of the band.
const MORE: i32 = 3;

/// Strength and band of the 1/f noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pink {
    /// Frequency at which its density equals that of the white noise, Hz; it
    /// is also the upper end of the band.
    pub corner: f64,
    /// Lower end of the band, Hz.
    pub lowest: f64,
}

/// A running source of 1/f noise.
#[derive(Debug, Clone)]
pub struct PinkNoise {
    /// Corner (rad/s) and value of each process, share of full light.
    parts: Vec<(f64, f64)>,
    sigma: f64,
}

impl Pink {
    /// Shortest time in which the noise changes, s.
    #[must_use]
    pub fn shortest(&self) -> f64 {
        1.0 / (TAU * self.corner * f64::from(1 << MORE))
    }

    /// Standard deviation of all of it beside white noise of `density`.
    #[must_use]
    pub fn sigma(&self, density: f64) -> f64 {
        let parts = f64::from(self.octaves() + 2 * MORE + 1);
        (parts * density * self.corner * LN_2).sqrt()
    }

    fn octaves(&self) -> i32 {
        // 40 octaves below a kilohertz is a month; no band needs more.
        (self.corner / self.lowest).log2().ceil().clamp(0.0, 40.0) as i32
    }

    /// A source beside white noise of `density` (share of full light squared
    /// per Hz, one-sided), in its long-term state.
    pub fn source(&self, density: f64, rng: &mut Rng) -> PinkNoise {
        let sigma = (density * self.corner * LN_2).sqrt();
        let parts = (-MORE..=self.octaves() + MORE)
            .map(|k| {
                let normal: f64 = StandardNormal.sample(rng);
                // From the upper end down, so that the corner stays in place.
                (TAU * self.corner * 2_f64.powi(-k), sigma * normal)
            })
            .collect();
        PinkNoise { parts, sigma }
    }
}

impl PinkNoise {
    /// Light added now, share of full light.
    #[must_use]
    pub fn light(&self) -> f64 {
        self.parts.iter().map(|part| part.1).sum()
    }

    /// Goes on by `dt` (s) and tells the light added then.
    pub fn step(&mut self, rng: &mut Rng, dt: f64) -> f64 {
        for (corner, value) in &mut self.parts {
            let decay = (-*corner * dt).exp();
            let normal: f64 = StandardNormal.sample(rng);
            // 1 − decay² without cancellation for short steps.
            let fresh = (-(-2.0 * *corner * dt).exp_m1()).sqrt();
            *value = *value * decay + self.sigma * fresh * normal;
        }
        self.light()
    }

    /// Density at `frequency` (Hz), share of full light squared per Hz, one-sided.
    #[must_use]
    pub fn density(&self, frequency: f64) -> f64 {
        let square = (TAU * frequency).powi(2);
        self.parts
            .iter()
            .map(|(corner, _)| 4.0 * self.sigma * self.sigma * corner / (corner * corner + square))
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::Pink;
    use crate::model::rng;

    #[test]
    fn density_falls_with_one_over_f_and_meets_the_white_at_the_corner() {
        let pink = Pink {
            corner: 1000.0,
            lowest: 1.0,
        };
        let source = pink.source(1e-9, &mut rng::stream(&[1]));
        for f in [1.0, 3.0, 10.0, 31.0, 100.0, 310.0, 1000.0] {
            let ratio = source.density(f) / (1e-9 * 1000.0 / f);
            let allowed = if f > 8.0 && f < 125.0 { 0.02 } else { 0.10 };
            assert!((ratio - 1.0).abs() < allowed, "{f} {ratio}");
        }
    }

    #[test]
    fn steps_of_any_length_keep_variance_and_memory() {
        let pink = Pink {
            corner: 8.0,
            lowest: 1.0,
        };
        let mut rng = rng::stream(&[9]);
        let (mut variance, mut later, mut expected) = (0.0, 0.0, (0.0, 0.0));
        let runs = 20_000;
        for _ in 0..runs {
            let mut source = pink.source(1.0, &mut rng);
            let before = source.light();
            let mut after = 0.0;
            for dt in [0.001, 0.02, 0.004] {
                after = source.step(&mut rng, dt);
            }
            variance += after * after;
            later += before * after;
            expected = source.parts.iter().fold((0.0, 0.0), |sum, (corner, _)| {
                let s2 = source.sigma * source.sigma;
                (sum.0 + s2, sum.1 + s2 * (-corner * 0.025).exp())
            });
        }
        let n = f64::from(runs);
        assert!((variance / n / expected.0 - 1.0).abs() < 0.04);
        assert!((later / n / expected.1 - 1.0).abs() < 0.04);
    }
}
