//! Formulas in double precision: correlation, crossing rates, bounds.
//!
//! Noise is Gaussian with the spectrum `1/(1 + (f/fc)^2n)` of a Butterworth
//! low-pass of order n. Its autocorrelation follows from the residues at the n
//! poles of the upper half plane; rates of crossing are Rice's (1944/45).

use core::f64::consts::{FRAC_PI_2, PI, SQRT_2, TAU};

/// Density of the standard normal distribution.
#[must_use]
pub fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / TAU.sqrt()
}

/// Distribution function of the standard normal distribution.
#[must_use]
pub fn distribution(x: f64) -> f64 {
    0.5 * libm::erfc(-x / SQRT_2)
}

/// Autocorrelation at lag `cycles` (time times corner) for a Butterworth
/// spectrum of `order`.
#[must_use]
pub fn autocorrelation(order: u32, cycles: f64) -> f64 {
    let lag = TAU * cycles.abs();
    let half = FRAC_PI_2 / f64::from(order);
    (0..order)
        .map(|k| {
            let (sine, cosine) = (half * f64::from(2 * k + 1)).sin_cos();
            (-lag * sine).exp() * (half * f64::from(2 * k + 1) + lag * cosine).sin()
        })
        .sum::<f64>()
        * half.sin()
}

/// Noise bandwidth over corner: the width of a rectangle of equal power.
#[must_use]
pub fn noise_bandwidth(order: u32) -> f64 {
    let half = FRAC_PI_2 / f64::from(order);
    half / half.sin()
}

/// Up-crossings of the mean level per noise cycle (rate over corner), Rice:
/// the root of the second moment of the spectrum. Order 2 or more.
#[must_use]
pub fn crossing_rate(order: u32) -> f64 {
    let half = FRAC_PI_2 / f64::from(order);
    (half.sin() / (3.0 * half).sin()).sqrt()
}

/// Expected crossings against the motion (returns of the light) while a ramp
/// passes the trip level, for `k` noise cycles per noise width.
#[must_use]
pub fn returns_on_ramp(order: u32, k: f64) -> f64 {
    let slope = TAU * crossing_rate(order) * k;
    slope * (density(1.0 / slope) - distribution(-1.0 / slope) / slope)
}

/// `J` times corner: `∫(1 − √(1−ρ(τ)))dτ`, the correlation time of one bit.
#[must_use]
pub fn one_bit_time(order: u32) -> f64 {
    2.0 * simpson(0.0, reach(order), |cycles| {
        1.0 - (1.0 - autocorrelation(order, cycles)).max(0.0).sqrt()
    })
}

/// Standard deviation of the balance point in noise widths (`σt`) for noise of
/// any correlation, whole ramp, no hysteresis, `k` noise cycles per noise width:
/// `Var/σt² = ∫[g(√2,d) − g(√(2(1−ρ)),d)]dd`, `d` the lag in noise widths,
/// `g(θ,d) = θφ(d/θ) − dΦ(−d/θ)`.
#[must_use]
pub fn balance_sd(order: u32, k: f64) -> f64 {
    let far = (reach(order) / k).min(16.0);
    let variance = 2.0
        * simpson(0.0, far, |d| {
            let rho = autocorrelation(order, d * k);
            overlap(SQRT_2, d) - overlap((2.0 * (1.0 - rho)).max(0.0).sqrt(), d)
        });
    variance.sqrt()
}

/// Full-span bound: standard deviation (m) of the best estimate from the whole
/// light curve, for a feed (m/s), a corner (Hz), noise `sigma` (of full light)
/// and the integral of the squared slope (1/m).
#[must_use]
pub fn full_span_bound(feed: f64, corner: f64, order: u32, sigma: f64, slope_energy: f64) -> f64 {
    let density = sigma * sigma / (noise_bandwidth(order) * corner);
    (feed * 0.5 * density / slope_energy).sqrt()
}

fn overlap(theta: f64, d: f64) -> f64 {
    if theta <= 0.0 {
        return 0.0;
    }
    theta * density(d / theta) - d * distribution(-d / theta)
}

/// Noise cycles after which the correlation is below e^−36.
fn reach(order: u32) -> f64 {
    36.0 / (TAU * (PI / (2.0 * f64::from(order))).sin())
}

/// Composite Simpson rule, 20 000 intervals.
fn simpson(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    const HALVES: u32 = 10_000;
    let step = (to - from) / f64::from(2 * HALVES);
    let at = |k: u32| f(from + f64::from(k) * step);
    let inner: f64 = (1..HALVES)
        .map(|k| 4.0 * at(2 * k - 1) + 2.0 * at(2 * k))
        .sum();
    (at(0) + inner + 4.0 * at(2 * HALVES - 1) + at(2 * HALVES)) * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64, relative: f64) {
        assert!((a / b - 1.0).abs() < relative, "{a} against {b}");
    }

    #[test]
    fn correlation_is_the_transform_of_the_spectrum() {
        for order in [2_u8, 4, 8] {
            let cosine = |cycles: f64| {
                simpson(0.0, 12.0, |f: f64| {
                    (TAU * f * cycles).cos() / (1.0 + f.powi(2 * i32::from(order)))
                })
            };
            let order = u32::from(order);
            let power = noise_bandwidth(order);
            for cycles in [0.0, 0.1, 0.35, 1.0] {
                let tail = if order == 2 { 3e-4 } else { 1e-6 };
                let numeric = cosine(cycles) / power;
                assert!((autocorrelation(order, cycles) - numeric).abs() < tail);
            }
        }
    }

    #[test]
    fn the_study_s_constants_come_out() {
        near(crossing_rate(4), 0.643_594, 1e-5);
        near(noise_bandwidth(4), 1.026, 3e-4);
        // Other integrations, of a sampled correlation, gave 0.376 and 0.461: 1.5 and 0.8 % more.
        near(one_bit_time(4), 0.376, 2e-2);
        // Many cycles: √(J/√π)/√K; few: the single crossing itself.
        let many = (one_bit_time(4) / PI.sqrt()).sqrt();
        near(many, 0.461, 1e-2);
        near(balance_sd(4, 5000.0) * 5000_f64.sqrt(), many, 2e-3);
        near(balance_sd(4, 0.003), 1.0, 1e-2);
        // 40 dB, 5000 mm/min, 150 µm: bound 68 nm, balance point 375 nm.
        let light = crate::model::light::Light::new(150e-6, 40.0);
        let feed = crate::model::approach::mm_per_min(5000.0);
        let energy = light.profile.slope_energy();
        near(
            full_span_bound(feed, 1e5, 4, light.sigma, energy),
            68e-9,
            1e-2,
        );
        let k = light.sigma_x() / feed * 1e5;
        near(balance_sd(4, k) * light.sigma_x(), 375e-9, 1e-2);
        // Crossings on a ramp, K = 100, 10, 1, 0.3.
        for (k, n) in [(100.0, 161.0), (10.0, 15.6), (1.0, 1.16), (0.3, 0.140)] {
            near(returns_on_ramp(4, k), n, 6e-3);
        }
    }
}
