//! The simulated noise against Rice's crossing rates.
//!
//! S. O. Rice, Mathematical Analysis of Random Noise, Bell Syst. Tech. J. 23/24
//! (1944/45): a Gaussian process crosses the level u·σ upwards
//! `f0·exp(−u²/2)` times a second, `f0` the root of the spectrum's second
//! moment; for a sharp low-pass of bandwidth B, `f0 = B/√3`. Two samples of
//! correlation ρ differ in sign with probability arccos(ρ)/π (Sheppard's
//! formula). Tables: `data/rice_lowpass.csv`, `data/arccos_sign_change.csv`.

use trueonset_sim::model::noise::{Noise, Spectrum};
use trueonset_sim::model::rng;
use trueonset_sim::study::closed_form::{autocorrelation, crossing_rate};

/// Rows of numbers below a comment and a header.
fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .skip(2)
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect()
}

fn sharp_lowpass() -> Vec<Vec<f64>> {
    table(include_str!("../data/rice_lowpass.csv"))
}

/// Up-crossings of each level over `cycles` noise cycles of order `order`.
fn crossings(order: u32, steps: u32, cycles: usize, levels: &[f64]) -> Vec<f64> {
    let spectrum = Spectrum {
        order,
        corner: 1.0,
        steps,
    };
    let mut noise = Noise::new(&spectrum);
    let mut rng = rng::stream(&[u64::from(order), u64::from(steps)]);
    noise.restart(&mut rng);
    let mut counts = vec![0.0; levels.len()];
    let mut before = 0.0;
    let mut block = vec![0.0; 1024];
    for _ in 0..cycles * steps as usize / block.len() {
        noise.fill(&mut rng, &mut block);
        for &now in &block {
            for (count, &level) in counts.iter_mut().zip(levels) {
                if before <= level && level < now {
                    *count += 1.0;
                }
            }
            before = now;
        }
    }
    counts
}

/// Crossings thin out to a Poisson stream at high levels and are more regular at
/// low ones, so the root of the count is an upper bound of its scatter.
fn assert_rate(count: f64, expected: f64, bias: f64, what: &str) {
    let allowed = 3.0 * expected.sqrt() + bias * expected;
    assert!(
        (count - expected).abs() < allowed,
        "{what}: {count} against {expected:.1} +- {allowed:.1}"
    );
}

#[test]
fn the_demo_s_noise_crosses_at_rice_s_rate() {
    let f0 = crossing_rate(4);
    assert!((f0 * 100.0 - 64.36).abs() < 0.005, "{f0} of 100 kHz");
    let levels = [0.0, 0.5, 1.0, 2.0, 3.0];
    let cycles = 60_000;
    for (level, count) in levels.iter().zip(crossings(4, 48, cycles, &levels)) {
        let expected = f0 * (-0.5 * level * level).exp() * cycles as f64;
        assert_rate(count, expected, 0.01, &format!("level {level}"));
    }
}

#[test]
fn a_steep_low_pass_crosses_at_the_tabled_rate_of_a_sharp_one() {
    // Closed form: the rate of order n tends to 1/√3, 0.16 % above at order 32.
    let rows = sharp_lowpass();
    assert!((crossing_rate(4000) / rows[0][1] - 1.0).abs() < 1e-5);
    assert!((crossing_rate(32) / rows[0][1] - 1.0).abs() < 2e-3);
    let levels: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    let cycles = 60_000;
    for (row, count) in rows.iter().zip(crossings(32, 32, cycles, &levels)) {
        let expected = row[1] * cycles as f64;
        // 0.16 % for the order, under 1 % for straight lines between 32 steps.
        assert_rate(count, expected, 0.012, &format!("level {}", row[0]));
    }
}

#[test]
fn sampled_noise_changes_sign_as_its_correlation_says() {
    for row in table(include_str!("../data/arccos_sign_change.csv")) {
        let p = row[0].acos() / core::f64::consts::PI;
        assert!((p - row[1]).abs() < 1e-12);
    }
    for order in [2, 4, 8] {
        let spectrum = Spectrum {
            order,
            corner: 1.0,
            steps: 10,
        };
        let rho = Noise::new(&spectrum).autocovariance(2)[1];
        let cycles = 100_000;
        let expected = 0.5 * rho.acos() / core::f64::consts::PI * (cycles * 10) as f64;
        let count = crossings(order, 10, cycles, &[0.0])[0];
        assert_rate(count, expected, 0.0, &format!("order {order}"));
    }
}

#[test]
fn sampled_correlation_tends_to_the_closed_form() {
    for order in [4, 8] {
        let spectrum = Spectrum {
            order,
            corner: 1.0,
            steps: 32,
        };
        let sampled = Noise::new(&spectrum).autocovariance(96);
        for (lag, rho) in sampled.iter().enumerate() {
            let exact = autocorrelation(order, lag as f64 / 32.0);
            assert!((rho - exact).abs() < 0.01, "{order} {lag}: {rho} {exact}");
        }
    }
}
