//! `check`: the touches of a log against expected ones.

mod expected;
mod junit;
mod verdict;

use super::args::Check;
use super::replay::replay;
use super::settings::settings;
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use verdict::{judge, Finding};

/// Runs it.
pub(crate) fn run(args: &Check, talk: &Talk) -> Result<Outcome, Fault> {
    let settings = settings(&args.deciding, talk)?;
    let all = expected::read(&args.expect)?;
    let count = all.len();
    let expected: Vec<_> = all
        .into_iter()
        .filter(|touch| settings.wants(&touch.line).is_some())
        .collect();
    if expected.len() < count {
        talk.note(&format!(
            "{} expected touches are on lines not asked for",
            count - expected.len()
        ));
    }
    let mut found = Vec::new();
    let done = replay(
        &args.log,
        &settings,
        &args.reading.options(),
        None,
        &mut |row| {
            found.push((row.line, row.onset_ns));
            Ok(())
        },
    )?;
    let findings = judge(&expected, &found, args.within, settings.hold_ns);
    let wrong = findings.iter().filter(|finding| finding.is_wrong()).count();
    let mut text = String::new();
    for finding in findings.iter().filter(|finding| finding.is_wrong()) {
        text += &format!("{finding}\n");
    }
    let matched = findings
        .iter()
        .filter(|finding| matches!(finding, Finding::Matched { .. }))
        .count();
    text += &format!(
        "{matched} of {} expected touches found, {wrong} wrong\n",
        expected.len()
    );
    super::print(text.as_bytes())?;
    // Damage leaves the log unjudged, so no verdict goes to a build server.
    if done.tell(talk).is_some() {
        return Ok(Outcome::CouldNot);
    }
    if let Some(path) = &args.junit {
        super::write_file(path, junit::document(&args.log, &findings)?.as_bytes())?;
    }
    Ok(if wrong == 0 {
        Outcome::Holds
    } else {
        Outcome::Not
    })
}
