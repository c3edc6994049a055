//! The simulated cutter against the kinematics of milling.
//!
//! Sources. Feed per tooth `f_z = v/(n·z)` and the examples 500 mm/min,
//! 10 teeth, 500 /min → 0.1 mm and 0.25 mm, 16 teeth, 200 /min → 800 mm/min:
//! tool catalogues. First contact with a plane: the overtravel δ solves
//! `δ + (v/ω)·acos(1 − δ/R) = u` with u even in [0, f_z) (derived for the
//! tables in `data/reference`: `milling_touch_closed_form.csv` by quadrature,
//! `milling_touch.csv` by a simulation of 20 000 phases that shares no code
//! with this one). A sine seen at N phases a turn loses `1 − cos(π/N)` of its
//! peak at worst and `1 − (N/π)·sin(π/N)` on average: `sine_sampling_loss.csv`.

use core::f64::consts::{PI, TAU};

use trueonset_sim::model::approach::{mm_per_min, Approach};
use trueonset_sim::model::cutter::{Cutter, Mounted};

/// Rows of numbers below a comment and a header.
fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .skip(2)
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect()
}

fn cutter(radius_mm: f64, teeth: f64, rpm: f64) -> Cutter {
    Cutter {
        speed: rpm / 60.0,
        teeth: teeth as u32,
        radius: radius_mm * 1e-3,
        run_out: 0.0,
    }
}

/// Overtravel (mm) at the first contact for `phases` even angles of the cutter.
fn first_contacts(cutter: &Cutter, feed: f64, heights: &[f64], phases: u32) -> Vec<f64> {
    let path = Approach::endless(mm_per_min(feed));
    (0..phases)
        .map(|k| {
            let mounted = Mounted {
                heights: heights.to_vec(),
                turn: (f64::from(k) + 0.5) / f64::from(phases),
            };
            let hits = cutter.hits(&mounted, &path, 0.0, None, 2.0 / cutter.speed);
            let begins = hits.iter().map(|hit| hit.begin);
            path.position(begins.fold(f64::INFINITY, f64::min)) * 1e3
        })
        .collect()
}

fn mean_sd_max(values: &[f64]) -> [f64; 3] {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
    let max = values.iter().copied().fold(0.0, f64::max);
    [mean, square.sqrt(), max]
}

#[test]
fn first_contact_is_the_closed_form_s() {
    for row in table(include_str!(
        "../data/reference/milling_touch_closed_form.csv"
    )) {
        let (radius, teeth, rpm, feed, per_tooth) = (row[0], row[1], row[2], row[3], row[4]);
        assert!((feed / (rpm * teeth) / per_tooth - 1.0).abs() < 1e-12);
        let cutter = cutter(radius, teeth, rpm);
        let heights = vec![0.0; teeth as usize];
        let found = first_contacts(&cutter, feed, &heights, 20_000);
        // Each contact on its own: δ + (v/ω)·acos(1 − δ/R) is even in the tooth feed.
        let swing = feed / 60.0 / (TAU * rpm / 60.0);
        // The closed form leaves out that a tooth just past its apex may still
        // touch on its way down: this share of the angles, at most 0.4 %.
        let passed = 0.5 * feed / 60e3 / cutter.bend() / cutter.tooth_period();
        assert!(passed < 0.0045);
        let mut phases: Vec<f64> = found
            .iter()
            .map(|delta| (delta + swing * (1.0 - delta / radius).acos()) / per_tooth)
            .collect();
        phases.sort_by(f64::total_cmp);
        for (k, phase) in phases.iter().enumerate() {
            let even = (k as f64 + 0.5) / phases.len() as f64;
            assert!(
                (phase - even).abs() < passed + 3e-4,
                "{row:?} {phase} {even}"
            );
        }
        for (value, expected) in mean_sd_max(&found).iter().zip(&row[5..8]) {
            assert!(
                (value / expected - 1.0).abs() < 2.2 * passed + 3e-4,
                "{row:?} {value}"
            );
        }
    }
}

#[test]
fn first_contact_is_the_other_simulation_s() {
    for row in table(include_str!("../data/reference/milling_touch.csv")) {
        let cutter = cutter(row[0], row[1], row[2]);
        // One tooth longer than the others by the run-out.
        let mut heights = vec![-row[4] * 1e-3; row[1] as usize];
        heights[0] = 0.0;
        let found = mean_sd_max(&first_contacts(&cutter, row[3], &heights, 20_000));
        // Theirs are 20 000 random phases: 0.4 % of standard error in mean and
        // spread, and a largest value that falls a little short of the end.
        for (value, expected) in found.iter().zip(&row[7..10]) {
            assert!((value / expected - 1.0).abs() < 0.013, "{row:?} {value}");
        }
    }
}

#[test]
fn feed_per_tooth_is_the_catalogue_s() {
    for (feed, teeth, rpm, per_tooth) in [(500.0, 10, 500.0, 0.1), (800.0, 16, 200.0, 0.25)] {
        let cutter = Cutter {
            teeth,
            ..cutter(20.0, 4.0, rpm)
        };
        let advance = feed / 60.0 * cutter.tooth_period();
        assert!((advance - per_tooth).abs() < 1e-12);
    }
}

/// A cutter seen N times a turn, one tooth on a slow feed, is a sine sampled at
/// N phases: what is missed of its reach is the table's loss.
#[test]
fn a_standing_angle_misses_the_peak_as_tabled() {
    for row in table(include_str!("../data/reference/sine_sampling_loss.csv")) {
        let (n, worst, mean) = (row[0], row[1], row[2]);
        assert!((1.0 - (PI / n).cos() - worst).abs() < 1e-14);
        assert!((1.0 - n / PI * (PI / n).sin() - mean).abs() < 1e-14);
        // A standing cutter of N teeth turned to even angles: how far its
        // reach falls short of the radius.
        let teeth = n as u32;
        let short = |turn: f64| {
            (0..teeth)
                .map(|k| 1.0 - (TAU * (turn + f64::from(k) / n)).cos())
                .fold(f64::INFINITY, f64::min)
        };
        let angles = 20_000;
        let shorts: Vec<f64> = (0..angles)
            .map(|k| short((f64::from(k) + 0.5) / f64::from(angles) / n))
            .collect();
        let [found, _, most] = mean_sd_max(&shorts);
        assert!((found / mean - 1.0).abs() < 1e-4, "{n} {found} {mean}");
        assert!((most / worst - 1.0).abs() < 2e-3, "{n} {most} {worst}");
    }
}
