//! Core against the double-precision reference on logs from seeds and on stored ones.

use std::fmt::Write as _;
use std::path::PathBuf;

use trueonset::onset::{self, Config, FeedClass, Line, Touched, Truncation};
use trueonset::time::TickRate;
use trueonset_tests::reference::bridge::{self, Strictness};
use trueonset_tests::reference::logs::{Log, Recipe};
use trueonset_tests::reference::{line, Event, Input, Level, Setup};

/// One way to set up a line and to draw its logs.
#[derive(Clone, Debug)]
struct Case {
    rate_hz: u32,
    hold_ns: u64,
    release_hold_ns: u64,
    bandwidth_hz: Option<u32>,
    truncation: Truncation,
    step_256: u32,
    class: bool,
    recipe: Recipe,
}

impl Case {
    fn config(&self) -> Config {
        let rate = TickRate::from_hz(self.rate_hz).unwrap();
        let config = Config::new(rate, self.hold_ns)
            .and_then(|config| config.release_hold(self.release_hold_ns))
            .and_then(|config| config.capture(self.truncation, self.step_256))
            .unwrap()
            .touched(if self.recipe.touched_high { Touched::High } else { Touched::Low });
        match self.bandwidth_hz {
            Some(hz) => config.bandwidth_hz(hz).unwrap(),
            None => config,
        }
    }

    fn ticks(&self, ns: u64) -> i128 {
        let product = i128::from(ns) * i128::from(self.rate_hz);
        (product + 500_000_000) / 1_000_000_000
    }

    fn setup(&self) -> Setup {
        Setup {
            hold: self.ticks(self.hold_ns),
            release_hold: self.ticks(self.release_hold_ns),
            touched_high: self.recipe.touched_high,
            bandwidth_ticks: self.bandwidth_hz.map(|hz| f64::from(self.rate_hz) / f64::from(hz)),
            step: f64::from(self.step_256) / 256.0,
        }
    }

    fn lag_256(&self) -> i128 {
        match self.truncation {
            Truncation::Before => i128::from(self.step_256 / 2),
            Truncation::Nearest => 0,
            Truncation::After => -i128::from(self.step_256 / 2),
        }
    }

    fn reference(&self, log: &Log) -> (Vec<Event>, line::Line) {
        let mut line = line::Line::new(&self.setup(), log.initial, log.start);
        if self.class {
            line = line.with_class();
        }
        let events = bridge::judge(&mut line, log);
        (events, line)
    }

    fn core(&self, log: &Log) -> (Vec<onset::Event>, Line) {
        let config = self.config();
        let mut line = Line::new(&config, bridge::level(log.initial), bridge::instant(log.start));
        if self.class {
            line.exchange_class(Some(FeedClass::new()));
        }
        let events = bridge::replay(&config, &mut line, log);
        (events, line)
    }

    /// Compares one log; counts what it held.
    fn check(&self, log: &Log, seen: &mut Seen) {
        let (got, core) = self.core(log);
        let (expected, reference) = self.reference(log);
        assert_eq!(got.len(), expected.len(), "number of events of {self:?}");
        let mut strictness = Strictness::All;
        for (i, (core, reference)) in got.iter().zip(&expected).enumerate() {
            if let Event::Contact(contact) = reference {
                if contact.close_call && strictness == Strictness::All {
                    // Rounding may decide either way, and what is learned with it.
                    seen.close_calls += 1;
                    strictness = Strictness::Edges;
                }
            }
            if let Err(why) = bridge::compare(core, reference, self.lag_256(), strictness) {
                panic!("event {i}: {why}\n{core:?}\n{reference:?}\n{self:?}");
            }
            if strictness == Strictness::All {
                seen.note(reference);
            }
        }
        bridge::compare_counts(core.tally(), reference.counts()).unwrap();
        seen.edges += log.inputs.len();
    }
}

/// What was compared with all strictness, so that no test passes on nothing.
#[derive(Debug, Default)]
struct Seen {
    edges: usize,
    touches: usize,
    releases: usize,
    glitches: usize,
    longest: usize,
    close_calls: usize,
    words: std::collections::BTreeMap<&'static str, usize>,
}

impl Seen {
    fn note(&mut self, event: &Event) {
        match event {
            Event::Glitch(_) => self.glitches += 1,
            Event::Contact(contact) => {
                if contact.release {
                    self.releases += 1;
                } else {
                    self.touches += 1;
                }
                self.longest = self.longest.max(contact.edges);
                *self.words.entry(contact.kind).or_default() += 1;
                for word in &contact.flags {
                    *self.words.entry(word).or_default() += 1;
                }
            }
        }
    }
}

