//! `rig`: a log through a device that runs the library, against the same code here.

use std::io::{self, IsTerminal};
use std::time::{Duration, SystemTime};

use indicatif::ProgressBar;
use serde_json::{json, Value};

use super::args::Rig;
use super::check::{junit, Judged, Wanted};
use super::replay::{BANDWIDTH, NO_TOUCH};
use super::settings::decided;
use super::talk::Talk;
use super::{files, table, Outcome};
use crate::fault::Fault;
use crate::log::LogReader;
use crate::replay::row::COLUMNS;
use crate::replay::{check_names, Settings};
use crate::rig::{self, Counts, Session, Tested};

/// Told with every result.
const CAUTION: &str =
    "the device's touches are those of the log: a measuring signal, not a safety function; \
no performance level is claimed; guards and emergency stop stay in charge";

/// Differences shown one by one.
const SHOWN: usize = 100;

/// Longest frame, there and back, in bits on the line.
const EXCHANGE_BITS: u64 = 2 * 260 * 10;

/// Runs it.
pub(crate) fn run(args: &Rig, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[
            ("LOG", Some(&args.log)),
            (
                "--expect",
                args.expect.as_ref().and_then(|path| path.to_str()),
            ),
        ],
        &[("--junit", args.junit.as_deref())],
    )?;
    let done = test(args, talk);
    if let (Err(fault), Some(path)) = (&done, &args.junit) {
        super::write_file(path, junit::unjudged(&args.log, fault)?.as_bytes())?;
    }
    done
}

fn test(args: &Rig, talk: &Talk) -> Result<Outcome, Fault> {
    let settings = decided(&args.deciding)?;
    let wanted = match &args.expect {
        Some(path) => Some(Wanted::read(path, &settings, talk)?),
        None => None,
    };
    let mut reader = LogReader::open(&args.log, &args.reading.options())?;
    if reader.declares_lines() {
        check_names(&settings, &reader)?;
    }
    let (tested, counts) = with_device(args, &settings, &mut reader)?;
    if tested.faults.is_empty() {
        check_names(&settings, &reader)?;
    }
    let judged = wanted.map(|wanted| {
        let found = tested
            .rows
            .iter()
            .map(|row| (row.line.clone(), row.onset_ns));
        wanted.judge(
            &found.collect::<Vec<_>>(),
            args.within,
            tested.seen_until_ns,
        )
    });
    show(args, &tested, judged.as_ref(), counts, talk)?;
    if let (Some(path), Some(judged)) = (&args.junit, &judged) {
        let document = judged.junit(&args.log, tested.faults.first())?;
        super::write_file(path, document.as_bytes())?;
    }
    for assumption in reader.assumptions() {
        talk.note(assumption);
    }
    if settings.bandwidth_assumed {
        talk.note(BANDWIDTH);
    }
    tell(&tested, counts, talk);
    Ok(if !tested.faults.is_empty() {
        Outcome::CouldNot
    } else if holds(&tested, judged.as_ref()) {
        Outcome::Holds
    } else {
        Outcome::Not
    })
}

fn with_device(
    args: &Rig,
    settings: &Settings,
    reader: &mut LogReader,
) -> Result<(Tested, Counts), Fault> {
    let mut port = rig::open(&args.port, args.baud)?;
    let slow = Duration::from_millis(EXCHANGE_BITS * 1_000 / u64::from(args.baud));
    let resend = Duration::from_millis(200) + slow;
    let patience = Duration::from_nanos(args.patience);
    let mut session = Session::new(port.as_mut(), &args.port, patience, resend);
    let bar = if io::stderr().is_terminal() {
        ProgressBar::new_spinner()
    } else {
        ProgressBar::hidden()
    };
    // Another number each time, so that no answer of an earlier run is taken for one of this.
    let run = SystemTime::UNIX_EPOCH
        .elapsed()
        .map_or(0, |since| since.as_micros() as u32);
    let tested = rig::run(reader, settings, &mut session, run, &mut |items| {
        bar.set_message(format!("{items} rows of the log taken by the device"));
        bar.tick();
    });
    bar.finish_and_clear();
    Ok((tested?, session.counts()))
}

fn holds(tested: &Tested, judged: Option<&Judged>) -> bool {
    tested.faults.is_empty()
        && tested.differ == 0
        && judged.is_none_or(|judged| judged.wrong() == 0)
}

/// The result, to stdout; what a table of rows cannot hold, to stderr.
fn show(
    args: &Rig,
    tested: &Tested,
    judged: Option<&Judged>,
    counts: Counts,
    talk: &Talk,
) -> Result<(), Fault> {
    if args.json {
        let text = format!("{}\n", document(tested, judged, counts));
        return super::print(text.as_bytes());
    }
    let verdict = verdict(tested, judged);
    if args.csv {
        let mut text = format!("{COLUMNS}\n");
        for row in &tested.rows {
            text += &format!("{}\n", row.csv());
        }
        super::print(text.as_bytes())?;
        for line in verdict.lines() {
            talk.line(line);
        }
        return Ok(());
    }
    super::print(format!("{}\n\n{verdict}", table::touches(&tested.rows)).as_bytes())
}

fn verdict(tested: &Tested, judged: Option<&Judged>) -> String {
    let mut text = String::new();
    for difference in tested.differences.iter().take(SHOWN) {
        text += &format!("{difference}\n");
    }
    let [touches, releases, glitches] = tested.told;
    let differ = tested.differ;
    if differ > SHOWN as u64 {
        text += &format!("and {} differences more\n", differ - SHOWN as u64);
    }
    text += &format!(
        "{touches} touches, {releases} releases, {glitches} glitches from the device; \
         {differ} differences from the same code here\n"
    );
    text + &judged.map_or(String::new(), Judged::text)
}

fn document(tested: &Tested, judged: Option<&Judged>, counts: Counts) -> Value {
    let [touches, releases, glitches] = tested.told;
    let expected =
        judged.map(|judged| json!({ "matched": judged.matched(), "wrong": judged.findings() }));
    json!({
        "holds": holds(tested, judged),
        "complete": tested.faults.is_empty(),
        "edges": tested.tally.edges_in,
        "touches": touches,
        "releases": releases,
        "glitches": glitches,
        "rows": tested.rows,
        "differ": tested.differ,
        "differences": tested.differences,
        "expected": expected,
        "sent_again": counts.again,
        "damaged": counts.damaged,
    })
}

/// What the line has cost, hints, faults and, last, the sum of edges.
fn tell(tested: &Tested, counts: Counts, talk: &Talk) {
    let [major, minor, patch] = tested.release;
    talk.note(&format!("the device runs release {major}.{minor}.{patch}"));
    if counts.echoes > 0 {
        talk.note(&format!(
            "{} requests of this program came back and were dropped: remove the loop or the echo",
            counts.echoes
        ));
    }
    if counts.again > 0 {
        talk.note(&format!(
            "the line: {} requests sent again, {} answers came damaged",
            counts.again, counts.damaged
        ));
    }
    if tested.told[0] == 0 {
        talk.note(NO_TOUCH);
    }
    talk.note(CAUTION);
    for fault in &tested.faults {
        talk.error(&fault.to_string());
    }
    talk.line(&tested.tally.to_string());
}
