//! The light behind the edge, and how large its noise is.
//!
//! Three profiles along the blade's travel `x` (positive deeper):
//! * Gaussian beam of 1/e² radius `w`, straight edge: `P = ½·erfc(√2·x/w)`
//!   (textbook knife edge). From 1 % to 99 % the edge travels 2.326·w: the span.
//! * Evenly lit circular aperture of diameter D: what is covered is a circle's
//!   segment (textbook area); the span is D, the slope at half light 4/(π·D).
//! * Half plane in collimated light of wavelength λ at distance d before a slit
//!   of width b: Fresnel diffraction (see [`super::fresnel`]), averaged over
//!   the slit; lengths scale with `√(λ·d/2)`. Half light is on the lit side of
//!   the geometric edge, and on the lit side the light has fringes.
//!
//! The noise is given as a ratio: SNR in dB means a standard deviation of
//! `10^(−SNR/20)` of full light. Limits: no tilt of the edge, no partial
//! coherence, aperture and beam not mixed.

use core::f64::consts::{FRAC_2_PI, FRAC_2_SQRT_PI, PI, SQRT_2};

use super::fresnel;

/// Span in units of the 1/e² radius: twice the 99 % point of the normal
/// distribution, halved because `w` is two standard deviations.
pub const SPAN_PER_RADIUS: f64 = 2.326_347_874_040_841;

/// Edge position of the first and highest fringe of a half plane, in `√(λ·d/2)`.
const FIRST_FRINGE: f64 = -1.217_198_250_74;

/// Profile of the beam along the blade's travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Profile(Shape);

#[derive(Debug, Clone, Copy, PartialEq)]
enum Shape {
    Gaussian { radius: f64 },
    Circle { diameter: f64 },
    HalfPlane { scale: f64, slit: f64 },
}

impl Profile {
    /// A Gaussian beam whose light goes from 99 % to 1 % over `span` (m, above 0).
    #[must_use]
    pub fn gaussian(span: f64) -> Self {
        Self(Shape::Gaussian {
            radius: span / SPAN_PER_RADIUS,
        })
    }

    /// An evenly lit round aperture of `diameter` (m, above 0).
    #[must_use]
    pub fn circular(diameter: f64) -> Self {
        Self(Shape::Circle { diameter })
    }

    /// Diffraction of collimated light of `wavelength` (m) at an edge
    /// `distance` (m) before a slit of width `slit` (m, 0 for a point).
    #[must_use]
    pub fn diffraction(slit: f64, wavelength: f64, distance: f64) -> Self {
        Self(Shape::HalfPlane {
            scale: (0.5 * wavelength * distance).sqrt(),
            slit,
        })
    }

    /// Share of the light that passes an edge at `x` (m) from the axis; 1 far before it.
    #[must_use]
    pub fn transmitted(&self, x: f64) -> f64 {
        match self.0 {
            Shape::Gaussian { radius } => 0.5 * libm::erfc(SQRT_2 * x / radius),
            Shape::Circle { diameter } => {
                let cosine = (2.0 * x / diameter).clamp(-1.0, 1.0);
                (cosine.acos() - cosine * (1.0 - cosine * cosine).sqrt()) / PI
            }
            Shape::HalfPlane { scale, slit } if slit < 1e-6 * scale => {
                fresnel::edge_intensity(x / scale)
            }
            Shape::HalfPlane { scale, slit } => {
                let (near, far) = ((x - 0.5 * slit) / scale, (x + 0.5 * slit) / scale);
                // The antiderivative has opposite sense: light lies towards −x.
                (fresnel::edge_integral(far) - fresnel::edge_integral(near)) * scale / slit
            }
        }
    }

