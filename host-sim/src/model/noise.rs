//! Band-limited Gaussian noise: white noise through a Butterworth low-pass.
//!
//! Poles of a Butterworth low-pass of order n lie on a circle of radius
//! `2π·fc`; each pair is one second-order section, brought to discrete time by
//! the bilinear transform with the corner prewarped (any text on digital
//! filters). The output is scaled to unit variance by the sum of the squared
//! impulse response, so the scale is exact whatever the step. Between steps
//! the noise is taken as straight, so crossings are interpolated.
//!
//! Limits: with 10 steps per `1/fc` straight lines lose a few per cent of the
//! crossings (the spectrum's end is cut short); 32 steps lose under 1 %. Order
//! 2 has no finite fourth moment and needs the finer step for its crossing rate.

use rand_distr::{Distribution, StandardNormal};

use super::rng::Rng;
use crate::study::closed_form::noise_bandwidth;

/// Spectrum of the noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spectrum {
    /// Order of the low-pass: 2, 4, 6 or 8.
    pub order: u32,
    /// −3 dB corner, Hz.
    pub corner: f64,
    /// Steps per `1/fc`, at least 10.
    pub steps: u32,
}

impl Spectrum {
    /// Time between two samples, s.
    #[must_use]
    pub fn step(&self) -> f64 {
        1.0 / (self.corner * f64::from(self.steps))
    }

    /// Density of the noise whose standard deviation in this band is `sigma`,
    /// in its square per Hz, one-sided.
    #[must_use]
    pub fn density(&self, sigma: f64) -> f64 {
        sigma * sigma / (noise_bandwidth(self.order) * self.corner)
    }

    /// Standard deviation of white noise of that density when it is sampled
    /// `rate` times a second without a filter of its own: all that lies below
    /// half the rate.
    #[must_use]
    pub fn sampled_sigma(&self, sigma: f64, rate: f64) -> f64 {
        (0.5 * rate * self.density(sigma)).sqrt()
    }

    /// Samples after which a filter started from rest has forgotten its start:
    /// the slowest pole has then decayed by more than e^−20.
    fn warm_up(self) -> usize {
        let slowest = (core::f64::consts::PI / (2.0 * f64::from(self.order))).sin();
        let cycles = 20.0 / (core::f64::consts::TAU * slowest);
        (cycles * f64::from(self.steps)).ceil() as usize
    }
}

/// One second-order section with numerator `gain·(1 + 2z⁻¹ + z⁻²)`.
#[derive(Debug, Clone, Copy, Default)]
struct Section {
    a1: f64,
    a2: f64,
    x1: f64,
    x2: f64,
    y1: f64,
    y2: f64,
}

impl Section {
    #[inline]
    fn step(&mut self, x: f64) -> f64 {
        let y = (x + 2.0 * self.x1 + self.x2 - self.a2 * self.y2) - self.a1 * self.y1;
        self.x2 = self.x1;
        self.x1 = x;
        self.y2 = self.y1;
        self.y1 = y;
        y
    }
}

/// A running noise source of unit variance.
#[derive(Debug, Clone)]
pub struct Noise {
    sections: Vec<Section>,
    gain: f64,
    warm_up: usize,
}

impl Noise {
    /// A source for `spectrum`, not yet warmed up.
    ///
    /// # Panics
    /// When the order is odd or 0, or there are fewer than 10 steps per cycle:
    /// both are fixed by the caller's code, not by input.
    #[must_use]
    pub fn new(spectrum: &Spectrum) -> Self {
        assert!(
            spectrum.order >= 2 && spectrum.order % 2 == 0,
            "the order of the noise must be even"
        );
        assert!(spectrum.steps >= 10, "at least 10 steps per 1/fc");
        let order = f64::from(spectrum.order);
        let warped = (core::f64::consts::PI / f64::from(spectrum.steps)).tan();
        let mut sections = Vec::new();
        let mut gain = 1.0;
        for k in 0..spectrum.order / 2 {
            let angle = core::f64::consts::PI * (2.0 * f64::from(k) + 1.0) / (2.0 * order);
            let damping = 2.0 * angle.sin() * warped;
            let square = warped * warped;
            let a0 = 1.0 + damping + square;
            // The gain of each section is split off: one scaling at the end.
            gain *= square / a0;
            sections.push(Section {
                a1: 2.0 * (square - 1.0) / a0,
                a2: (1.0 - damping + square) / a0,
                ..Section::default()
            });
        }
        let mut noise = Self {
            sections,
            gain,
            warm_up: spectrum.warm_up(),
        };
        let energy = noise.autocovariance(1)[0];
        noise.gain /= energy.sqrt();
        noise
    }

