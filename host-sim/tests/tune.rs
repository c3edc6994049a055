//! `tune` as its users meet it: logs with truth in, constants out, applied by `replay`.

mod common;

use common::{code, err, out, scenario};
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(args)
        .output()
        .unwrap()
}

/// Column of a CSV.
fn column(table: &str, wanted: &str) -> Vec<i64> {
    let mut lines = table.lines();
    let mut names = lines.next().unwrap().split(',');
    let at = names.position(|name| name == wanted).unwrap();
    lines
        .map(|line| line.split(',').nth(at).unwrap().parse().unwrap())
        .collect()
}

/// A log with its truth at a feed, named after both.
fn simulate(path: &dyn Fn(&str) -> String, feed: &str, seed: &str) -> (String, String) {
    let toml = format!(
        "[approach]\nfeed = \"{feed}\"\ndepth = \"5um\"\nclearance = \"200um\"\n[barrier]\nhysteresis = 1\n"
    );
    std::fs::write(path("feed.toml"), toml).unwrap();
    let name = feed.replace('/', "_");
    let (log, truth) = (
        path(&format!("{name}-{seed}.csv")),
        path(&format!("{name}-{seed}-truth.csv")),
    );
    let made = run(&[
        "simulate",
        &path("feed.toml"),
        "--touches",
        "400",
        "--seed",
        seed,
        "--log",
        &log,
        "--truth",
        &truth,
    ]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    (log, truth)
}

const FEEDS: [&str; 4] = ["60mm/min", "300mm/min", "1000mm/min", "5000mm/min"];

/// Mean error of the onsets of a log, nm.
fn mean_nm(log: &str, truth: &str, more: &[&str]) -> f64 {
    let replayed = run(&[&["replay", log, "--csv"], more].concat());
    assert_eq!(code(&replayed), 0, "{}", err(&replayed));
    let truth = std::fs::read_to_string(truth).unwrap();
    let feed = column(&truth, "feed_nm_s")[0] as f64;
    let (want, got) = (
        column(&truth, "onset_ns"),
        column(&out(&replayed), "onset_ns"),
    );
    assert_eq!(want.len(), got.len());
    let late: i64 = got.iter().zip(&want).map(|(got, want)| got - want).sum();
    late as f64 / want.len() as f64 * feed * 1e-9
}

#[test]
fn a_calibrated_comparator_is_as_late_at_every_feed() {
    let (_folder, path) = scenario("");
    let made: Vec<_> = FEEDS
        .iter()
        .map(|feed| simulate(&path, feed, "7"))
        .collect();
    let mut args = vec!["tune"];
    args.extend(made.iter().map(|(log, _)| log.as_str()));
    for (_, truth) in &made {
        args.extend(["--truth", truth]);
    }
    let out_file = path("constants.toml");
    args.extend(["--config", &out_file, "--bandwidth", "100kHz"]);
    let tuned = run(&args);
    assert_eq!(code(&tuned), 0, "{}", err(&tuned));
    let said = out(&tuned);
    assert!(
        said.contains("delay") && said.contains("not a safety device"),
        "{said}"
    );
    let constants = std::fs::read_to_string(&out_file).unwrap();
    let (mut raw, mut corrected) = (Vec::new(), Vec::new());
    for feed in FEEDS {
        let (log, truth) = simulate(&path, feed, "8");
        let config = path("with-feed.toml");
        std::fs::write(
            &config,
            format!("{constants}[approach]\nfeed = \"{feed}\"\n"),
        )
        .unwrap();
        raw.push(mean_nm(&log, &truth, &[]));
        corrected.push(mean_nm(&log, &truth, &["--config", &config]));
    }
    let apart = |means: &[f64]| {
        let most = means.iter().copied().fold(f64::MIN, f64::max);
        most - means.iter().copied().fold(f64::MAX, f64::min)
    };
    // 81 nm of hysteresis; at the fastest feed a mean of 400 has a standard error of 4 nm, and
    // the calibration as much.
    assert!(apart(&raw) > 60.0, "{raw:?}");
    assert!(apart(&corrected) < 25.0, "{corrected:?}");
    assert!(
        corrected.iter().all(|mean| mean.abs() < 25.0),
        "{corrected:?}"
    );
}

#[test]
fn what_is_missing_is_named() {
    let (_folder, path) = scenario("");
    let (log, truth) = simulate(&path, "1000mm/min", "7");
    let none = run(&["tune", &log]);
    assert_eq!(code(&none), 2);
    assert!(
        err(&none).contains("one --truth for each log"),
        "{}",
        err(&none)
    );
    let one = run(&["tune", &log, "--truth", &truth]);
    assert_eq!(code(&one), 2);
    assert!(err(&one).contains("fewer than two feeds"), "{}", err(&one));
    let over = run(&["tune", &log, "--truth", &truth, "--config", &truth]);
    assert_eq!(code(&over), 2);
    assert!(std::fs::read_to_string(&truth)
        .unwrap()
        .starts_with("touch,"));
    let json = run(&["replay", &log, "--config", &truth]);
    assert_eq!(code(&json), 2);
    std::fs::write(path("c.toml"), "[calibration]\nturn = \"0nm/s\"\n").unwrap();
    let turn = run(&["replay", &log, "--config", &path("c.toml")]);
    assert_eq!(code(&turn), 2);
    assert!(err(&turn).contains("calibration.turn"), "{}", err(&turn));
}
