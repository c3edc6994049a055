//! Speed of the Monte Carlo: touches a second on one thread and on two, and
//! against NumPy and SciPy doing the same touches vectorised.
//!
//! `cargo bench --bench sweep_speed [-- PYTHON]`: PYTHON (python3) must have
//! numpy and scipy; without it only the threads are compared. What each side
//! computes stands in `numpy_sweep.py`. Exit 1 when a goal is missed.

use std::collections::BTreeMap;
use std::process::{Command, ExitCode};
use std::time::Instant;

use trueonset::barrier::Method;
use trueonset_sim::study::runner::{self, Cell, Plan, Station};
use trueonset_sim::study::sampled::{run_sampled, SampledCell};

/// Simulates so many touches; the spread of their onsets, nm.
type Part<'a> = &'a (dyn Fn(u64) -> f64 + Sync);

/// Touches a second on `threads` threads, the best of three; and the spread, nm.
fn measure(threads: usize, touches: u64, run: Part<'_>) -> (f64, f64) {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let Ok(pool) = pool else {
        return (f64::NAN, f64::NAN);
    };
    let mut best = (0.0, f64::NAN);
    for _ in 0..3 {
        let begin = Instant::now();
        let sd = pool.install(|| run(touches));
        let rate = touches as f64 / begin.elapsed().as_secs_f64();
        if rate > best.0 {
            best = (rate, sd);
        }
    }
    best
}

fn sd(errors: &[f64]) -> f64 {
    let n = errors.len() as f64;
    let mean = errors.iter().sum::<f64>() / n;
    (errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / n).sqrt()
}

fn samples(touches: u64) -> f64 {
    let cell = SampledCell::new(300.0, 60.0, Method::Area);
    let trials = run_sampled(&cell, 1..=touches).unwrap_or_default();
    let found = trials.iter().filter_map(|t| t.trial.found);
    sd(&found.map(|found| found.error_nm).collect::<Vec<_>>())
}

fn edges(touches: u64) -> f64 {
    let plan = Plan {
        stations: vec![Station {
            hold_ns: 1_000_000,
            class: true,
            bandwidth_hz: 100_000,
        }],
        seeds: 1..=touches,
        devices: 8,
        school: 4,
        warm_up: 24,
    };
    let trials = runner::run(&Cell::new(300.0, 60.0), &plan).unwrap_or_default();
    let found = trials.iter().flatten().filter_map(|trial| trial.found);
    sd(&found.map(|found| found.error_nm).collect::<Vec<_>>())
}

fn main() -> ExitCode {
    let python = std::env::args()
        .skip(1)
        .find(|word| !word.starts_with("--"));
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/numpy_sweep.py");
    let python = python.unwrap_or_else(|| "python3".to_owned());
    let vectorised = Command::new(&python).arg(script).output();
    let text = vectorised.map_or_else(
        |why| why.to_string(),
        |output| {
            String::from_utf8_lossy(&output.stdout).into_owned()
                + &String::from_utf8_lossy(&output.stderr)
        },
    );
    let theirs: BTreeMap<&str, (f64, f64)> = text
        .lines()
        .filter_map(|line| {
            let mut words = line.split(' ');
            Some((
                words.next()?,
                (words.next()?.parse().ok()?, words.next()?.parse().ok()?),
            ))
        })
        .collect();
    if theirs.is_empty() {
        println!(
            "no comparison with {python}: {}",
            text.lines().last().unwrap_or("")
        );
    }
    let mut missed = 0;
    let parts: [(&str, u64, f64, Part); 2] = [
        ("samples", 10_000, 4.0, &samples),
        ("edges", 100_000, 1.5, &edges),
    ];
    for (name, touches, goal, run) in parts {
        let (one, spread) = measure(1, touches, run);
        let (two, _) = measure(2, touches, run);
        let mut judge = |what: &str, ratio: f64, goal: f64| {
            missed += usize::from(ratio < goal);
            println!("{name}: {what} {ratio:.2} times (wanted {goal})");
        };
        println!("{name}: {one:.0} touches/s on one thread, spread {spread:.2} nm");
        judge("two threads", two / one, 1.8);
        if let Some((rate, spread)) = theirs.get(name) {
            println!("{name}: {python} {rate:.0} touches/s, spread {spread:.2} nm");
            judge("vectorised", one / rate, goal);
        }
    }
    ExitCode::from(u8::from(missed > 0))
}
