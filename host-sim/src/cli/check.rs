//! `check`: the touches of a log against expected ones.

mod expected;
pub(super) mod junit;
mod page;
mod verdict;

use std::path::Path;

use super::args::Check;
use super::files;
use super::replay::replay;
use super::settings::{config_name, settings};
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use crate::replay::Settings;
use crate::report::CAUTION;
use expected::Expected;
use verdict::{judge, Finding};

/// Runs it.
pub(crate) fn run(args: &Check, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[
            ("LOG", Some(&args.log)),
            ("--expect", args.expect.to_str()),
            ("--config", config_name(&args.deciding).as_deref()),
        ],
        &[
            ("--junit", args.junit.as_deref()),
            ("--report", args.report.as_deref()),
        ],
    )?;
    let done = judge_log(args, talk);
    if let (Err(fault), Some(path)) = (&done, &args.junit) {
        super::write_file(path, junit::unjudged(&args.log, fault)?.as_bytes())?;
    }
    done
}

fn judge_log(args: &Check, talk: &Talk) -> Result<Outcome, Fault> {
    let settings = settings(&args.deciding, talk)?;
    let wanted = Wanted::read(&args.expect, &settings, talk)?;
    let mut rows = Vec::new();
    let done = replay(
        &args.log,
        &settings,
        &args.reading.options(),
        None,
        &mut |row| {
            rows.push(row);
            Ok(())
        },
    )?;
    let found: Vec<_> = rows
        .iter()
        .map(|row| (row.line.clone(), row.onset_ns))
        .collect();
    let judged = wanted.judge(&found, args.within, done.seen_until_ns());
    super::print(judged.text().as_bytes())?;
    let light = done.is_light();
    // The sum of edges stays the last line.
    talk.line(&format!("caution: {CAUTION}"));
    let damage = done.tell(talk);
    if let Some(path) = &args.junit {
        super::write_file(path, judged.junit(&args.log, damage.as_ref())?.as_bytes())?;
    }
    if let Some(path) = &args.report {
        let seen = page::Seen {
            judged: &judged,
            rows: &rows,
            settings: &settings,
            light,
            damaged: damage.is_some(),
        };
        super::write_file(path, page::page(&seen, args)?.as_bytes())?;
    }
    if damage.is_some() {
        return Ok(Outcome::CouldNot);
    }
    Ok(if judged.wrong() == 0 {
        Outcome::Holds
    } else {
        Outcome::Not
    })
}

/// The touches expected on the lines asked for.
pub(super) struct Wanted {
    touches: Vec<Expected>,
    hold_ns: u64,
}

impl Wanted {
    /// Out of the file of `--expect`.
    pub(super) fn read(path: &Path, settings: &Settings, talk: &Talk) -> Result<Self, Fault> {
        let all = expected::read(path)?;
        let count = all.len();
        let touches: Vec<_> = all
            .into_iter()
            .filter(|touch| settings.wants(&touch.line).is_some())
            .collect();
        if touches.len() < count {
            talk.note(&format!(
                "{} expected touches are on lines not asked for",
                count - touches.len()
            ));
        }
        Ok(Self {
            touches,
            hold_ns: settings.hold_ns,
        })
    }

    /// Against those found, line and onset in ns. Beyond a damage nothing was seen, and a hold it
    /// has cut off may have become a touch: nothing there is missing.
    pub(super) fn judge(
        self,
        found: &[(String, i64)],
        within_ns: u64,
        seen_until_ns: Option<i64>,
    ) -> Judged {
        let within = i64::try_from(within_ns).unwrap_or(i64::MAX);
        let seen = seen_until_ns.map(|seen_ns| seen_ns.saturating_sub(within));
        let expected: Vec<_> = self
            .touches
            .into_iter()
            .filter(|touch| seen.is_none_or(|seen_ns| touch.onset_ns < seen_ns))
            .collect();
        Judged {
            findings: judge(&expected, found, within_ns, self.hold_ns),
            expected: expected.len(),
        }
    }
}

/// Found touches beside expected ones.
pub(super) struct Judged {
    findings: Vec<Finding>,
    expected: usize,
}

impl Judged {
    fn bad(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.is_wrong())
    }

    /// How many speak against the log.
    pub(super) fn wrong(&self) -> usize {
        self.bad().count()
    }

    /// How many were found where they were expected.
    pub(super) fn matched(&self) -> usize {
        self.findings.len() - self.wrong()
    }

    /// Those that speak against it, in words.
    pub(super) fn findings(&self) -> Vec<String> {
        self.bad().map(ToString::to_string).collect()
    }

    /// The same, and the sum.
    pub(super) fn text(&self) -> String {
        let mut text = String::new();
        for finding in self.bad() {
            text += &format!("{finding}\n");
        }
        let (matched, wrong) = (self.matched(), self.wrong());
        text + &format!(
            "{matched} of {} expected touches found, {wrong} wrong\n",
            self.expected
        )
    }

    /// As `JUnit` XML; a damage that ended the log early is an error in it.
    pub(super) fn junit(&self, log: &str, damage: Option<&Fault>) -> Result<String, Fault> {
        junit::document(log, &self.findings, damage)
    }
}
