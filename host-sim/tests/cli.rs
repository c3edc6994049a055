//! The program as its users meet it: exit codes, streams, files.

mod common;

use common::{code, err, out, scenario, text};
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Output, Stdio};

const HEADER: &str =
    "line,onset_ns,doubt_ns,first_edge_ns,last_edge_ns,edges,confirmed_ns,release_ns,release_doubt_ns,flags";

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_trueonset"))
}

fn run(args: &[&str]) -> Output {
    program().args(args).output().unwrap()
}

/// Runs with `input` on stdin.
fn feed(args: &[&str], input: &str) -> Output {
    let mut child = program()
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // Beside the reading of its output, or both would wait for each other.
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_owned();
    let writing = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().unwrap();
    // What refuses its arguments does not wait for its input.
    if let Err(why) = writing.join().unwrap() {
        assert_eq!(why.kind(), std::io::ErrorKind::BrokenPipe);
    }
    output
}

/// Two clean touches on line `beam`, 10 ms each.
const TWO: &str =
    "time_ns,line,level\n0,beam,0\n20000000,beam,1\n30000000,beam,0\n50000000,beam,1\n\
                   60000000,beam,0\n80000000,beam,0\n";

#[test]
fn help_and_version_hold_and_usage_cannot() {
    assert_eq!(code(&run(&["--help"])), 0);
    assert_eq!(code(&run(&["--version"])), 0);
    assert_eq!(code(&run(&[])), 2);
    assert_eq!(code(&run(&["replay", "no-such-log.csv"])), 2);
    assert_eq!(code(&run(&["replay", "-", "--hold", "5"])), 2);
    assert_eq!(code(&run(&["--threads", "0", "manual"])), 2);
}

#[test]
fn completions_and_manual_know_every_verb() {
    let manual = out(&run(&["manual"]));
    let completions = out(&run(&["completions", "bash"]));
    for verb in ["demo", "replay", "describe", "convert", "check", "rig"] {
        assert!(manual.contains(&format!(".TH trueonset-{verb}")), "{verb}");
        assert!(completions.contains(verb));
    }
}

#[test]
fn csv_has_one_header_and_the_last_line_of_talk_adds_up() {
    let output = feed(&["replay", "-", "--csv"], TWO);
    assert_eq!(code(&output), 0);
    let table = out(&output);
    assert_eq!(table.lines().next(), Some(HEADER));
    assert_eq!(table.lines().count(), 3);
    let talk = err(&output);
    let last = talk.lines().last().unwrap();
    assert_eq!(
        last,
        "edges in 5 = touches 2 + releases 2 + glitches 0 + initial 1 + refused 0"
    );
}

#[test]
fn an_unknown_line_is_an_error_that_lists_the_known_ones() {
    let output = feed(&["replay", "-", "--line", "bean"], TWO);
    assert_eq!(code(&output), 2);
    assert!(err(&output).contains("beam"), "{}", err(&output));
}

