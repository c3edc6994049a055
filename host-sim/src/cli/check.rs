//! `check`: the touches of a log against expected ones.

mod expected;
mod junit;
mod verdict;

use super::args::Check;
use super::files;
use super::replay::replay;
use super::settings::{config_name, settings};
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use verdict::{judge, Finding};

/// Runs it.
pub(crate) fn run(args: &Check, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[
            ("LOG", Some(&args.log)),
            ("--expect", args.expect.to_str()),
            ("--config", config_name(&args.deciding).as_deref()),
        ],
        &[("--junit", args.junit.as_deref())],
    )?;
    let done = judge_log(args, talk);
    if let (Err(fault), Some(path)) = (&done, &args.junit) {
        super::write_file(path, junit::unjudged(&args.log, fault)?.as_bytes())?;
    }
    done
}

fn judge_log(args: &Check, talk: &Talk) -> Result<Outcome, Fault> {
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
    // Beyond a damage nothing was seen, and a hold it has cut off may have become a touch: nothing
    // there is missing.
    let within = i64::try_from(args.within).unwrap_or(i64::MAX);
    let seen = done
        .seen_until_ns()
        .map(|seen_ns| seen_ns.saturating_sub(within));
    let expected: Vec<_> = expected
        .into_iter()
        .filter(|touch| seen.is_none_or(|seen_ns| touch.onset_ns < seen_ns))
        .collect();
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
    let damage = done.tell(talk);
    if let Some(path) = &args.junit {
        let document = junit::document(&args.log, &findings, damage.as_ref())?;
        super::write_file(path, document.as_bytes())?;
    }
    if damage.is_some() {
        return Ok(Outcome::CouldNot);
    }
    Ok(if wrong == 0 {
        Outcome::Holds
    } else {
        Outcome::Not
    })
}
