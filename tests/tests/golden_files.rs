//! Core and the reference on stored logs, against what the reference said when they were stored.

use std::fmt::Write as _;
use std::path::PathBuf;

use trueonset::onset::{self, Truncation};
use trueonset_tests::reference::bridge;
use trueonset_tests::reference::case::Case;
use trueonset_tests::reference::logs::{Log, Recipe};
use trueonset_tests::reference::{Event, Input, Level};

/// The stored logs: name and how each was drawn. Times are nanoseconds.
fn stored_cases() -> [(&'static str, Case); 3] {
    let recipe = |touches, dwells, mean_dwell, touched_high| Recipe {
        touches,
        dwells,
        mean_dwell,
        rest: (300e3, 9e6),
        glitches: 0.3,
        longest_glitch: 50e3,
        bounces: 0.0,
        overcaptures: 0.0,
        start: 1_000_000,
        touched_high,
    };
    let case = |class, bandwidth_hz, recipe| Case {
        rate_hz: 1_000_000_000,
        hold_ns: 200_000,
        release_hold_ns: 200_000,
        bandwidth_hz,
        truncation: Truncation::Nearest,
        step_256: 256,
        class,
        recipe,
    };
    let mut bouncing = case(false, None, recipe(12, 30, 6e3, true));
    bouncing.recipe.bounces = 0.5;
    bouncing.release_hold_ns = 400_000;
    [
        (
            "slow",
            case(false, Some(100_000), recipe(4, 250, 7e3, true)),
        ),
        (
            "fast-class-low",
            case(true, Some(100_000), recipe(30, 12, 7e3, false)),
        ),
        ("bouncing", bouncing),
    ]
}

fn golden(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("data/golden")
        .join(name)
}

fn read(name: &str) -> String {
    let path = golden(name);
    std::fs::read_to_string(&path).unwrap_or_else(|why| panic!("{}: {why}", path.display()))
}

/// A log as it is stored.
fn write_log(log: &Log) -> String {
    let digit = |level| u8::from(level == Level::High);
    let mut text = String::from("# Invented edges, drawn from a seed.\ntime_ns,line,level\n");
    writeln!(text, "{},probe,{}", log.start, digit(log.initial)).unwrap();
    for input in &log.inputs {
        writeln!(text, "{},probe,{}", input.at, digit(input.level)).unwrap();
    }
    // The last row says how long the level lasted.
    let last = log.inputs.last().map_or(log.initial, |input| input.level);
    writeln!(text, "{},probe,{}", log.end, digit(last)).unwrap();
    text
}

fn read_log(text: &str) -> Log {
    let rows: Vec<(i128, Level)> = text
        .lines()
        .skip(2)
        .map(|row| {
            let (time, level) = row.split_once(",probe,").expect("three columns");
            let level = if level == "1" {
                Level::High
            } else {
                Level::Low
            };
            (time.parse().expect("a time"), level)
        })
        .collect();
    let inputs = rows[1..rows.len() - 1]
        .iter()
        .map(|(at, level)| Input {
            at: *at,
            level: *level,
            remark: None,
        })
        .collect();
    Log {
        start: rows[0].0,
        initial: rows[0].1,
        inputs,
        end: rows[rows.len() - 1].0,
    }
}

/// An event as it is stored.
#[derive(Debug, PartialEq)]
struct Row {
    /// `touch,first,last,edges,onset,confirmed,kind,flags`, or what a glitch has of them.
    text: String,
    doubt: Option<f64>,
}

const ROWS: &str = "event,first_ns,last_ns,edges,onset_ns,confirmed_ns,kind,flags,doubt_ns";

fn reference_row(event: &Event) -> Row {
    match event {
        Event::Glitch(g) => Row {
            text: format!("glitch,{},{},{},,,,{}", g.first, g.last, g.edges, g.width),
            doubt: None,
        },
        Event::Contact(c) => {
            let name = if c.release { "release" } else { "touch" };
            let flags: Vec<_> = c.flags.iter().copied().collect();
            let (onset, confirmed) = (c.onset, c.confirmed);
            Row {
                text: format!(
                    "{name},{},{},{},{onset},{confirmed},{},{}",
                    c.first,
                    c.last,
                    c.edges,
                    c.kind,
                    flags.join("|")
                ),
                doubt: c.doubt.map(|parts| parts.doubt()),
            }
        }
    }
}

fn core_row(event: &onset::Event) -> Row {
    let (name, c) = match event {
        onset::Event::Touch(contact) => ("touch", contact),
        onset::Event::Release(contact) => ("release", contact),
        onset::Event::Glitch(g) => {
            let (first, last, width) = (g.first_edge.ticks(), g.last_edge.ticks(), g.width.ticks());
            return Row {
                text: format!("glitch,{first},{last},{},,,,{width}", g.edges),
                doubt: None,
            };
        }
        other => panic!("{other:?}"),
    };
    let mut flags: Vec<_> = c.flags.words().collect();
    flags.sort_unstable();
    Row {
        text: format!(
            "{name},{},{},{},{},{},{},{}",
            c.first_edge.ticks(),
            c.last_edge.ticks(),
            c.edges,
            c.onset.nearest().ticks(),
            c.confirmed.ticks(),
            bridge::kind(c.kind),
            flags.join("|")
        ),
        doubt: c.doubt.map(|doubt| f64::from(doubt.sixteenths()) / 16.0),
    }
}

fn read_rows(text: &str) -> Vec<Row> {
    let row = |row: &str| {
        let (text, doubt) = row.rsplit_once(',').expect("nine columns");
        Row {
            text: text.to_owned(),
            doubt: doubt.parse().ok(),
        }
    };
    assert_eq!(text.lines().next(), Some(ROWS));
    text.lines().skip(1).map(row).collect()
}

/// Rows are equal when their doubts are too, within `relative` and `ticks`.
fn assert_rows(name: &str, got: &[Row], stored: &[Row], relative: f64, ticks: f64) {
    assert_eq!(got.len(), stored.len(), "{name}: number of events");
    for (row, stored) in got.iter().zip(stored) {
        assert_eq!(row.text, stored.text, "{name}");
        match (row.doubt, stored.doubt) {
            (None, None) => {}
            (Some(a), Some(b)) if (a - b).abs() <= relative * b + ticks => {}
            _ => panic!("{name}: doubt {:?}, stored {stored:?}", row.doubt),
        }
    }
}

#[test]
fn stored_logs_still_give_what_the_reference_once_gave() {
    for (name, case) in stored_cases() {
        let log = read_log(&read(&format!("{name}.csv")));
        let stored = read_rows(&read(&format!("{name}.events.csv")));
        assert!(stored.len() > 5, "{name}: only {} events", stored.len());
        let core: Vec<_> = case.core(&log).0.iter().map(core_row).collect();
        // 1 % and the 1.25 % of the table of end zones.
        assert_rows(name, &core, &stored, 0.0225, 1.0 / 16.0);
        let reference: Vec<_> = case.reference(&log).0.iter().map(reference_row).collect();
        assert_rows(name, &reference, &stored, 1e-6, 0.01);
    }
}

/// Writes the stored logs and what the reference says about them. Only for a change of format or
/// of a formula of the reference; the difference is to be read before it is kept:
/// `cargo test -p trueonset-tests --test golden_files -- --ignored`.
#[test]
#[ignore = "writes tests/data/golden"]
fn regenerate_stored_logs() {
    std::fs::create_dir_all(golden("")).unwrap();
    for (seed, (name, case)) in (1..).zip(stored_cases()) {
        let log = case.recipe.draw(seed);
        std::fs::write(golden(&format!("{name}.csv")), write_log(&log)).unwrap();
        let mut text = format!("{ROWS}\n");
        for event in &case.reference(&log).0 {
            let row = reference_row(event);
            let doubt = row
                .doubt
                .map_or(String::new(), |doubt| format!("{doubt:.3}"));
            writeln!(text, "{},{doubt}", row.text).unwrap();
        }
        std::fs::write(golden(&format!("{name}.events.csv")), text).unwrap();
    }
}