#[test]
fn a_reader_that_leaves_early_ends_it_quietly() {
    let mut log = String::from("time_ns,line,level\n0,beam,0\n");
    for touch in 1..20_000_u64 {
        log += &format!(
            "{},beam,1\n{},beam,0\n",
            touch * 20_000_000,
            touch * 20_000_000 + 10_000_000
        );
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.csv");
    std::fs::write(&path, log).unwrap();
    let mut child = program()
        .args(["replay", &text(&path), "--csv"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut few = [0; 16];
    child.stdout.take().unwrap().read_exact(&mut few).unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(code(&output), 0);
    assert!(!err(&output).contains("error"), "{}", err(&output));
}

#[test]
fn a_damaged_log_is_judged_up_to_the_damage() {
    let damaged = TWO.replace("60000000,beam,0", "60000000,beam,7");
    for args in [
        &["replay", "-", "--csv"][..],
        &["replay", "-", "--json"],
        &["describe", "-"],
        &["convert", "-", "-", "--to", "csv"],
    ] {
        let output = feed(args, &damaged);
        assert_eq!(code(&output), 2, "{args:?}");
        assert!(out(&output).contains("beam"), "{args:?}");
        assert!(
            err(&output).contains("stdin:6: found `7` as level"),
            "{args:?}: {}",
            err(&output)
        );
    }
    assert_eq!(
        out(&feed(&["replay", "-", "--csv"], &damaged))
            .lines()
            .count(),
        2,
        "header and first touch; the second hold is unfinished where the damage begins"
    );
}

#[test]
fn follow_tells_every_event() {
    let output = feed(&["replay", "-", "--follow"], TWO);
    assert_eq!(code(&output), 0);
    let events: Vec<serde_json::Value> = out(&output)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let words: Vec<&str> = events
        .iter()
        .map(|event| event["event"].as_str().unwrap())
        .collect();
    assert_eq!(words, ["touch", "release", "touch", "release"]);
    assert_eq!(events[0]["line"], "beam");
}

#[test]
fn follow_does_not_wait_for_the_end() {
    let mut child = program()
        .args(["replay", "-", "--follow"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    input.write_all(TWO.as_bytes()).unwrap();
    input.flush().unwrap();
    // The stream is still open, and yet the first event is there.
    let mut first = [0; 8];
    child
        .stdout
        .as_mut()
        .unwrap()
        .read_exact(&mut first)
        .unwrap();
    assert_eq!(first[0], b'{');
    drop(input);
    assert!(child.wait_with_output().unwrap().status.success());
}

#[test]
fn describe_has_the_promised_keys() {
    let output = feed(&["describe", "-", "--json"], TWO);
    let page: serde_json::Value = serde_json::from_str(&out(&output)).unwrap();
    assert_eq!(page["format"], "csv");
    assert_eq!(page["duration_ns"], 80_000_000);
    let line = &page["lines"][0];
    assert_eq!(
        (&line["name"], &line["initial"], &line["edges"]),
        (&"beam".into(), &"low".into(), &4.into())
    );
    assert_eq!(
        (&line["high_ns"], &line["low_ns"]),
        (&20_000_000.into(), &60_000_000.into())
    );
    for key in [
        "shortest_high_ns",
        "shortest_low_ns",
        "glitches",
        "unknown_ns",
    ] {
        assert!(line[key].is_u64(), "{key}");
    }
}

#[test]
fn convert_there_and_back_keeps_the_touches() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    std::fs::write(path("a.csv"), TWO).unwrap();
    assert_eq!(code(&run(&["convert", &path("a.csv"), &path("b.vcd")])), 0);
    assert_eq!(code(&run(&["convert", &path("b.vcd"), &path("c.csv")])), 0);
    assert_eq!(
        out(&run(&["replay", &path("a.csv"), "--csv"])),
        out(&run(&["replay", &path("c.csv"), "--csv"]))
    );
    assert_eq!(code(&run(&["convert", &path("a.csv"), &path("d.tpk")])), 2);
    assert_eq!(code(&run(&["convert", &path("a.csv"), "-"])), 2);
    assert_eq!(code(&run(&["convert", &path("a.csv"), &path("a.csv")])), 2);
    assert_eq!(std::fs::read_to_string(path("a.csv")).unwrap(), TWO);
}

#[test]
fn the_demo_s_touches_reach_the_lines_a_delay_later() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let demo = run(&["demo", "--out", &text(folder.path())]);
    assert_eq!(code(&demo), 0, "{}", err(&demo));
    assert!(out(&demo).contains("not a safety function"));
    let touches = std::fs::read_to_string(path("touches.csv")).unwrap();
    let page = std::fs::read_to_string(path("report.html")).unwrap();
    // Each touch at the line is a delay behind the onset that the replay found, within the stated bound.
    let air = std::fs::read_to_string(path("air.csv")).unwrap();
    assert_eq!(
        air.lines().next(),
        Some("touch,contact_ns,stop_ns,onset_ns,bound_ns,remarks")
    );
    assert_eq!(air.lines().count(), touches.lines().count());
    for (row, touch) in air.lines().zip(touches.lines()).skip(1) {
        let onset_ns: i64 = touch.split(',').nth(1).unwrap().parse().unwrap();
        let row: Vec<_> = row.split(',').collect();
        let [stop_ns, told_ns, bound_ns] = [2, 3, 4].map(|k| row[k].parse::<i64>().unwrap());
        assert!((told_ns - onset_ns).abs() <= bound_ns, "{row:?}");
        assert!(
            (stop_ns - onset_ns - 48_000_000).abs() <= bound_ns + 63,
            "{row:?}"
        );
        assert_eq!(row[5], "");
    }
    for wanted in [
        "From contact to the line",
        "against onset + D",
        "receiver&#39;s clock",
        "no performance level is claimed",
    ] {
        assert!(page.contains(wanted), "{wanted}");
    }
    let swept = run(&["sweep", &path("link.toml"), "--trials", "40", "--csv"]);
    assert_eq!(code(&swept), 0, "{}", err(&swept));
}

/// The demo ends with what the touches are for, and `gauge` judges the same files alike.
#[test]
fn the_demo_ends_with_tools_and_their_verdicts() {
    let folder = tempfile::tempdir().unwrap();
    let tools = folder.path().join("tools");
    let begun = std::time::Instant::now();
    let demo = run(&["demo", "--out", &text(folder.path()), "--seed", "3"]);
    assert!(begun.elapsed().as_secs() < 10);
    assert_eq!(code(&demo), 0, "{}", err(&demo));
    let told = out(&demo);
    let page = std::fs::read_to_string(folder.path().join("report.html")).unwrap();
    for (name, verdict, exit, true_nm) in [
        ("1-new", "measured", 0, Some(30_012_300.0)),
        ("1-after", "whole", 0, Some(30_008_200.0)),
        ("2-after", "broken (short)", 1, Some(25_320_000.0)),
        ("3-after", "unproven (silent)", 2, None),
    ] {
        assert!(
            told.contains(verdict) && page.contains(verdict),
            "{verdict}"
        );
        let at = |end: &str| text(&tools.join(format!("{name}.{end}")));
        let (plan, touches, axis) = (at("toml"), at("csv"), at("axis.csv"));
        let mut args = vec!["gauge", &plan, &touches, "--json"];
        if true_nm.is_some() {
            args.extend(["--axis", &axis]);
        }
        let judged = run(&args);
        assert_eq!(code(&judged), exit, "{name}: {}", err(&judged));
        let found: serde_json::Value = serde_json::from_str(&out(&judged)).unwrap();
        assert_eq!(found["value_nm"].is_null(), true_nm.is_none());
        if let (Some(true_nm), Some(value_nm)) = (true_nm, found["value_nm"].as_f64()) {
            // Chance, but for this seed fixed: within twice its 95 %.
            let expanded_nm = found["expanded_nm"].as_f64().unwrap();
            assert!(
                (value_nm - true_nm).abs() < 2.0 * expanded_nm,
                "{name}: {value_nm}"
            );
            let mm = format!("{:.5}", value_nm / 1e6);
            assert!(told.contains(&mm) && page.contains(&mm), "{mm}");
        }
    }
    let caution = "easuring signal, not a safety function; prove each program at reduced feed with the tool clear; guards \
                   and emergency stop stay in charge";
    for text in [&told, &page] {
        assert!(text.contains(caution) && text.to_lowercase().contains("invented"));
    }
}

#[test]
fn the_demo_is_the_replay_of_its_own_log() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let demo = run(&["demo", "--out", &text(folder.path())]);
    assert_eq!(code(&demo), 0, "{}", err(&demo));
    assert!(out(&demo).contains("invented"));
    let touches = std::fs::read_to_string(path("touches.csv")).unwrap();
    let replayed = run(&[
        "replay",
        &path("edges.csv"),
        "--config",
        &path("replay.toml"),
        "--csv",
    ]);
    assert_eq!(out(&replayed), touches);
    let truth = std::fs::read_to_string(path("truth.csv")).unwrap();
    assert_eq!(
        truth.lines().next(),
        Some("touch,onset_ns,release_ns,feed_nm_s")
    );
    assert_eq!(truth.lines().count(), touches.lines().count());
    let page = std::fs::read_to_string(path("report.html")).unwrap();
    assert!(page.contains("invented") && page.contains("<svg") && !page.contains("<script src"));

    let again = tempfile::tempdir().unwrap();
    run(&["demo", "--out", &text(again.path()), "--threads", "1"]);
    let light = run(&[
        "replay",
        &path("light.csv"),
        "--config",
        &path("light.toml"),
        "--csv",
        "--report",
        &path("light.html"),
    ]);
    assert_eq!(code(&light), 0, "{}", err(&light));
    let touches_of_light = std::fs::read_to_string(path("light_touches.csv")).unwrap();
    assert_eq!(out(&light), touches_of_light);
    assert_eq!(touches_of_light.lines().count(), 5, "{touches_of_light}");
    let picture = std::fs::read_to_string(path("light.html")).unwrap();
    assert!(picture.contains("early onset") && picture.contains("class=\"zone\""));
    for name in [
        "edges.csv",
        "truth.csv",
        "touches.csv",
        "light.csv",
        "light_touches.csv",
        "air.csv",
        "report.html",
    ] {
        let bytes = |folder: &Path| std::fs::read(folder.join(name)).unwrap();
        assert_eq!(bytes(folder.path()), bytes(again.path()), "{name}");
    }

    let check = |expect: &str| {
        run(&[
            "check",
            &path("edges.csv"),
            "--config",
            &path("replay.toml"),
            "--expect",
            expect,
            "--junit",
            &path("junit.xml"),
        ])
    };
    let own = check(&path("touches.csv"));
    assert_eq!(code(&own), 0, "{}", out(&own));
    // One touch is expected 50 us away, beyond what is allowed and nearer than the hold; one is
    // not expected at all.
    let mut rows: Vec<String> = touches.lines().map(str::to_owned).collect();
    let mut fields: Vec<String> = rows[3].split(',').map(str::to_owned).collect();
    fields[1] = (fields[1].parse::<i64>().unwrap() + 50_000).to_string();
    rows[3] = fields.join(",");
    rows.remove(1);
    std::fs::write(path("wrong.csv"), rows.join("\n")).unwrap();
    let wrong = check(&path("wrong.csv"));
    assert_eq!(code(&wrong), 1);
    let told = out(&wrong);
    assert_eq!(
        told.lines()
            .filter(|line| line.starts_with("displaced "))
            .count(),
        1,
        "{told}"
    );
    assert_eq!(
        told.lines()
            .filter(|line| line.starts_with("extra "))
            .count(),
        1,
        "{told}"
    );
    assert!(std::fs::read_to_string(path("junit.xml"))
        .unwrap()
        .contains("failures=\"2\""));
}

#[test]
fn report_and_waves_are_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    std::fs::write(path("a.csv"), TWO).unwrap();
    let output = run(&[
        "replay",
        &path("a.csv"),
        "--report",
        &path("r.html"),
        "--waves",
        &path("w.vcd"),
    ]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    assert!(std::fs::read_to_string(path("r.html"))
        .unwrap()
        .contains("<svg"));
    assert_eq!(code(&run(&["describe", &path("w.vcd")])), 0);
}

#[test]
fn a_configuration_with_an_unknown_key_suggests_the_nearest() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    std::fs::write(path("c.toml"), "[onset]\nhodl = \"1ms\"\n").unwrap();
    let output = feed(&["replay", "-", "--config", &path("c.toml")], TWO);
    assert_eq!(code(&output), 2);
    assert!(
        err(&output).contains("did you mean hold?"),
        "{}",
        err(&output)
    );
}

#[test]
fn no_output_may_destroy_what_is_read_or_another_output() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let (log, expected) = (path("log.csv"), path("expected.csv"));
    std::fs::write(&log, TWO).unwrap();
    std::fs::write(&expected, "line,onset_ns\n").unwrap();
    let other = path("other");
    for args in [
        vec!["replay", &log, "--waves", &log],
        vec!["replay", &log, "--report", &log],
        vec!["replay", &log, "--report", &other, "--waves", &other],
        vec!["replay", &log, "--report", "-"],
        vec!["check", &log, "--expect", &expected, "--junit", &expected],
        vec!["check", &log, "--expect", &expected, "--junit", &log],
        vec!["convert", &log, &log],
    ] {
        let output = run(&args);
        assert_eq!(code(&output), 2, "{args:?} {}", err(&output));
        assert!(err(&output).contains("name a"), "{}", err(&output));
    }
    assert_eq!(std::fs::read_to_string(&log).unwrap(), TWO);
    assert_eq!(
        std::fs::read_to_string(&expected).unwrap(),
        "line,onset_ns\n"
    );
    assert!(!std::path::Path::new(&other).exists());
}

