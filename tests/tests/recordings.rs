//! Real recordings (not of probes): edge streams that no one here invented.

use trueonset::onset::{Config, Line, Touched, Truncation};
use trueonset::time::TickRate;
use trueonset_sim::log::{Level as LogLevel, LogReader, Options, What};
use trueonset_tests::reference::bridge::{self, Strictness};
use trueonset_tests::reference::logs::Log;
use trueonset_tests::reference::{line, Event, Input, Level, Setup};

/// File and edges, as the file's own description states them.
const RECORDINGS: [(&str, usize); 3] = [
    ("ook-433mhz-receiver-12s.vcd", 14_819),
    ("rc-433mhz-8s.vcd", 1_600),
    ("ir-receiver-2s.vcd", 743),
];

fn path(name: &str) -> String {
    format!("{}/data/recordings/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// Lines that say `0!` or `1!`, the first of which states the initial level.
fn edges_by_counting(name: &str) -> usize {
    let text = std::fs::read_to_string(path(name)).unwrap();
    text.lines()
        .filter(|line| matches!(line.trim(), "0!" | "1!"))
        .count()
        - 1
}

fn level(level: LogLevel) -> Level {
    match level {
        LogLevel::Low => Level::Low,
        LogLevel::High => Level::High,
        LogLevel::Unknown => Level::Unknown,
    }
}

/// The only line of a recording. Ticks are nanoseconds, moved so that none is negative.
fn read(name: &str) -> Log {
    let mut reader = LogReader::open(&path(name), &Options::default()).unwrap();
    let mut batch = Vec::new();
    let mut log: Option<Log> = None;
    while reader.next_batch(&mut batch).unwrap() {
        for record in &batch {
            let at = i128::from(record.time_ns) + (1 << 63);
            match (record.what, &mut log) {
                (What::Start(initial), None) => {
                    log = Some(Log {
                        initial: level(initial),
                        start: at,
                        inputs: Vec::new(),
                        end: at,
                    });
                }
                (What::Edge(to), Some(log)) => {
                    log.inputs.push(Input {
                        at,
                        level: level(to),
                        remark: None,
                    });
                    log.end = at;
                }
                (What::Mark, Some(log)) => log.end = at,
                other => panic!("{name}: {other:?}"),
            }
        }
    }
    assert_eq!(reader.lines().len(), 1);
    log.expect("a line")
}

#[test]
fn the_reader_finds_every_edge_that_counting_finds() {
    for (name, stated) in RECORDINGS {
        let log = read(name);
        assert_eq!(log.inputs.len(), stated, "{name}");
        assert_eq!(edges_by_counting(name), stated, "{name}");
        assert!(log
            .inputs
            .windows(2)
            .all(|pair| pair[0].at < pair[1].at && pair[0].level != pair[1].level));
    }
}

#[test]
fn every_edge_is_accounted_for_and_the_events_are_those_of_the_reference() {
    let mut contacts = 0;
    for (name, stated) in RECORDINGS {
        let log = read(name);
        for (hold_ns, touched) in [
            (100_000, Touched::High),
            (100_000, Touched::Low),
            (1_000_000, Touched::High),
            (1_000_000, Touched::Low),
            (5_000_000, Touched::High),
            (5_000_000, Touched::Low),
        ] {
            let config = Config::new(TickRate::NANOSECONDS, hold_ns)
                .and_then(|config| config.capture(Truncation::Nearest, 256))
                .and_then(|config| config.bandwidth_hz(100_000))
                .unwrap()
                .touched(touched);
            let setup = Setup {
                hold: i128::from(hold_ns),
                release_hold: i128::from(hold_ns),
                touched_high: touched == Touched::High,
                bandwidth_ticks: Some(10_000.0),
                step: 1.0,
            };
            let mut core = Line::new(
                &config,
                bridge::level(log.initial),
                bridge::instant(log.start),
            );
            let got = bridge::replay(&config, &mut core, &log);
            let mut reference = line::Line::new(&setup, log.initial, log.start);
            let expected = bridge::judge(&mut reference, &log);
            assert_eq!(got.len(), expected.len(), "{name}");
            // A close call may be learned from in two ways; the doubts after it are not compared.
            let mut strictness = Strictness::All;
            for (core, other) in got.iter().zip(&expected) {
                if let Event::Contact(contact) = other {
                    contacts += 1;
                    if contact.close_call {
                        strictness = Strictness::Edges;
                    }
                    assert!(
                        !contact.flags.contains("time_back")
                            && !contact.flags.contains("lost_edge"),
                        "{name}"
                    );
                }
                if let Err(why) = bridge::compare(core, other, 0, strictness) {
                    panic!("{name}, hold {hold_ns} ns: {why}\n{core:?}\n{other:?}");
                }
            }
            let tally = core.tally();
            bridge::compare_counts(tally, reference.counts()).unwrap();
            let sum = tally.touches + tally.releases + tally.glitches + tally.pending;
            assert_eq!(sum as usize, stated, "{name}: {tally:?}");
            assert_eq!((tally.initial, tally.refused), (0, 0), "{name}");
        }
    }
    assert!(contacts > 1_000, "only {contacts} touches and releases");
}
