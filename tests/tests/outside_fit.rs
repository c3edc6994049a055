//! Lines through points against certified values; medians of slopes beside least squares where
//! chips lie among the touches; warm-ups; what a reference that is held may be off by.
//!
//! Sources. NIST Statistical Reference Datasets, Norris (36 points, lower difficulty, public domain):
//! certified values stand beside the test. Median of pairwise slopes: Theil 1950, Sen 1968 (from
//! memory); for normal errors about as sure as least squares. Warm-up: textbook exponential.

use rand_distr::{Distribution, StandardNormal, Uniform};
use rayon::prelude::*;
use trueonset::gauge::Drift;
use trueonset_sim::gauge::fit::{line, median_slope, warm_up};
use trueonset_sim::model::rng;

fn agreeing(found: f64, certified: f64) -> f64 {
    -((found - certified).abs() / certified.abs())
        .max(1e-16)
        .log10()
}

#[test]
fn a_line_is_certified() {
    let points: Vec<(f64, f64)> = include_str!("../data/reference/nist/Norris.csv")
        .lines()
        .skip(2)
        .map(|row| {
            let (y, x) = row.split_once(',').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        })
        .collect();
    assert_eq!(points.len(), 36);
    let found = line(&points).unwrap();
    for (what, found, certified) in [
        ("offset", found.offset, -0.262_323_073_774_029),
        ("its deviation", found.offset_u, 0.232_818_234_301_152),
        ("slope", found.slope, 1.002_116_818_020_45),
        ("its deviation", found.slope_u, 0.000_429_796_848_199_937),
        ("scatter", found.scatter, 0.884_796_396_144_373),
    ] {
        let digits = agreeing(found, certified);
        println!("{what}: {found} {digits:.1} digits");
        assert!(digits >= 12.0, "{what} {found}");
    }
}

/// Deviations of the slope over 15 cycles of 20 µm wear, measured within 5 µm, by median and by
/// least squares, where this share of them meets a chip of 2 to 50 deviations.
fn slopes(chips: f64) -> (f64, f64) {
    let runs = 20_000_u64;
    let sums: Vec<(f64, f64)> = (0..runs)
        .into_par_iter()
        .map(|seed| {
            let mut rng = rng::stream(&[seed, (chips * 100.0) as u64, 15]);
            let unit = Uniform::new(0.0, 1.0).unwrap();
            let lengths: Vec<f64> = (0..15)
                .map(|k| {
                    let mut off: f64 = StandardNormal.sample(&mut rng);
                    if unit.sample(&mut rng) < chips {
                        off += 2.0 + 48.0 * unit.sample(&mut rng);
                    }
                    -20.0 * f64::from(k) + 5.0 * off
                })
                .collect();
            let points: Vec<(f64, f64)> = (0..15)
                .map(f64::from)
                .zip(lengths.iter().copied())
                .collect();
            let off = |slope: f64| (slope + 20.0).powi(2);
            (
                off(median_slope(&lengths).unwrap()),
                off(line(&points).unwrap().slope),
            )
        })
        .collect();
    let rms =
        |of: &dyn Fn(&(f64, f64)) -> f64| (sums.iter().map(of).sum::<f64>() / runs as f64).sqrt();
    (rms(&|s| s.0), rms(&|s| s.1))
}

#[test]
fn the_median_of_slopes_stands_chips() {
    let (median, squares) = slopes(0.0);
    // 5/√280 by least squares (textbook), 1.05 of it by the median.
    assert!(
        (squares / (5.0 / 280_f64.sqrt()) - 1.0).abs() < 0.02,
        "{squares}"
    );
    assert!((median / squares - 1.05).abs() < 0.03, "{median} {squares}");
    for (chips, least) in [(0.05, 4.0), (0.10, 4.0), (0.20, 3.0)] {
        let (median, squares) = slopes(chips);
        println!("chips {chips}: median {median:.2} um, least squares {squares:.2} um a cycle");
        assert!(squares / median > least, "{chips}: {median} {squares}");
    }
}

/// 30 µm, 45 min, touched every five minutes within 0.3 µm: median error of the end told after 55 and
/// 85 minutes, where the time constant has passed; before it nothing is told.
#[test]
fn a_warm_up_is_told_once_its_time_constant_has_passed() {
    let errors = |minutes: u32| -> (f64, f64) {
        let runs = 400_u64;
        let mut found: Vec<f64> = (0..runs)
            .into_par_iter()
            .filter_map(|seed| {
                let mut rng = rng::stream(&[seed, u64::from(minutes), 16]);
                let points: Vec<(f64, f64)> = (0..=minutes / 5)
                    .map(|k| {
                        let t = f64::from(5 * k);
                        let off: f64 = StandardNormal.sample(&mut rng);
                        (t, 30.0 * (1.0 - (-t / 45.0).exp()) + 0.3 * off)
                    })
                    .collect();
                warm_up(&points, 10.0, 300.0).map(|found| (found.end - 30.0).abs())
            })
            .collect();
        found.sort_by(f64::total_cmp);
        let told = found.len() as f64 / runs as f64;
        (
            told,
            found.get(found.len() / 2).copied().unwrap_or(f64::NAN),
        )
    };
    let (told, _) = errors(25);
    assert!(told < 0.1, "{told}");
    for (minutes, most) in [(55, 1.2), (85, 0.6)] {
        let (told, median) = errors(minutes);
        println!("{minutes} min: told in {told:.2}, median error {median:.2} um");
        assert!(told > 0.8 && median < most, "{minutes}: {told} {median}");
    }
}

/// Loads that come and go at random within a rise of 30 µm and 45 min: a reference held is never
/// off by more than the bound, and uses most of it.
#[test]
fn a_held_reference_is_within_its_bound() {
    let drift = Drift {
        rise_nm: 30_000,
        tau_ms: 45 * 60_000,
    };
    let worst: f64 = (0..2_000_u64)
        .into_par_iter()
        .map(|seed| {
            let mut rng = rng::stream(&[seed, 17]);
            let unit = Uniform::new(0.0, 1.0).unwrap();
            // Ends within 30 µm of each other, minutes of one.
            let (mut at, mut end, mut worst) = (0.0_f64, 0.0_f64, 0.0_f64);
            let mut course = Vec::new();
            for _ in 0..480 {
                course.push(at);
                if unit.sample(&mut rng) < 0.03 {
                    end = if unit.sample(&mut rng) < 0.5 {
                        0.0
                    } else {
                        30_000.0
                    };
                }
                at += (end - at) * -(-1.0_f64 / 45.0).exp_m1();
            }
            for held in [2_usize, 5, 15, 30] {
                let bound = f64::from(drift.bound_nm(held as u64 * 60_000));
                for pair in course.windows(held + 1) {
                    worst = worst.max((pair[held] - pair[0]).abs() / bound);
                }
            }
            worst
        })
        .reduce(|| 0.0, f64::max);
    println!("at most {worst:.3} of the bound");
    assert!(worst <= 1.0 && worst > 0.9, "{worst}");
}