#[test]
fn times_finer_than_a_nanosecond_are_not_lost_in_silence() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let (log, new) = (path("fine.csv"), path("new.csv"));
    std::fs::write(&log, "Time (s),A\n0,0\n0.0010000000005,1\n0.002,0\n").unwrap();
    let output = run(&["convert", &log, &new]);
    assert_eq!(code(&output), 2);
    assert!(err(&output).contains("--lossy"), "{}", err(&output));
    assert!(!std::path::Path::new(&new).exists());
    let output = run(&["convert", &log, &new, "--lossy"]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    assert!(
        err(&output).contains("lost: 1 times rounded"),
        "{}",
        err(&output)
    );
    assert!(std::fs::read_to_string(&new)
        .unwrap()
        .contains("1000000,A,1"));
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

#[test]
fn a_damaged_first_row_does_not_take_the_header_with_it() {
    for row in ["0x,0", "inf,1", "zero,high"] {
        let log = format!("# scope\nTime,A\n{row}\n0.001,1\n0.005,0\n0.010,0\n");
        let output = feed(&["replay", "-", "--csv"], &log);
        assert_eq!(code(&output), 2, "{row}");
        assert!(err(&output).contains(":3: found"), "{}", err(&output));
    }
    // A preamble that looks a little like a header is still one.
    let log = "Time,2026\nModel,X1\nTime [s],A\n0,0\n0.001,1\n0.005,0\n0.010,0\n";
    let output = feed(&["replay", "-", "--csv"], log);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let output = feed(&["replay", "-"], "a,b\nc,d\ne,f\n");
    assert!(
        err(&output).contains(":1: found no header"),
        "{}",
        err(&output)
    );
}

#[test]
fn a_log_that_cannot_be_judged_still_writes_its_verdict() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let (log, expected, junit) = (path("log.csv"), path("expected.csv"), path("junit.xml"));
    std::fs::write(&log, format!("{TWO}rubbish\n")).unwrap();
    std::fs::write(&expected, "line,onset_ns\nbeam,900000000000\n").unwrap();
    let args = ["check", &log, "--expect", &expected, "--junit", &junit];
    let output = run(&args);
    assert_eq!(code(&output), 2);
    assert!(!out(&output).contains("missing"), "{}", out(&output));
    let document = std::fs::read_to_string(&junit).unwrap();
    assert!(document.contains("errors=\"1\"") && document.contains("found `rubbish`"));
    std::fs::remove_file(&log).unwrap();
    assert_eq!(code(&run(&args)), 2);
    assert!(std::fs::read_to_string(&junit)
        .unwrap()
        .contains("errors=\"1\""));
}

