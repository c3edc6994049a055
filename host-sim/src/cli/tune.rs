//! `tune`: settings out of logs, and constants of the comparator where their truth is known.

mod advice;
mod page;

use trueonset::lateness::{Calibrator, FeedMean};
use trueonset::onset::Chatter;

use super::args::Tune;
use super::files;
use super::replay::replay;
use super::settings::decided;
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::replay::Settings;
use crate::report::CAUTION;
use crate::tune::{
    advise, gather, parse, Advised, Calibrated, Gathered, Question, Rung, True, FEEDS,
};

/// Runs it.
pub(crate) fn run(args: &Tune, talk: &Talk) -> Result<Outcome, Fault> {
    let logs = args.logs.iter().map(|log| ("LOG", Some(log.as_str())));
    let truths = args.truth.iter().map(|path| ("--truth", path.to_str()));
    let inputs: Vec<_> = logs.chain(truths).collect();
    let outputs = [
        ("--config", args.config.as_deref()),
        ("--report", args.report.as_deref()),
    ];
    files::keep_apart(&inputs, &outputs)?;
    if args.logs.iter().any(|log| log == "-") {
        return Err(Fault::new(
            "stdin",
            "files: a log is read at every hold",
            "save the stream first",
        )
        .at(Place::Setting("LOG".to_owned())));
    }
    if !args.truth.is_empty() && args.truth.len() != args.logs.len() {
        return Err(Fault::new(
            format!("{} logs and {} truths", args.logs.len(), args.truth.len()),
            "one --truth for each log, in the same order, or none",
            "simulate --log --truth makes both",
        )
        .at(Place::Setting("--truth".to_owned())));
    }
    let settings = decided(&args.deciding)?;
    let truths = args
        .truth
        .iter()
        .map(|path| parse(&files::bytes(path)?, &path.display().to_string()));
    let truths = truths.collect::<Result<Vec<_>, _>>()?;
    let found = Found {
        advised: advise(&Question {
            logs: &args.logs,
            truths: &truths,
            options: &args.reading.options(),
            settings: &settings,
        })?,
        calibration: calibrate(args, &truths, settings.clone(), talk)?,
        settings,
    };
    let text = if args.json {
        format!("{:#}\n", found.document())
    } else {
        found.people()
    };
    super::print(text.as_bytes())?;
    if matches!(found.calibration, Calibration::Edges(_))
        && found.advised.hold_ns != found.settings.hold_ns
    {
        let (own, told) = (found.advised.hold_ns, found.settings.hold_ns);
        talk.note(&format!(
            "the constants were found at a hold of {told} ns, the logs ask for {own} ns: tune again with --hold {own}ns"
        ));
    }
    talk.line(&format!("caution: {CAUTION}"));
    if let Some(path) = &args.config {
        super::write_file(path, found.toml().as_bytes())?;
    }
    if let Some(path) = &args.report {
        super::write_file(path, page::page(&found, args)?.as_bytes())?;
    }
    Ok(if found.advised.own().is_some_and(Rung::is_clean) {
        Outcome::Holds
    } else {
        talk.note(
            "the settings advised miss touches of these logs or tell false ones: see the table",
        );
        Outcome::Not
    })
}

/// What a run of `tune` came to.
struct Found {
    advised: Advised,
    calibration: Calibration,
    settings: Settings,
}

/// Constants out of truths.
enum Calibration {
    /// No truth was given.
    None,
    /// Of a comparator.
    Edges(Box<Calibrated>),
    /// Of light there is only how late it is at each feed.
    Light(Vec<FeedMean>),
}

/// The pairs of all logs, and what they come to.
fn calibrate(
    args: &Tune,
    truths: &[Vec<True>],
    mut settings: Settings,
    talk: &Talk,
) -> Result<Calibration, Fault> {
    if truths.is_empty() {
        return Ok(Calibration::None);
    }
    let mut calibrator = Calibrator::<FEEDS>::new();
    let mut whole = Gathered::default();
    let mut light = 0;
    for ((log, truth), path) in args.logs.iter().zip(truths).zip(&args.truth) {
        // What one log has taught, the next one starts from.
        let names = (log.as_str(), path.display().to_string());
        let one = one_log(&names, truth, args, &settings, &mut calibrator, talk)?;
        settings.chatter = one.learned;
        whole.add(&one.gathered);
        light += usize::from(one.light);
    }
    tell_left_out(&whole, talk);
    if light > 0 {
        return of_light(args, light, &calibrator);
    }
    let calibrated = Calibrated::of(&calibrator, settings.chatter)?;
    Ok(Calibration::Edges(Box::new(calibrated)))
}

/// What became of touches that no pair was made of.
fn tell_left_out(whole: &Gathered, talk: &Talk) {
    for (count, what) in [
        (
            whole.without,
            "true touches without a touch and its release in the log",
        ),
        (whole.unfit, "with a remark on their onset"),
        (whole.far, "more than 1mm late by their feed"),
        (whole.spare, "beyond the 65535 that count at one feed"),
        (whole.strangers, "touches of the logs that no truth has"),
    ] {
        if count > 0 {
            talk.note(&format!("left out: {count} {what}"));
        }
    }
}

/// Samples have neither hysteresis nor chatter: how late they are at each feed is all there is.
fn of_light(
    args: &Tune,
    light: usize,
    calibrator: &Calibrator<FEEDS>,
) -> Result<Calibration, Fault> {
    let wrong = |found: &str, expected: &str, remedy: &str| {
        Err(Fault::new(found, expected, remedy).at(Place::Setting("LOG".to_owned())))
    };
    if light < args.logs.len() {
        return wrong(
            "recordings of light beside logs of edges",
            "one kind: their lateness has nothing in common",
            "tune each kind by itself",
        );
    }
    if args.config.is_some() {
        return wrong(
            "--config with recordings of light",
            "logs of edges: the constants are a comparator's, and a replay of light takes none off",
            "leave --config away to see how late the samples are at each feed",
        );
    }
    let mut feeds: Vec<FeedMean> = calibrator.feeds().collect();
    feeds.sort_by_key(|mean| mean.feed_nm_s);
    Ok(Calibration::Light(feeds))
}

/// What one log gave.
struct OneLog {
    gathered: Gathered,
    learned: Chatter,
    light: bool,
}

/// The pairs of one log.
fn one_log(
    (log, truth_name): &(&str, String),
    truth: &[True],
    args: &Tune,
    settings: &Settings,
    calibrator: &mut Calibrator<FEEDS>,
    talk: &Talk,
) -> Result<OneLog, Fault> {
    let mut rows = Vec::new();
    let done = replay(log, settings, &args.reading.options(), None, &mut |row| {
        rows.push(row);
        Ok(())
    })?;
    let (learned, light) = (done.learned(), done.is_light());
    if let Some(damage) = done.tell(talk) {
        return Err(damage);
    }
    Ok(OneLog {
        gathered: gather(truth, &rows, calibrator, (log, truth_name))?,
        learned,
        light,
    })
}
