//! `advise` as its users meet it: tolerances in, a feed with what limits it out, simulated.

mod common;

use common::{code, err, out, scenario};
use serde_json::Value;
use std::process::{Command, Output};

const AXIS: &str = "[approach]\nacceleration = \"2m/s2\"\njerk = \"50m/s3\"\nlength_doubt = \"1mm\"\nclearance = \"2mm\"\n\
                    [control]\nfeed_error = \"0.1%\"\n[link]\nmedium = \"wired\"\ndelay = \"2ms\"\n";

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(args)
        .output()
        .unwrap()
}

/// `advise` for 0.4 um and 1 mm.
fn advise(file: &str, more: &[&str]) -> Output {
    let asked = [
        "advise",
        file,
        "--tolerance",
        "0.4um",
        "--overtravel",
        "1mm",
        "--touches",
        "2000",
    ];
    run(&[&asked[..], more].concat())
}

#[test]
fn the_document_has_what_is_promised() {
    let (_folder, path) = scenario(AXIS);
    let made = advise(&path("s.toml"), &["--json"]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    let told: Value = serde_json::from_str(&out(&made)).unwrap();
    assert_eq!(told["holds"], true);
    assert_eq!(told["single_approach"], true);
    let number = |key: &str| told[key].as_f64().unwrap_or_else(|| panic!("{key}"));
    let feed = number("feed_nm_s");
    // 2008 mm/min by nominal drives, 0.87 of it by 99.9 % of them.
    assert!(
        (feed / (2008.0 * 0.87 / 60.0 * 1e6) - 1.0).abs() < 0.02,
        "{feed}"
    );
    assert!(number("feed_min_nm_s") < feed && number("cycle_ms") > 0.0);
    assert_eq!(told["limited_by"], "overtravel");
    assert_eq!(told["limited_next"].as_str().unwrap(), "axis");
    assert_eq!(told["hold_ns"], 1_000_000);
    assert!(number("overtravel_nm") <= 1e6 && number("confidence") >= 0.999);
    let shares = told["budget"].as_array().unwrap().iter();
    let shares: f64 = shares.map(|one| one["share"].as_f64().unwrap()).sum();
    assert!((shares - 1.0).abs() < 1e-9);
    let simulated = &told["simulated"];
    assert!(simulated["p999_nm"].as_f64().unwrap() <= 400.0);
    assert!(simulated["overtravel_p999_nm"].as_f64().unwrap() <= 1.03e6);
    let caution = "not a safety function; prove each program at reduced feed with the tool clear";
    assert!(told["cautions"][0].as_str().unwrap().contains(caution));
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let (_folder, path) = scenario(AXIS);
    let on = |more: &[&str]| out(&advise(&path("s.toml"), &[&["--json"], more].concat()));
    assert_eq!(on(&["--threads", "1"]), on(&["--threads", "3"]));
    assert_ne!(on(&[]), on(&["--seed", "2"]));
}

#[test]
fn people_get_a_sentence_tables_and_a_caution_and_the_page_a_picture() {
    let (_folder, path) = scenario(AXIS);
    let page = path("a.html");
    let made = advise(&path("s.toml"), &["--report", &page]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    let text = out(&made);
    for part in [
        "Approach with one touch at up to ",
        "held back by overtravel; next: axis",
        "theory  simulated",
        "one better part",
        "Measuring signal, not a safety function; prove each program at reduced feed with the tool clear; guards and \
         emergency stop stay in charge.",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    let html = std::fs::read_to_string(&page).unwrap();
    assert!(html.len() < 1_000_000 && html.matches("<svg").count() >= 3);
    for part in [
        "To repeat",
        "trueonset advise ",
        "--seed 1",
        "with the tool clear",
        "What a feed keeps",
    ] {
        assert!(html.contains(part), "{part}");
    }
}

#[test]
fn csv_is_one_header_and_one_row() {
    let (_folder, path) = scenario(AXIS);
    let text = out(&advise(&path("s.toml"), &["--csv"]));
    let lines: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!((lines.len(), lines[0].len()), (2, lines[1].len()));
    assert_eq!((lines[0][0], lines[1][0]), ("holds", "true"));
}

#[test]
fn the_impossible_is_no_error_and_says_what_would_have_to_change() {
    let (_folder, path) = scenario(&format!("{AXIS}[barrier]\nsnr = \"40dB\"\n"));
    let asked = [
        "advise",
        &path("s.toml"),
        "--tolerance",
        "5nm",
        "--overtravel",
        "1mm",
    ];
    let made = run(&asked);
    assert_eq!(code(&made), 1, "{}", err(&made));
    assert!(
        out(&made).contains("what would have to change:\n  a tolerance of "),
        "{}",
        out(&made)
    );
    let told: Value =
        serde_json::from_str(&out(&run(&[&asked[..], &["--json"]].concat()))).unwrap();
    assert_eq!(
        (&told["holds"], &told["feed_nm_s"]),
        (&Value::Bool(false), &Value::Null)
    );
    assert_eq!(told["limited_by"], "tolerance");
    let page = path("a.html");
    assert_eq!(code(&run(&[&asked[..], &["--report", &page]].concat())), 1);
    assert!(std::fs::read_to_string(&page)
        .unwrap()
        .contains("What would have to change"));
}

#[test]
fn what_theory_does_not_know_is_not_advised() {
    let (_folder, path) = scenario(&format!("{AXIS}[disturbance]\nglitches_per_s = 2000\n"));
    let made = advise(&path("s.toml"), &["--json"]);
    assert!([1, 2].contains(&code(&made)), "{}", err(&made));
    let told: Value = serde_json::from_str(&out(&made)).unwrap();
    assert_eq!(told["holds"], false);
    assert!(told["reason"].as_str().unwrap().contains("simulated"));
}

#[test]
fn bad_input_is_named() {
    let (_folder, path) = scenario("[control]\nlach = \"edge\"\n");
    let why = |args: &[&str]| {
        let made = run(args);
        assert_eq!(code(&made), 2, "{}", out(&made));
        err(&made)
    };
    assert!(why(&[
        "advise",
        &path("s.toml"),
        "--tolerance",
        "1um",
        "--overtravel",
        "1mm"
    ])
    .contains("did you mean latch?"));
    assert!(why(&[
        "advise",
        "x.toml",
        "--tolerance",
        "0um",
        "--overtravel",
        "1mm"
    ])
    .contains("above 0"));
    assert!(why(&[
        "advise",
        "x.toml",
        "--tolerance",
        "0.4",
        "--overtravel",
        "1mm"
    ])
    .contains("0.5um"));
    let (_folder, path) = scenario("[onset]\nmethod = \"first_edge\"\n");
    assert!(why(&[
        "advise",
        &path("s.toml"),
        "--tolerance",
        "1um",
        "--overtravel",
        "1mm"
    ])
    .contains("onset.method"));
    let (_folder, path) = scenario("[link]\nmedium = \"wired\"\ndelay = \"1ms\"\n");
    assert!(why(&[
        "advise",
        &path("s.toml"),
        "--tolerance",
        "1um",
        "--overtravel",
        "1mm"
    ])
    .contains("link.delay"));
}

/// What no machine or no air can do, each with what would make it possible: refused (2) where it cannot be drawn, judged
/// (1) where it can.
#[test]
fn the_physically_impossible_is_refused_with_what_would_make_it_possible() {
    let axis = "[approach]\nacceleration = \"2m/s2\"\n";
    let slim = "[tool]\ndiameter = \"0.1mm\"\nlength = \"100mm\"\nmodulus = \"1GPa\"\n[plate]\nmass = \"1kg\"\npreload = \"10N\"\n";
    for (toml, exit, words) in [
        // Too short a way to reach the feed.
        (format!("{axis}jerk = \"50m/s3\"\nclearance = \"1um\"\nfeed = \"5000mm/min\"\n"), 2, "until the feed is reached, expected a start before the light; at least 3"),
        ("[approach]\nacceleration = \"0m/s2\"\n".to_owned(), 2, "s.toml:2: approach.acceleration: found a value below the range, expected 1mm/s2 to 100m/s2; the nearest value allowed is 1mm/s2"),
        ("[barrier]\nspan = \"0um\"\n".to_owned(), 2, "s.toml:2: barrier.span: found a value below the range, expected 1um to 10mm; the nearest"),
        ("[barrier]\nsnr = \"0dB\"\n".to_owned(), 2, "s.toml:2: barrier.snr: found a value below the range"),
        // A wire that tells before the hold has ended.
        (format!("{axis}[onset]\nhold = \"1s\"\n"), 2, "a delay longer than the hold: a touch is not told before; state a longer link.delay, or a shorter onset.hold"),
        // A tool that the plate breaks at any feed.
        (format!("{slim}{axis}"), 1, "what would have to change:\n  a lighter plate with less preload, or a thicker or shorter tool"),
        // A control that looks once a second.
        (format!("{axis}[control]\nlatch = \"scan\"\nperiod = \"1s\"\n"), 1, "what would have to change:\n  a tolerance of 4"),
        // Air through which nothing comes.
        (format!("{axis}[link]\nmedium = \"infrared\"\nloss = \"99%\"\n"), 1, "gave no position"),
    ] {
        let (_folder, path) = scenario(&toml);
        let made = run(&["advise", &path("s.toml"), "--tolerance", "1um", "--overtravel", "1mm", "--touches", "1000"]);
        assert_eq!(code(&made), exit, "{toml} {} {}", out(&made), err(&made));
        let told = out(&made) + &err(&made);
        assert!(told.contains(words), "{toml}: {told}");
        assert!(!told.contains("NaN"), "{told}");
    }
}

#[test]
fn stated_keys_that_do_not_act_are_told() {
    let (_folder, path) = scenario(&format!("{AXIS}[plate]\nrestitution = 0.2\n"));
    let told = err(&advise(&path("s.toml"), &[]));
    assert!(
        told.contains("without effect on advice: plate.restitution"),
        "{told}"
    );
}

/// Files that ship with the project.
#[test]
fn the_fine_probes_are_advised() {
    for (name, by) in [("wired", "overtravel"), ("infrared", "overtravel")] {
        let file = format!(
            "{}/../examples/scenarios/fine-probe-{name}.toml",
            env!("CARGO_MANIFEST_DIR")
        );
        let made = advise(&file, &["--json"]);
        assert_eq!(code(&made), 0, "{}", err(&made));
        assert!(!err(&made).contains("without effect"), "{}", err(&made));
        let told: Value = serde_json::from_str(&out(&made)).unwrap();
        assert_eq!(told["limited_by"], by);
        // Back-dating is what the infrared link needs, and the wire does not.
        let ratio =
            told["feed_by_edge_nm_s"].as_f64().unwrap() / told["feed_nm_s"].as_f64().unwrap();
        assert_eq!(ratio < 0.6, name == "infrared", "{ratio}");
        assert!(
            told["simulated"]["p999_nm"].as_f64().unwrap() <= 400.0,
            "{told}"
        );
    }
}

/// What cannot be latched is said before anything is simulated, and every way out has its caution.
#[test]
fn a_delay_beyond_the_latch_is_refused_at_once() {
    let edge = AXIS
        .replace("2ms", "900ms")
        .replace("[control]", "[control]\nlatch = \"edge\"");
    let (_folder, path) = scenario(&edge);
    let made = run(&[
        "advise",
        &path("s.toml"),
        "--tolerance",
        "0.4um",
        "--overtravel",
        "1mm",
        // More than can be simulated in the time of a test.
        "--touches",
        "100000000",
    ]);
    assert_eq!(code(&made), 2);
    assert!(err(&made).contains("found a latch by edge, expected one that a latch takes; change [control] or link.delay: the delay is not within 0.8 s"), "{}", err(&made));
    let (_folder, path) = scenario(AXIS);
    let made = run(&[
        "advise",
        &path("s.toml"),
        "--tolerance",
        "1nm",
        "--overtravel",
        "1mm",
        "--csv",
    ]);
    assert_eq!(code(&made), 1);
    assert!(
        err(&made).contains("not a safety function"),
        "{}",
        err(&made)
    );
}
