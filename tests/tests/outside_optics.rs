//! The simulated light against published and independently computed optics.
//!
//! Sources. Knife edge in a Gaussian beam, `½·erfc(√2·x/w)`, and the widths
//! between clip levels: textbook; the widths 10–90 % and 16–84 % and their
//! multipliers appear in an open photonics glossary and, after IEEE J. Quantum
//! Electron. 27(4) (1991), in beam-profiler practice. Segment of a circle:
//! textbook areas. Fresnel integrals and the straight edge: textbook; the
//! approximation `J(v) = 6.9 + 20·lg(√((v−0.1)²+1) + v − 0.1)` is that of
//! Recommendation ITU-R P.526, valid for v > −0.78. White noise and Sheppard's
//! arccos law: exact. The tables in `data/reference` were computed with 40
//! digits by a general mathematics library that shares no code with this one.

use core::f64::consts::PI;

use trueonset_sim::model::adc::Adc;
use trueonset_sim::model::fresnel;
use trueonset_sim::model::light::Profile;
use trueonset_sim::model::rng;
use trueonset_sim::model::sampling::Sampling;
use trueonset_sim::model::touch::Simulator;
use trueonset_sim::study::runner::Cell;

/// Rows of numbers below a comment and a header; an empty cell is no number.
fn table(text: &str) -> Vec<Vec<f64>> {
    let number = |cell: &str| match cell {
        "" => f64::NAN,
        cell => cell.parse().unwrap(),
    };
    text.lines()
        .skip(2)
        .map(|line| line.split(',').map(number).collect())
        .collect()
}

/// A Gaussian beam of 1/e² radius 1 m.
fn unit_beam() -> Profile {
    Profile::gaussian(2.326_347_874_040_841)
}

/// A half plane whose unit of length is 1 m: `√(λ·d/2) = 1`.
fn unit_edge() -> Profile {
    Profile::diffraction(0.0, 2.0, 1.0)
}

#[test]
fn a_knife_edge_cuts_a_gaussian_beam_as_tabled() {
    let beam = unit_beam();
    let rows = table(include_str!("../data/reference/knife_edge_gaussian.csv"));
    assert!(rows.len() > 50);
    for row in rows {
        let passed = beam.transmitted(row[0]);
        assert!((passed - row[1]).abs() < 1e-15, "{row:?} {passed}");
    }
    assert!((beam.transmitted(0.3) - 0.274_253_117_750_073_6).abs() < 1e-15);
    // The function below it: ½·erfc(√2·x/w) at x = u/√2.
    for row in table(include_str!("../data/reference/erfc.csv")) {
        let erfc = 2.0 * beam.transmitted(row[0] / core::f64::consts::SQRT_2);
        assert!((erfc - row[2]).abs() < 1e-14 * row[2].max(0.1), "{row:?}");
    }
}

#[test]
fn clip_widths_are_the_published_ones() {
    let beam = unit_beam();
    for row in table(include_str!("../data/reference/knife_edge_clip_widths.csv")) {
        let width = beam.edge_at(row[0]) - beam.edge_at(1.0 - row[0]);
        assert!((width - row[1]).abs() < 1e-12, "{row:?} {width}");
        assert!((2.0 / width - row[2]).abs() < 1e-11, "{row:?}");
    }
}

#[test]
fn a_straight_edge_covers_a_circle_by_its_segment() {
    let aperture = Profile::circular(1.0);
    for row in table(include_str!("../data/reference/circle_segment.csv")) {
        let covered = 1.0 - aperture.transmitted(row[0] - 0.5);
        assert!((covered - row[1]).abs() < 1e-14, "{row:?} {covered}");
        assert!((covered * PI / 4.0 - row[2]).abs() < 1e-14, "{row:?}");
    }
    assert!((aperture.slope() - 1.273_239_544_735).abs() < 1e-12);
}

#[test]
fn fresnel_integrals_are_the_tabled_ones() {
    for row in table(include_str!("../data/reference/fresnel.csv")) {
        let (c, s) = fresnel::integrals(row[0]);
        assert!((c - row[1]).abs() < 1e-13, "{row:?} {c}");
        assert!((s - row[2]).abs() < 1e-13, "{row:?} {s}");
        let (c, s) = fresnel::integrals(-row[0]);
        assert!((c + row[1]).abs() + (s + row[2]).abs() < 2e-13);
    }
}