#[test]
fn a_negative_quantity_is_named_as_such() {
    for (option, value) in [("--hold", "-1ms"), ("--bandwidth", "-3kHz")] {
        let output = feed(&["replay", "-", option, value], TWO);
        assert_eq!(code(&output), 2);
        let message = err(&output);
        assert!(
            message.contains(value) && !message.contains("unexpected"),
            "{message}"
        );
    }
}

#[test]
fn a_line_that_never_settles_costs_a_bounded_memory_and_is_told() {
    let mut log = String::from("time_ns,line,level\n0,a,0\n0,b,0\n");
    for k in 0..80_000_u64 {
        let at = 1_000_000 + k * 100_000;
        log += &format!("{at},a,{}\n", (k + 1) % 2);
        if k % 4 == 0 {
            log += &format!("{},b,{}\n", at + 10, (k / 4 + 1) % 2);
        }
    }
    log += "9000000000,a,0\n";
    let folder = tempfile::tempdir().unwrap();
    let waves = text(&folder.path().join("w.vcd"));
    let output = feed(&["replay", "-", "--csv", "--hold", "200us"], &log);
    assert_eq!(code(&output), 0, "{}", err(&output));
    assert!(err(&output).contains("out of order"), "{}", err(&output));
    let file = text(&folder.path().join("l.csv"));
    std::fs::write(&file, &log).unwrap();
    let output = run(&[
        "replay", &file, "--csv", "--hold", "200us", "--waves", &waves,
    ]);
    assert!(
        err(&output).contains("later than they were"),
        "{}",
        err(&output)
    );
}

