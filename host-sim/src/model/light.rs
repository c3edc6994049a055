//! The light behind the edge, and how large its noise is.
//!
//! A Gaussian beam of 1/e² radius `w`, cut by a straight edge at `x` from its
//! axis, passes `P(x) = ½·erfc(√2·x/w)` of its light (textbook knife edge).
//! From 1 % to 99 % the edge travels 2.326·w: the span. The noise is given as
//! a ratio: SNR in dB means a standard deviation of `10^(−SNR/20)` of full light.

/// Span in units of the 1/e² radius: twice the 99 % point of the normal
/// distribution, halved because `w` is two standard deviations.
pub const SPAN_PER_RADIUS: f64 = 2.326_347_874_040_841;

/// Profile of the beam along the blade's travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Profile {
    radius: f64,
}

impl Profile {
    /// A Gaussian beam whose light goes from 99 % to 1 % over `span` (m, above 0).
    #[must_use]
    pub fn gaussian(span: f64) -> Self {
        Self {
            radius: span / SPAN_PER_RADIUS,
        }
    }

    /// 1/e² radius, m.
    #[must_use]
    pub fn radius(&self) -> f64 {
        self.radius
    }

    /// Share of the light that passes an edge at `x` (m) from the axis; 1 far before it.
    #[must_use]
    pub fn transmitted(&self, x: f64) -> f64 {
        0.5 * libm::erfc(core::f64::consts::SQRT_2 * x / self.radius)
    }

    /// Loss of light per travel in the middle of the beam, 1/m: `√(2/π)/w`.
    #[must_use]
    pub fn slope(&self) -> f64 {
        core::f64::consts::FRAC_2_PI.sqrt() / self.radius
    }

    /// Integral of the squared slope over the travel, 1/m: `1/(√π·w)`.
    #[must_use]
    pub fn slope_energy(&self) -> f64 {
        0.5 * core::f64::consts::FRAC_2_SQRT_PI / self.radius
    }

    /// Edge position (m) at which the passed light is `level` of full light
    /// (0 to 1, both excluded), by bisection.
    #[must_use]
    pub fn edge_at(&self, level: f64) -> f64 {
        let (mut low, mut high) = (-20.0 * self.radius, 20.0 * self.radius);
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if self.transmitted(middle) > level {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }
}

/// Light of the barrier: profile and noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Light {
    /// Beam profile.
    pub profile: Profile,
    /// Standard deviation of the noise, share of full light.
    pub sigma: f64,
}

impl Light {
    /// A Gaussian beam of `span` (m) with noise `snr_db` below full light.
    #[must_use]
    pub fn new(span: f64, snr_db: f64) -> Self {
        Self {
            profile: Profile::gaussian(span),
            sigma: sigma_of_snr(snr_db),
        }
    }

    /// The noise as a position noise in the middle of the beam, m.
    #[must_use]
    pub fn sigma_x(&self) -> f64 {
        self.sigma / self.profile.slope()
    }
}

/// Noise as a share of full light for a ratio of `snr_db` dB.
#[must_use]
pub fn sigma_of_snr(snr_db: f64) -> f64 {
    10_f64.powf(-snr_db / 20.0)
}

#[cfg(test)]
mod tests {
    use super::{Light, Profile};

    #[test]
    fn span_slope_and_noise_agree_with_their_definitions() {
        let profile = Profile::gaussian(150e-6);
        assert!((profile.radius() - 64.48e-6).abs() < 0.01e-6);
        assert!((profile.edge_at(0.01) - profile.edge_at(0.99) - 150e-6).abs() < 1e-12);
        let step = 1e-9;
        let slope = (profile.transmitted(-step) - profile.transmitted(step)) / (2.0 * step);
        assert!((slope / profile.slope() - 1.0).abs() < 1e-6);
        let energy: f64 = (-400_000..400_000)
            .map(|k| {
                let x = f64::from(k) * step;
                let s = (profile.transmitted(x) - profile.transmitted(x + step)) / step;
                s * s * step
            })
            .sum();
        assert!((energy / profile.slope_energy() - 1.0).abs() < 1e-6);
        assert!((Light::new(150e-6, 60.0).sigma_x() - 80.8e-9).abs() < 0.1e-9);
    }
}
