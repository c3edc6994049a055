//! `simulate` as its users meet it.

mod common;

use common::{code, err, out, scenario, text};
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(args)
        .output()
        .unwrap()
}

#[test]
fn a_drawn_log_replays_to_its_truth() {
    let (_folder, path) = scenario(
        "[approach]\nfeed = \"60mm/min\"\nlength_doubt = \"0.2mm\"\n[barrier]\nsnr = \"50dB\"\n[capture]\ntick = \"16MHz\"\n",
    );
    for name in ["edges.csv", "edges.vcd"] {
        let args = [
            "simulate",
            &path("s.toml"),
            "--touches",
            "12",
            "--log",
            &path(name),
            "--truth",
            &path("t.csv"),
        ];
        let made = run(&args);
        assert_eq!(code(&made), 0, "{}", err(&made));
        assert!(out(&made).contains("12 simulated touches"));
        let replayed = run(&["replay", &path(name), "--config", &path("s.toml"), "--csv"]);
        assert_eq!(code(&replayed), 0, "{}", err(&replayed));
        let column = |table: &str, wanted: &str| -> Vec<i64> {
            let mut lines = table.lines();
            let at = lines
                .next()
                .unwrap()
                .split(',')
                .position(|name| name == wanted)
                .unwrap();
            lines
                .map(|line| line.split(',').nth(at).unwrap().parse().unwrap())
                .collect()
        };
        let truth = std::fs::read_to_string(path("t.csv")).unwrap();
        assert_eq!(
            truth.lines().next(),
            Some("touch,onset_ns,release_ns,feed_nm_s")
        );
        assert_eq!(column(&truth, "feed_nm_s"), [1_000_000; 12]);
        for wanted in ["onset_ns", "release_ns"] {
            let (want, got) = (column(&truth, wanted), column(&out(&replayed), wanted));
            assert_eq!(want.len(), got.len());
            // 256 nm of noise, of which the balance point leaves about 23 nm, 23 us at this feed.
            for (want, got) in want.iter().zip(&got) {
                assert!((want - got).abs() < 150_000, "{wanted}: {want} {got}");
            }
        }
    }
}

#[test]
fn same_seed_same_bytes_and_a_longer_log_begins_alike() {
    let (_folder, path) = scenario("[disturbance]\nglitches_per_s = 50\n");
    let log = |name: &str, touches: &str, seed: &str| {
        let made = run(&[
            "simulate",
            &path("s.toml"),
            "--touches",
            touches,
            "--seed",
            seed,
            "--log",
            &path(name),
        ]);
        assert_eq!(code(&made), 0, "{}", err(&made));
        std::fs::read_to_string(path(name)).unwrap()
    };
    let (a, b, c, d) = (
        log("a.csv", "5", "7"),
        log("b.csv", "5", "7"),
        log("c.csv", "5", "8"),
        log("d.csv", "6", "7"),
    );
    assert_eq!(a, b);
    assert_ne!(a, c);
    let without_end = a.trim_end().rsplit_once('\n').unwrap().0;
    assert!(d.starts_with(without_end));
}

#[test]
fn a_log_on_stdout_stands_alone() {
    let (_folder, path) = scenario("");
    let made = run(&["simulate", &path("s.toml"), "--touches", "1", "--log", "-"]);
    assert!(out(&made).starts_with("time_ns,line,level\n0,probe,0\n"));
    assert!(out(&made).lines().all(|line| line.split(',').count() == 3));
    assert!(err(&made).contains("1 simulated touches"));
}

#[test]
fn what_does_not_act_is_told_once() {
    let (_folder, path) = scenario("[link]\nmedium = \"radio\"\n[tool]\ndiameter = \"0.05mm\"\n");
    let made = run(&["simulate", &path("s.toml"), "--touches", "1"]);
    assert_eq!(code(&made), 0);
    assert_eq!(err(&made).matches("link.medium").count(), 1);
    assert!(err(&made).contains("tool.diameter"));
}