    /// Loss of light per travel with the edge at `x` (m), 1/m.
    #[must_use]
    pub fn slope_at(&self, x: f64) -> f64 {
        match self.0 {
            Shape::Gaussian { radius } => {
                let u = x / radius;
                FRAC_2_PI.sqrt() / radius * (-2.0 * u * u).exp()
            }
            Shape::Circle { diameter } => {
                let cosine = 2.0 * x / diameter;
                4.0 / (PI * diameter) * (1.0 - cosine * cosine).max(0.0).sqrt()
            }
            Shape::HalfPlane { scale, slit } if slit < 1e-6 * scale => {
                -fresnel::edge_slope(x / scale) / scale
            }
            Shape::HalfPlane { scale, slit } => {
                let (near, far) = ((x - 0.5 * slit) / scale, (x + 0.5 * slit) / scale);
                (fresnel::edge_intensity(near) - fresnel::edge_intensity(far)) / slit
            }
        }
    }

    /// Loss of light per travel at half light, 1/m: `√(2/π)/w`, `4/(π·D)`.
    #[must_use]
    pub fn slope(&self) -> f64 {
        match self.0 {
            Shape::Gaussian { radius } => FRAC_2_PI.sqrt() / radius,
            Shape::Circle { diameter } => 4.0 / (PI * diameter),
            Shape::HalfPlane { .. } => self.slope_at(self.edge_at(0.5)),
        }
    }

    /// Integral of the squared slope over the travel, 1/m: `1/(√π·w)`,
    /// `32/(3π²·D)`. With diffraction from the highest fringe into the shadow:
    /// the fringes before it carry ever finer slopes that no sampling resolves.
    #[must_use]
    pub fn slope_energy(&self) -> f64 {
        match self.0 {
            Shape::Gaussian { radius } => 0.5 * FRAC_2_SQRT_PI / radius,
            Shape::Circle { diameter } => 32.0 / (3.0 * PI * PI * diameter),
            Shape::HalfPlane { scale, slit } => {
                let from = self.crest();
                let to = 0.5 * slit + 40.0 * scale;
                let intervals = 2 * (((to - from) / scale * 25.0).ceil() as usize);
                let step = (to - from) / intervals as f64;
                // Simpson's rule.
                let sum: f64 = (0..=intervals)
                    .map(|k| {
                        let weight = match k {
                            0 => 1.0,
                            k if k == intervals => 1.0,
                            k if k % 2 == 1 => 4.0,
                            _ => 2.0,
                        };
                        weight * self.slope_at(from + k as f64 * step).powi(2)
                    })
                    .sum();
                sum * step / 3.0
            }
        }
    }

