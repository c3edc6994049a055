//! Diffraction at a straight edge: Fresnel integrals and what follows from them.
//!
//! `C(v) = ∫₀ᵛ cos(πs²/2) ds`, `S(v) = ∫₀ᵛ sin(πs²/2) ds`; behind an opaque
//! half plane the light is `½·[(½ − C)² + (½ − S)²]` of the free light, v
//! counted into the shadow (any text on optics, also the basis of
//! Recommendation ITU-R P.526). Small arguments by the power series, large
//! ones by the continued fraction of the complementary error function on the
//! diagonal of the complex plane; both to about 1e−14. Limits: coherent,
//! collimated light of one wavelength, an edge thin against `λ·d`.

use core::f64::consts::{FRAC_PI_2, PI};

/// Below it the series is the shorter way.
const SERIES_END: f64 = 1.6;

/// Both Fresnel integrals at `v`: (C, S).
#[must_use]
pub fn integrals(v: f64) -> (f64, f64) {
    let x = v.abs();
    let (c, s) = if x < SERIES_END {
        series(x)
    } else {
        let (f, g) = complement(x);
        (0.5 - f, 0.5 - g)
    };
    (c.copysign(v), s.copysign(v))
}

/// Light at `v` behind the edge as a share of the free light; `v < 0` is lit.
#[must_use]
pub fn edge_intensity(v: f64) -> f64 {
    let (f, g) = rest(v);
    0.5 * (f * f + g * g)
}

/// Change of [`edge_intensity`] with `v`.
#[must_use]
pub fn edge_slope(v: f64) -> f64 {
    let (f, g) = rest(v);
    let (sin, cos) = (FRAC_PI_2 * v * v).sin_cos();
    -(f * cos + g * sin)
}

/// An antiderivative of [`edge_intensity`], 0 deep in the shadow.
///
/// By parts, with `f = ½ − C` and `g = ½ − S`: `v·I + (f·sin − g·cos)/π`.
#[must_use]
pub fn edge_integral(v: f64) -> f64 {
    let (f, g) = rest(v);
    let (sin, cos) = (FRAC_PI_2 * v * v).sin_cos();
    0.5 * v * (f * f + g * g) + (f * sin - g * cos) / PI
}

/// `(½ − C, ½ − S)`, exact also where both are small.
fn rest(v: f64) -> (f64, f64) {
    if v >= SERIES_END {
        complement(v)
    } else {
        let (c, s) = integrals(v);
        (0.5 - c, 0.5 - s)
    }
}

/// Power series: `Σ (−1)ⁿ (π/2)^(2n) x^(4n+1) / ((2n)!·(4n+1))` and its like.
fn series(x: f64) -> (f64, f64) {
    let step = FRAC_PI_2 * x * x;
    let (mut c, mut s) = (0.0, 0.0);
    let mut term = x;
    for n in 0..40_u32 {
        let part = term / f64::from(2 * n + 1);
        match n % 4 {
            0 => c += part,
            1 => s += part,
            2 => c -= part,
            _ => s -= part,
        }
        term *= step / f64::from(n + 1);
        if term < 1e-18 {
            break;
        }
    }
    (c, s)
}

/// `(½ − C, ½ − S)` for large `x` by Lentz's evaluation of the continued
/// fraction of `w = erfc((1 − i)·√π·x/2)`.
fn complement(x: f64) -> (f64, f64) {
    // erfc(z) = 2z·e^(−z²)/√π · 1/(2z²+1 − 1·2/(2z²+5 − 3·4/(2z²+9 − ...))), z² = −iπx²/2.
    let square = PI * x * x;
    let mut b = Complex(1.0, -square);
    let mut d = b.inverse();
    let mut c = Complex(1e300, 0.0);
    let mut fraction = d;
    for n in 1..500_u32 {
        let n = f64::from(2 * n - 1);
        let a = -n * (n + 1.0);
        b.0 += 4.0;
        d = b.plus(d.scaled(a)).inverse();
        c = b.plus(c.inverse().scaled(a));
        let factor = c.times(d);
        fraction = fraction.times(factor);
        if (factor.0 - 1.0).abs() + factor.1.abs() < 1e-15 {
            break;
        }
    }
    // (½ − C) + i·(½ − S) = (1+i)/2 · erfc(z), and (1+i)/2 · 2z/√π = x.
    let (sin, cos) = (0.5 * square).sin_cos();
    let all = fraction.scaled(x).times(Complex(cos, sin));
    (all.0, all.1)
}

/// As much of complex numbers as the fraction needs.
#[derive(Clone, Copy)]
struct Complex(f64, f64);

impl Complex {
    fn plus(self, other: Self) -> Self {
        Self(self.0 + other.0, self.1 + other.1)
    }

    fn times(self, other: Self) -> Self {
        Self(
            self.0 * other.0 - self.1 * other.1,
            self.0 * other.1 + self.1 * other.0,
        )
    }

    fn scaled(self, factor: f64) -> Self {
        Self(self.0 * factor, self.1 * factor)
    }

    fn inverse(self) -> Self {
        let norm = self.0 * self.0 + self.1 * self.1;
        Self(self.0 / norm, -self.1 / norm)
    }
}

#[cfg(test)]
mod tests {
    use super::{complement, edge_integral, edge_intensity, edge_slope, series};

    #[test]
    fn series_and_fraction_meet() {
        for x in [1.4, 1.6, 1.9] {
            let ((c, s), (f, g)) = (series(x), complement(x));
            assert!((0.5 - f - c).abs() < 1e-13, "{x}: {} {c}", 0.5 - f);
            assert!((0.5 - g - s).abs() < 1e-13, "{x}: {} {s}", 0.5 - g);
        }
    }

    #[test]
    fn slope_and_integral_belong_to_the_intensity() {
        let step = 1e-4;
        for k in -50..50 {
            let v = f64::from(k) * 0.1 + 0.013;
            let slope = (edge_intensity(v + step) - edge_intensity(v - step)) / (2.0 * step);
            assert!((slope - edge_slope(v)).abs() < 1e-6, "{v}");
            let rate = (edge_integral(v + step) - edge_integral(v - step)) / (2.0 * step);
            assert!((rate - edge_intensity(v)).abs() < 1e-6, "{v}");
        }
        assert!(edge_integral(1e3).abs() < 1e-3);
    }
}