#[test]
fn bad_scenarios_get_place_reason_and_remedy() {
    for (toml, wanted) in [
        ("[barrier]\nspan = \"0um\"\n", "barrier.span"),
        ("[barrier]\nspam = \"150um\"\n", "did you mean span?"),
        ("[barrier]\nhysteresis = 600\n", "at most 493.5 makes sense"),
        ("[barrier]\nhysteresis = nan\n", "finite"),
        ("[barrier]\nsnr = \"-3dB\"\n", "20dB"),
        ("[approach]\nfeed = \"nanmm/min\"\n", "approach.feed"),
        ("[approach]\nfeed = \"-1mm/min\"\n", "0.001mm/min"),
        ("[approach]\nfeed = \"1e15m/s\"\n", "approach.feed"),
        ("[sampling]\nrate = \"200Hz\"\n", "1kHz to 16MHz"),
        (
            "[approach]\nfeed = \"60m/min\"\n[sampling]\nrate = \"1kHz\"\n",
            "makes sense",
        ),
        ("[onset\n", ":1:"),
        ("barrier = 3\n", "table"),
    ] {
        let (_folder, path) = scenario(toml);
        let made = run(&["simulate", &path("s.toml"), "--touches", "1"]);
        assert_eq!(code(&made), 2, "{toml}");
        assert!(err(&made).contains(wanted), "{toml}: {}", err(&made));
    }
    let (_folder, path) = scenario("");
    let odd = run(&["simulate", &path("s.toml"), "--log", &path("x.txt")]);
    assert_eq!(code(&odd), 2);
    let same = run(&[
        "simulate",
        &path("s.toml"),
        "--log",
        &path("x.csv"),
        "--truth",
        &path("x.csv"),
    ]);
    assert!(code(&same) == 2 && err(&same).contains("the same file for --log and --truth"));
    assert_eq!(code(&run(&["simulate", &path("none.toml")])), 2);
}

#[test]
fn every_example_is_marked_invented_and_runs() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/scenarios");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let toml = std::fs::read_to_string(&path).unwrap();
        assert!(toml.starts_with("# Invented"), "{}", path.display());
        let made = run(&["simulate", &text(&path), "--touches", "2"]);
        assert_eq!(code(&made), 0, "{}", err(&made));
        seen += 1;
    }
    assert_eq!(seen, 8);
}

#[test]
fn lines_behind_a_link_replay_to_the_truth_a_delay_later() {
    let (_folder, path) = scenario("");
    let toml = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../examples/scenarios/wireless-probe.toml"
    );
    let made = |lines: &str, seed: &str| {
        let made = run(&[
            "simulate",
            toml,
            "--touches",
            "8",
            "--seed",
            seed,
            "--truth",
            &path("t.csv"),
            "--lines",
            &path(lines),
        ]);
        assert_eq!(code(&made), 0, "{}", err(&made));
        assert!(out(&made).contains("8 touches met READY"), "{}", out(&made));
        assert!(out(&made).contains("not a safety function"));
        assert!(!err(&made).contains("without effect"), "{}", err(&made));
        std::fs::read(path(lines)).unwrap()
    };
    assert_eq!(made("a.csv", "3"), made("b.csv", "3"));
    assert_ne!(made("b.csv", "4"), made("a.csv", "3"));
    made("w.vcd", "3");
    for name in ["a.csv", "w.vcd"] {
        // The line falls to stop at a touch.
        let log = path(name);
        let args = ["replay", &log, "--line", "run=low", "--csv"];
        let replayed = run(&args);
        assert_eq!(code(&replayed), 0, "{}", err(&replayed));
        let rows = out(&replayed);
        let truth = std::fs::read_to_string(path("t.csv")).unwrap();
        let onsets = |table: &str| -> Vec<i64> {
            let rows = table.lines().skip(1);
            rows.map(|row| row.split(',').nth(1).unwrap().parse().unwrap())
                .collect()
        };
        let (want, got) = (onsets(&truth), onsets(&rows));
        assert_eq!(want.len(), got.len(), "{rows}");
        for (want, got) in want.iter().zip(&got) {
            // Beside the delay, what the barrier's own noise leaves: 50 nm, 10 us.
            assert!((got - want - 66_000_000).abs() < 60_000, "{want} {got}");
        }
    }
}