    /// Autocovariance of the source at lags 0 to `lags` − 1 steps, from its
    /// impulse response.
    #[must_use]
    pub fn autocovariance(&self, lags: usize) -> Vec<f64> {
        let mut filter = self.clone();
        filter.rest();
        let length = 4 * self.warm_up + lags;
        let mut response = vec![0.0; length];
        response[0] = 1.0;
        filter.filter(&mut response);
        (0..lags)
            .map(|lag| {
                response[lag..]
                    .iter()
                    .zip(&response)
                    .map(|(a, b)| a * b)
                    .sum()
            })
            .collect()
    }

    /// Starts anew, independent of all before: rest, then the warm-up.
    pub fn restart(&mut self, rng: &mut Rng) {
        self.rest();
        let mut scratch = [0.0; 64];
        let mut left = self.warm_up;
        while left > 0 {
            let n = left.min(scratch.len());
            self.fill(rng, &mut scratch[..n]);
            left -= n;
        }
    }

    /// Fills `out` with the next samples, in standard deviations.
    pub fn fill(&mut self, rng: &mut Rng, out: &mut [f64]) {
        for sample in out.iter_mut() {
            *sample = StandardNormal.sample(rng);
        }
        self.filter(out);
    }

    fn rest(&mut self) {
        for section in &mut self.sections {
            *section = Section {
                a1: section.a1,
                a2: section.a2,
                ..Section::default()
            };
        }
    }

    /// Two sections a pass: their recurrences run side by side in the
    /// processor, and half the passes over the buffer are saved.
    fn filter(&mut self, samples: &mut [f64]) {
        for sample in samples.iter_mut() {
            *sample *= self.gain;
        }
        for pair in self.sections.chunks_mut(2) {
            if let [first, second] = pair {
                let (mut a, mut b) = (*first, *second);
                for sample in samples.iter_mut() {
                    *sample = b.step(a.step(*sample));
                }
                (*first, *second) = (a, b);
            } else {
                for sample in samples.iter_mut() {
                    *sample = pair[0].step(*sample);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Noise, Spectrum};
    use crate::model::rng;

    #[test]
    fn sampled_noise_keeps_its_density() {
        let spectrum = Spectrum {
            order: 4,
            corner: 100e3,
            steps: 10,
        };
        // At 200 kS/s half the rate is the corner: 1/√1.026 of the noise.
        let sampled = spectrum.sampled_sigma(0.01, 200e3);
        assert!((sampled - 0.01 / 1.026_172_f64.sqrt()).abs() < 1e-8);
        assert!((spectrum.sampled_sigma(0.01, 50e3) - 0.5 * sampled).abs() < 1e-15);
    }

    #[test]
    fn variance_is_one_and_correlation_is_as_computed() {
        for order in [2, 4, 8] {
            let spectrum = Spectrum {
                order,
                corner: 1.0,
                steps: 10,
            };
            let mut noise = Noise::new(&spectrum);
            let cov = noise.autocovariance(8);
            assert!((cov[0] - 1.0).abs() < 1e-9);
            let mut rng = rng::stream(&[u64::from(order)]);
            noise.restart(&mut rng);
            let mut x = vec![0.0; 400_000];
            noise.fill(&mut rng, &mut x);
            for lag in [0, 3, 7] {
                let sum: f64 = x[lag..].iter().zip(&x).map(|(a, b)| a * b).sum();
                let measured = sum / (x.len() - lag) as f64;
                // About 40 000 independent cycles: standard error 0.007 at most.
                assert!((measured - cov[lag]).abs() < 0.03, "{order} {lag}");
            }
        }
    }
}