#[test]
fn light_goes_from_a_scenario_to_touches_near_their_truth() {
    // 60 mm/min are 1 nm a us.
    let (_folder, path) = scenario("[approach]\nfeed = \"60mm/min\"\n[barrier]\nsnr = \"60dB\"\n[sampling]\nrate = \"50kHz\"\n");
    let (log, truth) = (path("light.csv"), path("truth.csv"));
    let output = run(&[
        "simulate",
        &path("s.toml"),
        "--touches",
        "5",
        "--log",
        &log,
        "--truth",
        &truth,
    ]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let truth = std::fs::read_to_string(&truth).unwrap();
    let onsets: Vec<i64> = truth
        .lines()
        .skip(1)
        .map(|row| row.split(',').nth(1).unwrap().parse().unwrap())
        .collect();
    for (method, allowed_ns) in [("matched", 8_000), ("area", 6_000)] {
        let config = path("c.toml");
        std::fs::write(
            &config,
            format!("[onset]\nmethod = \"{method}\"\nhold = \"200us\"\n"),
        )
        .unwrap();
        let output = run(&["replay", &log, "--csv", "--config", &config]);
        assert_eq!(code(&output), 0, "{}", err(&output));
        assert!(err(&output).contains("samples in"), "{}", err(&output));
        let rows: Vec<Vec<String>> = out(&output)
            .lines()
            .skip(1)
            .map(|row| row.split(',').map(str::to_owned).collect())
            .collect();
        assert_eq!(rows.len(), onsets.len(), "{}", out(&output));
        for (row, onset_ns) in rows.iter().zip(&onsets) {
            let error: i64 = row[1].parse::<i64>().unwrap() - onset_ns;
            assert!(error.abs() < allowed_ns, "{method}: {error}");
            assert_eq!((row[9].as_str(), row[7].is_empty()), ("", false), "{row:?}");
        }
    }
    let described = run(&["describe", &log, "--json"]);
    let document: serde_json::Value = serde_json::from_str(&out(&described)).unwrap();
    assert_eq!(document["lines"][0]["rate_hz"], 50_000);
    assert_eq!(document["lines"][0]["optics"][0], "clear");
}

#[cfg(unix)]
#[test]
fn no_output_destroys_an_input_under_any_name() {
    use std::process::Stdio;
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let scenario = "# invented\n[approach]\nfeed = \"60mm/min\"\n";
    let (log, toml) = (path("a.csv"), path("s.toml"));
    let fresh = || {
        std::fs::write(&log, TWO).unwrap();
        std::fs::write(&toml, scenario).unwrap();
    };
    fresh();
    std::fs::hard_link(&log, path("hard.csv")).unwrap();
    std::os::unix::fs::symlink(&toml, path("soft.toml")).unwrap();
    let (hard, soft) = (path("hard.csv"), path("soft.toml"));
    for args in [
        vec!["simulate", &toml, "--truth", &toml],
        vec!["simulate", &toml, "--log", &path("l.csv"), "--truth", &soft],
        vec!["sweep", &toml, "--trials", "1", "--report", &soft],
        vec!["sweep", &toml, "--trials", "1", "--report", "-"],
        vec!["replay", &log, "--waves", &hard],
        vec!["check", &log, "--expect", &log, "--junit", &hard],
        vec!["check", "-", "--expect", "-"],
        vec!["convert", &log, &hard],
    ] {
        let refused = run(&args);
        assert_eq!(code(&refused), 2, "{args:?} {}", err(&refused));
        assert_eq!(std::fs::read_to_string(&log).unwrap(), TWO, "{args:?}");
        assert_eq!(
            std::fs::read_to_string(&toml).unwrap(),
            scenario,
            "{args:?}"
        );
    }
    // A result that is appended to its own log.
    let grown = std::fs::File::options().append(true).open(&log).unwrap();
    let refused = Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(["replay", &log, "--csv"])
        .stdout(Stdio::from(grown))
        .output()
        .unwrap();
    assert_eq!(code(&refused), 2);
    assert_eq!(std::fs::read_to_string(&log).unwrap(), TWO);
    // A log read from stdin, by the name that it has.
    let refused = Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(["replay", "-", "--report", &log])
        .stdin(std::fs::File::open(&log).unwrap())
        .output()
        .unwrap();
    assert_eq!(code(&refused), 2);
    // The work of a conversion has a name that nobody else has.
    std::fs::copy(&log, path("b.csv.part")).unwrap();
    let kept = run(&[
        "convert",
        &path("b.csv.part"),
        &path("b.csv"),
        "--to",
        "csv",
    ]);
    assert_eq!(code(&kept), 0, "{}", err(&kept));
    assert_eq!(std::fs::read_to_string(path("b.csv.part")).unwrap(), TWO);
}

#[test]
fn expectations_may_come_from_stdin() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    std::fs::write(path("a.csv"), TWO).unwrap();
    let rows = run(&["replay", &path("a.csv"), "--csv"]);
    std::fs::write(path("e.csv"), out(&rows)).unwrap();
    let judged = Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(["check", &path("a.csv"), "--expect", "-"])
        .stdin(std::fs::File::open(path("e.csv")).unwrap())
        .output()
        .unwrap();
    assert_eq!(code(&judged), 0, "{}", err(&judged));
}

#[test]
fn a_hold_that_damage_cuts_off_leaves_its_touch_unjudged() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| text(&folder.path().join(name));
    let log = "time_ns,line,level\n0,a,0\n1000000,a,1\n5000000,a,0\n9000000,a,1\n9200000,a,x1\n";
    std::fs::write(path("a.csv"), log).unwrap();
    std::fs::write(path("e.csv"), "line,onset_ns\na,1000000\na,9000000\n").unwrap();
    let judged = run(&[
        "check",
        &path("a.csv"),
        "--expect",
        &path("e.csv"),
        "--hold",
        "1ms",
    ]);
    assert_eq!(code(&judged), 2, "{}", out(&judged));
    assert!(
        out(&judged).contains("1 of 1 expected touches found, 0 wrong"),
        "{}",
        out(&judged)
    );
}
