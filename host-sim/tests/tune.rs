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
    simulate_about(path, feed, seed, "0nm")
}

/// The same with the place of contact spread over twice `about`.
fn simulate_about(
    path: &dyn Fn(&str) -> String,
    feed: &str,
    seed: &str,
    about: &str,
) -> (String, String) {
    let toml = format!(
        "[approach]\nfeed = \"{feed}\"\nlength_doubt = \"{about}\"\ndepth = \"5um\"\nclearance = \"200um\"\n[barrier]\nhysteresis = 1\n"
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
        said.contains("delay") && said.contains("not a safety function"),
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
    let uneven = run(&["tune", &log, &log, "--truth", &truth]);
    assert_eq!(code(&uneven), 2);
    assert!(
        err(&uneven).contains("one --truth for each log"),
        "{}",
        err(&uneven)
    );
    let silent = path("silent.csv");
    std::fs::write(&silent, "time_ns,line,level\n0,probe,0\n9000000,probe,0\n").unwrap();
    let nothing = run(&["tune", &silent]);
    assert_eq!(code(&nothing), 2);
    assert!(
        err(&nothing).contains(&silent) && err(&nothing).contains("no touch at any hold"),
        "{}",
        err(&nothing)
    );
    let piped = run(&["tune", "-"]);
    assert_eq!(code(&piped), 2);
    assert!(
        err(&piped).contains("save the stream first"),
        "{}",
        err(&piped)
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

/// Two feeds cannot show the turn: said, and no offset is taken off at a feed not stated.
#[test]
fn two_feeds_say_that_the_turn_is_assumed() {
    let (_folder, path) = scenario("");
    let (slow, slow_truth) = simulate(&path, "300mm/min", "7");
    let (fast, fast_truth) = simulate(&path, "5000mm/min", "7");
    let config = path("two.toml");
    let tuned = run(&[
        "tune",
        &slow,
        &fast,
        "--truth",
        &slow_truth,
        "--truth",
        &fast_truth,
        "--config",
        &config,
    ]);
    assert_eq!(code(&tuned), 0, "{}", err(&tuned));
    assert!(out(&tuned).contains("is assumed"), "{}", out(&tuned));
    let written = std::fs::read_to_string(&config).unwrap();
    assert!(written.contains("turn_found = \"no\""), "{written}");
    // The file holds what was printed, to the last digit.
    let replayed = run(&["replay", &fast, "--config", &config, "--csv"]);
    assert_eq!(code(&replayed), 0, "{}", err(&replayed));
}

#[test]
fn the_truth_of_another_log_is_found_out() {
    let (_folder, path) = scenario("");
    let (log, truth) = simulate_about(&path, "300mm/min", "7", "20um");
    let (_, other) = simulate_about(&path, "300mm/min", "9", "20um");
    let (fast, fast_truth) = simulate(&path, "5000mm/min", "7");
    let swapped = run(&[
        "tune",
        &log,
        &fast,
        "--truth",
        &fast_truth,
        "--truth",
        &truth,
    ]);
    assert_eq!(code(&swapped), 2);
    let wrong = run(&[
        "tune",
        &log,
        &fast,
        "--truth",
        &other,
        "--truth",
        &fast_truth,
    ]);
    assert_eq!(code(&wrong), 2, "{}", out(&wrong));
    assert!(
        err(&wrong).contains("do not follow this truth") && err(&wrong).contains(&other),
        "{}",
        err(&wrong)
    );
}

/// A calibration that takes off more than the log shows: drawn from the log's begin, and told.
#[test]
fn waves_begin_with_their_log_whatever_is_taken_off() {
    let (_folder, path) = scenario("");
    let log = path("early.csv");
    std::fs::write(
        &log,
        "time_ns,line,level\n0,probe,0\n100000,probe,1\n9000000,probe,0\n19000000,probe,1\n",
    )
    .unwrap();
    let config = path("late.toml");
    std::fs::write(&config, "[calibration]\ndelay = \"1ms\"\n").unwrap();
    let waves = path("waves.vcd");
    let replayed = run(&[
        "replay", &log, "--config", &config, "--waves", &waves, "--csv",
    ]);
    assert_eq!(code(&replayed), 0, "{}", err(&replayed));
    assert!(
        err(&replayed).contains("1 onsets lie before the log begins"),
        "{}",
        err(&replayed)
    );
    assert!(std::fs::read_to_string(&waves).unwrap().contains("#0\n"));
    // A line that begins later is drawn from its own begin on.
    let two = path("two-lines.csv");
    std::fs::write(
        &two,
        "time_ns,line,level\n0,a,0\n5000000,b,0\n5100000,b,1\n9000000,b,0\n19000000,a,1\n",
    )
    .unwrap();
    let replayed = run(&["replay", &two, "--config", &config, "--waves", &waves]);
    assert_eq!(code(&replayed), 0, "{}", err(&replayed));
    // Neither is a table guessed at.
    std::fs::write(&config, "[calibration]\noffset = \"40nm\"\n").unwrap();
    let guessed = run(&["replay", &log, "--config", &config]);
    assert_eq!(code(&guessed), 2);
    assert!(
        err(&guessed).contains("calibration.turn"),
        "{}",
        err(&guessed)
    );
}

#[test]
fn light_has_a_lateness_but_no_constants() {
    let (_folder, path) = scenario("[sampling]\n");
    let (log, truth) = (path("light.csv"), path("light-truth.csv"));
    let made = run(&[
        "simulate",
        &path("s.toml"),
        "--touches",
        "5",
        "--log",
        &log,
        "--truth",
        &truth,
    ]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    assert!(std::fs::read_to_string(&log)
        .unwrap()
        .starts_with("time_ns,line,counts"));
    let tuned = run(&["tune", &log, "--truth", &truth, "--json"]);
    assert_eq!(code(&tuned), 0, "{}", err(&tuned));
    assert!(out(&tuned).contains("late_nm") && !out(&tuned).contains("delay_ns"));
    assert!(!err(&tuned).contains("bandwidth"), "{}", err(&tuned));
    let config = path("light.toml");
    let kept = run(&["tune", &log, "--truth", &truth, "--config", &config]);
    assert_eq!(code(&kept), 2);
    assert!(!std::path::Path::new(&config).exists());
}