#[test]
fn lines_are_refused_where_there_is_no_link_to_carry_them() {
    for (toml, wanted) in [
        ("", "add a table [link]"),
        ("[link]\nmedium = \"wired\"\n", "add a table [link]"),
        ("[link]\n[spindle]\n", "[sampling] or [spindle]"),
        ("[link]\n[sampling]\n", "[sampling] or [spindle]"),
    ] {
        let (_folder, path) = scenario(toml);
        let lines = path("l.csv");
        let made = run(&["simulate", &path("s.toml"), "--lines", &lines]);
        assert_eq!(code(&made), 2, "{toml}");
        assert!(err(&made).contains(wanted), "{toml}: {}", err(&made));
        assert!(!std::path::Path::new(&lines).exists());
    }
    let (_folder, path) = scenario("[link]\n");
    let made = run(&["simulate", &path("s.toml"), "--lines", &path("s.toml")]);
    assert_eq!(code(&made), 2);
    let made = run(&["simulate", &path("s.toml"), "--lines", "-", "--log", "-"]);
    assert!(
        code(&made) == 2 && err(&made).contains("stdout"),
        "{}",
        err(&made)
    );
}

#[test]
fn a_followed_cutter_is_told_with_its_release() {
    let (_folder, path) = scenario("[spindle]\nspeed = \"3000/min\"\nteeth = 2\n");
    let log = path("hits.csv");
    let toml = path("s.toml");
    let made = run(&["simulate", &toml, "--touches", "2", "--log", &log]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    let followed = run(&["replay", &log, "--follow", "--config", &toml]);
    assert_eq!(code(&followed), 0, "{}", err(&followed));
    let said = out(&followed);
    let releases: Vec<_> = said
        .lines()
        .filter(|line| line.contains("\"release\""))
        .collect();
    assert_eq!(releases.len(), 2, "{said}");
    for release in releases {
        assert!(release.contains("\"cutter\":{"), "{release}");
        assert!(!release.contains("short_hold"), "{release}");
    }
}

#[test]
fn hits_of_the_turning_cutter_become_one_touch_each() {
    let (_folder, path) = scenario("");
    let cutter = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../examples/scenarios/side-touch-cutter.toml"
    );
    let args = [
        "simulate",
        cutter,
        "--touches",
        "4",
        "--log",
        &path("e.csv"),
    ];
    assert_eq!(code(&run(&args)), 0);
    let merged = run(&["replay", &path("e.csv"), "--config", cutter, "--csv"]);
    assert_eq!(code(&merged), 0, "{}", err(&merged));
    assert_eq!(out(&merged).lines().count(), 5, "{}", out(&merged));
    assert!(out(&merged)
        .lines()
        .skip(1)
        .all(|row| row.contains("interrupted")));
    assert!(err(&merged).contains("hits of 20us"), "{}", err(&merged));
    // For people, what the hits told stands below; for machines, in the row.
    let people = out(&run(&["replay", &path("e.csv"), "--config", cutter]));
    assert!(people.contains("deepest tooth"), "{people}");
    let lines = out(&run(&[
        "replay",
        &path("e.csv"),
        "--config",
        cutter,
        "--json",
    ]));
    assert!(lines
        .lines()
        .all(|row| row.contains("\"tooth_period_ns\":")));
    std::fs::write(
        path("fast.toml"),
        "[spindle]\nspeed = \"200000/min\"\nteeth = 8\n",
    )
    .unwrap();
    let fast = run(&["replay", &path("e.csv"), "--config", &path("fast.toml")]);
    assert_eq!(code(&fast), 2);
    assert!(err(&fast).contains("80us a tooth"), "{}", err(&fast));
}