#[test]
fn the_half_plane_is_the_tabled_one_and_keeps_the_bound_of_p_526() {
    let edge = unit_edge();
    let p526 = |v: f64| 6.9 + 20.0 * ((v - 0.1).hypot(1.0) + v - 0.1).log10();
    for row in table(include_str!("../data/reference/knife_edge_diffraction.csv")) {
        let loss = -10.0 * edge.transmitted(row[0]).log10();
        assert!((edge.transmitted(row[0]) / row[1] - 1.0).abs() < 1e-12);
        assert!((loss - row[2]).abs() < 1e-11, "{row:?} {loss}");
        if row[0] > -0.78 {
            assert!((p526(row[0]) - row[3]).abs() < 1e-11, "{row:?}");
        }
    }
    // Landmarks: quarter of the light at the geometric edge, first fringe, half light.
    assert!((edge.transmitted(0.0) - 0.25).abs() < 1e-15);
    assert!((edge.transmitted(-1.217_198_250_74) - 1.370_442_919_7).abs() < 1e-10);
    assert!((edge.transmitted(-1.872_519_062_44) - 0.778_251_047_026).abs() < 1e-10);
    assert!((edge.edge_at(0.5) + 0.353_637_942_852).abs() < 1e-11);
    assert!((edge.edge_at(0.1) - 0.470_751_671_015).abs() < 1e-11);
    let worst = (0..57_800)
        .map(|k| -0.78 + f64::from(k) * 1e-4)
        .map(|v| (p526(v) + 10.0 * edge.transmitted(v).log10()).abs())
        .fold(0.0, f64::max);
    assert!((worst - 0.1232).abs() < 5e-5, "{worst}");
}

/// `n` samples of resting light, minus full light, in standard deviations.
fn resting(n: usize) -> Vec<f64> {
    let scene = Cell::new(60.0, 40.0).scene();
    let sampling = Sampling {
        rate: 200e3,
        adc: Adc {
            bits: 16,
            top: 1.25,
        },
    };
    let sigma = scene
        .spectrum
        .sampled_sigma(scene.light.sigma, sampling.rate);
    // Far before the beam; 1 mm/s makes 5 m in all.
    let (from, period) = (-1e6, 1.0 / sampling.rate);
    Simulator::new(scene)
        .samples(
            &mut rng::stream(&[526]),
            from,
            from + n as f64 * period,
            &sampling,
        )
        .iter()
        .map(|&counts| (f64::from(counts) / sampling.adc.counts_per_light() - 1.0) / sigma)
        .collect()
}

#[test]
fn sampled_noise_crosses_levels_as_often_as_white_noise() {
    let noise = resting(4_000_000);
    let n = noise.len() as f64;
    for row in table(include_str!("../data/reference/white_noise_upcross.csv")) {
        let (u, exceed, upcross) = (row[0], row[1], row[2]);
        if upcross * n < 50.0 {
            continue;
        }
        let above = noise.iter().filter(|&&x| x > u).count() as f64;
        let up = noise.windows(2).filter(|w| w[0] <= u && u < w[1]).count() as f64;
        assert!((above - exceed * n).abs() < 3.5 * (exceed * n).sqrt() + 1e-4 * n * exceed);
        // Up-crossings cannot follow each other at once, so they scatter less.
        assert!(
            (up - upcross * n).abs() < 3.5 * (upcross * n).sqrt(),
            "{u} {up}"
        );
    }
}

#[test]
fn sign_changes_follow_the_arccos_of_the_correlation() {
    let noise = resting(2_000_000);
    for row in table(include_str!("../data/arccos_sign_change.csv")) {
        let (rho, p) = (row[0], row[1]);
        let other = (1.0 - rho * rho).sqrt();
        let pairs = noise.chunks_exact(2);
        let n = pairs.len() as f64;
        let changes = pairs
            .filter(|w| (w[0] > 0.0) != (rho * w[0] + other * w[1] > 0.0))
            .count() as f64;
        // The counts' own grid, 0.005 sigma, leaves about as much at zero.
        let error = 3.5 * (n * p * (1.0 - p)).sqrt() + 0.003 * n * p.max(0.1);
        assert!(
            (changes - p * n).abs() < error,
            "{rho}: {changes} {}",
            p * n
        );
    }
}