/// A case drawn from `seed`: every setting at hand in some of them.
fn drawn_case(seed: u64) -> Case {
    let mut rng = fastrand::Rng::with_seed(seed ^ 0x5eed);
    let rate_hz = *rng.choice(&[16_000_000, 1_000_000_000, 72_000_000]).unwrap();
    let hold_ns = *rng.choice(&[200_000, 333_337, 1_000_000, 3_000_000]).unwrap();
    let release_hold_ns = if rng.bool() { hold_ns } else { 500_000 };
    let hold = hold_ns as f64 * 1e-9 * f64::from(rate_hz);
    // From ten to three hundred mean dwells a hold, now and then fewer than should be.
    let mean_dwell = hold / *rng.choice(&[7.0, 12.0, 30.0, 80.0, 300.0]).unwrap();
    let dwells = *rng.choice(&[0, 2, 6, 20, 60, 200, 1500, 8000]).unwrap();
    let bandwidth_hz = rng.choice([None, Some(100_000), Some(3_000)]).unwrap();
    Case {
        rate_hz,
        hold_ns,
        release_hold_ns,
        bandwidth_hz,
        truncation: rng.choice([Truncation::Before, Truncation::Nearest, Truncation::After]).unwrap(),
        step_256: *rng.choice(&[256, 256, 32, 256 * 16]).unwrap(),
        class: rng.bool(),
        recipe: Recipe {
            touches: if dwells > 200 { 15 } else { 60 },
            dwells,
            mean_dwell,
            rest: (1.2 * hold, 40.0 * hold),
            glitches: *rng.choice(&[0.0, 0.2, 0.6]).unwrap(),
            longest_glitch: 0.5 * hold,
            bounces: *rng.choice(&[0.0, 0.0, 0.2]).unwrap(),
            overcaptures: *rng.choice(&[0.0, 0.01]).unwrap(),
            start: *rng.choice(&[1_000, (1 << 32) - 12_345_678, (1 << 63) - 12_345_678]).unwrap(),
            touched_high: rng.bool(),
        },
    }
}

#[test]
fn core_equals_the_reference_on_logs_from_seeds() {
    let mut seen = Seen::default();
    for seed in 1..=1_000 {
        let case = drawn_case(seed);
        case.check(&case.recipe.draw(seed), &mut seen);
    }
    println!("{seen:#?}");
    assert!(seen.touches > 35_000 && seen.releases > 35_000, "{seen:?}");
    assert!(seen.edges > 1_000_000 && seen.longest > 1_000, "{seen:?}");
    assert!(seen.close_calls < 150, "{seen:?}");
    for word in [
        "assumed", "limit", "pooled", "measured", "rough", "upper", "short_hold", "shallow", "hybrid", "overcapture",
    ] {
        assert!(seen.words.get(word).is_some_and(|count| *count > 50), "{word}: {seen:?}");
    }
}

/// Holds of seconds at a nanosecond a tick, and blind times of hours: a doubt is right or not
/// stated, never cut off by the width of a number.
#[test]
fn a_doubt_beyond_the_arithmetic_is_not_stated() {
    let (mut stated, mut withheld) = (0, 0);
    for seed in 1..=4_000 {
        let mut case = drawn_case(seed);
        let mut rng = fastrand::Rng::with_seed(seed);
        case.rate_hz = 1_000_000_000;
        case.step_256 = 256;
        case.truncation = Truncation::Nearest;
        case.hold_ns = (1 << 31) - 1;
        case.release_hold_ns = case.hold_ns;
        let high = |touching| if touching == case.recipe.touched_high { Level::High } else { Level::Low };
        let mut now = 1 << 40;
        let mut log = Log { initial: high(false), start: now, inputs: Vec::new(), end: 0 };
        for i in 0..rng.u32(0..12) * 2 + 1 {
            now += 1_i128 << rng.u32(0..31);
            now += rng.i128(0..1 << 20);
            if rng.u32(0..30) == 0 {
                log.inputs.push(Input { at: now, level: Level::Unknown, remark: None });
                now += 1_i128 << rng.u32(20..45);
            }
            log.inputs.push(Input { at: now, level: high(i % 2 == 0), remark: None });
        }
        log.end = now + (1 << 32);
        let (got, _) = case.core(&log);
        let (expected, _) = case.reference(&log);
        assert_eq!(got.len(), expected.len());
        for (core, reference) in got.iter().zip(&expected) {
            let (onset::Event::Touch(core), Event::Contact(reference)) = (core, reference) else { break };
            if reference.close_call {
                break;
            }
            match core.doubt {
                None => withheld += 1,
                Some(doubt) => {
                    let (doubt, exact) = (f64::from(doubt.sixteenths()) / 16.0, reference.doubt.unwrap().doubt());
                    assert!((doubt / exact - 1.0).abs() < 0.025, "{doubt} {exact} {core:?} {reference:?}");
                    stated += 1;
                }
            }
            // What comes after a touch that was too wide to learn from is learned differently.
            break;
        }
    }
    assert!(stated > 200 && withheld > 200, "{stated} stated, {withheld} withheld");
}

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
        ("slow", case(false, Some(100_000), recipe(4, 250, 7e3, true))),
        ("fast-class-low", case(true, Some(100_000), recipe(30, 12, 7e3, false))),
        ("bouncing", bouncing),
    ]
}

fn golden(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/golden").join(name)
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
            let level = if level == "1" { Level::High } else { Level::Low };
            (time.parse().expect("a time"), level)
        })
        .collect();
    let inputs = rows[1..rows.len() - 1]
        .iter()
        .map(|(at, level)| Input { at: *at, level: *level, remark: None })
        .collect();
    Log { start: rows[0].0, initial: rows[0].1, inputs, end: rows[rows.len() - 1].0 }
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
            return Row { text: format!("glitch,{first},{last},{},,,,{width}", g.edges), doubt: None };
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
        Row { text: text.to_owned(), doubt: doubt.parse().ok() }
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
/// `cargo test -p trueonset-tests --test golden -- --ignored`.
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
            let doubt = row.doubt.map_or(String::new(), |doubt| format!("{doubt:.3}"));
            writeln!(text, "{},{doubt}", row.text).unwrap();
        }
        std::fs::write(golden(&format!("{name}.events.csv")), text).unwrap();
    }
}