    /// Edge position (m) at which the passed light is `level` of full light
    /// (0 to 1, both excluded), by bisection; with diffraction the last one
    /// before the shadow.
    #[must_use]
    pub fn edge_at(&self, level: f64) -> f64 {
        let (mut low, mut high) = match self.0 {
            Shape::HalfPlane { .. } => (self.crest(), self.reach().1),
            _ => self.reach(),
        };
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

    /// Edge positions (m) before and behind which the light no longer changes;
    /// with diffraction, changes by no more than 1 %.
    #[must_use]
    pub fn reach(&self) -> (f64, f64) {
        match self.0 {
            Shape::Gaussian { radius } => (-20.0 * radius, 20.0 * radius),
            Shape::Circle { diameter } => (-diameter, diameter),
            Shape::HalfPlane { scale, slit } => {
                let far = 0.5 * slit + 50.0 * scale;
                (-far, far)
            }
        }
    }

    /// Edge positions (m) between which nearly all of the change happens: to
    /// 1e−18 of full light, or as far as fringes are worth a table.
    pub(super) fn core(&self) -> (f64, f64) {
        match self.0 {
            Shape::Gaussian { radius } => (-4.5 * radius, 4.5 * radius),
            Shape::Circle { diameter } => (-0.5 * diameter, 0.5 * diameter),
            Shape::HalfPlane { scale, slit } => {
                (-0.5 * slit - 12.0 * scale, 0.5 * slit + 40.0 * scale)
            }
        }
    }

    /// Whether the light still changes far from the shadow.
    pub(super) fn fringes(&self) -> bool {
        matches!(self.0, Shape::HalfPlane { .. })
    }

    /// Shortest length on which the profile changes its shape, m.
    #[must_use]
    pub fn detail(&self) -> f64 {
        match self.0 {
            Shape::Gaussian { radius } => radius,
            Shape::Circle { diameter } => 0.1 * diameter,
            Shape::HalfPlane { scale, .. } => scale,
        }
    }

    /// Position of the last crest before the shadow: within a scale of where
    /// the half plane's own would be, seen from the slit's near border.
    fn crest(&self) -> f64 {
        let Shape::HalfPlane { scale, slit } = self.0 else {
            return self.reach().0;
        };
        let (first, last) = (FIRST_FRINGE * scale - 0.5 * slit, 0.5 * slit);
        let steps = 64 + (64.0 * (last - first) / scale) as u32;
        let at = |k: u32| first + (last - first) * f64::from(k) / f64::from(steps);
        // From the shadow outwards to the first place where the light stops rising.
        let mut k = steps;
        while k > 0 && self.slope_at(at(k)) > 0.0 {
            k -= 1;
        }
        at(k)
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

    /// The noise as a position noise at half light, m.
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

    fn profiles() -> [Profile; 4] {
        [
            Profile::gaussian(150e-6),
            Profile::circular(150e-6),
            Profile::diffraction(0.0, 880e-9, 5e-3),
            Profile::diffraction(150e-6, 880e-9, 5e-3),
        ]
    }

    #[test]
    fn span_slope_and_noise_agree_with_their_definitions() {
        let profile = Profile::gaussian(150e-6);
        assert!((profile.detail() - 64.48e-6).abs() < 0.01e-6);
        assert!((profile.edge_at(0.01) - profile.edge_at(0.99) - 150e-6).abs() < 1e-12);
        assert!((Light::new(150e-6, 60.0).sigma_x() - 80.8e-9).abs() < 0.1e-9);
    }

    #[test]
    fn slopes_are_those_of_the_light() {
        for profile in profiles() {
            let step = 1e-9;
            let slope = |x: f64| {
                (profile.transmitted(x - step) - profile.transmitted(x + step)) / (2.0 * step)
            };
            let half = profile.edge_at(0.5);
            assert!((slope(half) / profile.slope() - 1.0).abs() < 1e-6);
            for k in -9..10 {
                let x = f64::from(k) * 7.7e-6;
                let error = (slope(x) - profile.slope_at(x)).abs();
                assert!(error < 1e-5 * profile.slope(), "{profile:?} {x}");
            }
        }
    }

    #[test]
    fn slope_energy_is_the_sum_of_the_squares() {
        for profile in profiles() {
            // Whole travel; with diffraction from the last crest on.
            let diffracts = profile.reach().1 > 2e-3;
            let from = if diffracts {
                profile.crest()
            } else {
                profile.reach().0
            };
            let step = 20e-9;
            let n = ((profile.reach().1 - from) / step) as u32;
            let energy: f64 = (0..n)
                .map(|k| profile.slope_at(from + (f64::from(k) + 0.5) * step))
                .map(|slope| slope * slope * step)
                .sum();
            let ratio = energy / profile.slope_energy();
            assert!((ratio - 1.0).abs() < 1e-5, "{profile:?} {ratio}");
        }
        // The round aperture's bound is 1.10 times the Gaussian beam's of equal span.
        let [gaussian, circle, ..] = profiles().map(|p| p.slope_energy());
        assert!(((gaussian / circle).sqrt() - 1.10).abs() < 0.005);
    }

    #[test]
    fn a_narrow_slit_sees_the_half_plane_and_a_wide_one_mere_shadow() {
        let [_, _, point, _] = profiles();
        let narrow = Profile::diffraction(1e-6, 880e-9, 5e-3);
        let wide = Profile::diffraction(20e-3, 880e-9, 5e-3);
        for k in -20..20 {
            let x = f64::from(k) * 5e-6;
            assert!((point.transmitted(x) - narrow.transmitted(x)).abs() < 2e-3);
            let shadow = 0.5 - 100.0 * x / 20e-3;
            assert!((wide.transmitted(100.0 * x) - shadow).abs() < 3e-3);
        }
        // Half light stands 16.6 µm on the lit side of the geometric edge.
        assert!((point.edge_at(0.5) + 16.587e-6).abs() < 1e-9);
        assert!((point.transmitted(0.0) - 0.25).abs() < 1e-14);
    }
}
