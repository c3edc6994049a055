//! Reduced grid of the edge path: the limits of the full grid (host-sim's bench
//! `onset_grid`, its results under results/) at fewer touches and cells, each
//! widened by three standard errors.

use trueonset_sim::study::closed_form::balance_sd;
use trueonset_sim::study::runner::{run, Cell, Plan, Station};
use trueonset_sim::study::summary::Summary;

const MS: u64 = 1_000_000;

/// `n` touches with the seeds 1..n, holds 1 ms and 200 µs side by side.
fn measure(cell: &Cell, class: bool, n: u64) -> [Summary; 2] {
    let plan = Plan {
        stations: [MS, MS / 5]
            .map(|hold_ns| Station {
                hold_ns,
                class,
                bandwidth_hz: cell.corner as u32,
            })
            .to_vec(),
        seeds: 1..=n,
        devices: 4,
        school: 40,
        warm_up: if cell.k() < 20.0 { 300 } else { 2 },
    };
    let trials = run(cell, &plan).unwrap();
    let both = [Summary::of(&trials[0]), Summary::of(&trials[1])];
    for s in &both {
        assert_eq!((s.missed, s.false_touches, s.trials), (0, 0, n));
    }
    both
}

fn assert_within(what: &str, value: f64, error: f64, low: f64, high: f64) {
    assert!(
        value >= low - 3.0 * error && value <= high + 3.0 * error,
        "{what}: {value:.4} +- {error:.4} is not within {low} to {high}"
    );
}

/// Share within two doubts and the doubt against the spread.
fn assert_honest(what: &str, s: &Summary, high: f64, ratio: f64) {
    assert_within(what, s.inside.value(), s.inside.error(), 0.94, high);
    let doubt = s.doubt_rms / s.error.sd();
    let error = doubt * s.error.sd_error() / s.error.sd();
    assert_within(what, doubt, error, 1.0, ratio);
}

#[test]
fn bias_spread_and_doubt_hold_where_there_is_chatter() {
    for (feed, snr, n) in [
        (10.0, 40.0, 400),
        (60.0, 40.0, 1_500),
        (300.0, 40.0, 4_000),
        (1000.0, 40.0, 4_000),
        (5000.0, 40.0, 4_000),
        (60.0, 60.0, 4_000),
        (300.0, 60.0, 4_000),
    ] {
        let cell = Cell::new(feed, snr);
        let closed = balance_sd(cell.order, cell.k()) * cell.light().sigma_x() * 1e9;
        for (s, hold) in measure(&cell, false, n).iter().zip(["1 ms", "200 us"]) {
            let what = format!("{feed} mm/min, {snr} dB, {hold}");
            assert_honest(&what, s, 0.97, 1.3);
            assert_within(&what, s.error.mean(), s.error.mean_error(), -3.0, 3.0);
            if hold == "1 ms" {
                let error = s.error.sd_error() / closed;
                assert_within(&what, s.balance.sd() / closed, error, 0.95, 1.05);
                assert_within(&what, s.error.sd() / closed, error, 0.95, 1.08);
            }
            // The reason for all this: both simple methods move with the feed.
            if feed <= 300.0 {
                assert!(s.first.mean() < -20.0 && s.run.mean() > 20.0, "{what}");
            }
        }
    }
}

#[test]
fn few_edges_are_an_upper_bound_and_a_feed_class_makes_them_honest() {
    for (feed, snr) in [(1000.0, 60.0), (1000.0, 70.0)] {
        let cell = Cell::new(feed, snr);
        for s in measure(&cell, true, 3_000) {
            assert_honest(&format!("{feed} mm/min, {snr} dB, class"), &s, 0.97, 1.3);
        }
    }
    let cell = Cell::new(5000.0, 70.0);
    for s in measure(&cell, false, 2_000) {
        assert_honest("5000 mm/min, 70 dB", &s, 1.0, f64::INFINITY);
        assert_eq!(s.upper.hits, s.upper.trials);
    }
}

#[test]
fn hysteresis_order_and_spikes_do_not_break_the_doubt() {
    for (hysteresis, order) in [(0.5, 4), (1.0, 4), (0.0, 2), (0.0, 8)] {
        let cell = Cell {
            hysteresis,
            order,
            ..Cell::new(300.0, 40.0)
        };
        let what = format!("half hysteresis {hysteresis}, order {order}");
        let [s, _] = measure(&cell, false, 3_000);
        let inside = s.inside_calibrated;
        assert_within(&what, inside.value(), inside.error(), 0.93, 1.0);
    }
    for feed in [60.0, 1000.0] {
        let cell = Cell {
            glitches: 100.0,
            ..Cell::new(feed, 60.0)
        };
        for s in measure(&cell, false, 3_000) {
            let what = format!("100 spikes a second, {feed} mm/min");
            assert_within(&what, s.inside.value(), s.inside.error(), 0.95, 1.0);
        }
    }
}

#[test]
fn threads_do_not_change_a_result() {
    let cell = Cell::new(1000.0, 60.0);
    let plan = Plan {
        stations: vec![Station {
            hold_ns: MS,
            class: true,
            bandwidth_hz: 100_000,
        }],
        seeds: 1..=200,
        devices: 6,
        school: 5,
        warm_up: 5,
    };
    let with = |threads| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| run(&cell, &plan).unwrap())
    };
    assert_eq!(with(1), with(4));
}
