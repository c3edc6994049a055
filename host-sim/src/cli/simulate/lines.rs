//! The two lines at the board: what the touches of a log come to behind the link.

use std::path::Path;

use trueonset::edge::{Edge, Level as Side};
use trueonset::onset::{Config, Contact, Event, Line};
use trueonset::time::{Instant, TickRate};

use super::Log;
use crate::fault::{Fault, Place};
use crate::log::{Level, Record, What};
use crate::scenario::{Link, Scenario, Sensing, Touch};
use crate::study::over_air::{watch, Edges, Outputs};

/// The lines in their log.
const NAMES: [&str; 2] = ["ready", "run"];

/// The barrier's own line on the way to the link, and the log of the two lines.
pub(super) struct Lines {
    link: Link,
    config: Config,
    line: Line,
    told: Vec<Edges>,
    log: Log,
}

impl Lines {
    /// # Errors
    /// A scenario without a link, one whose touches are no edges of one contact each, or a file that cannot be
    /// written.
    pub(super) fn create(path: &Path, scenario: &Scenario) -> Result<Self, Fault> {
        let refuse = |found: &str, expected: &str, remedy: &str| {
            Fault::new(found, expected, remedy).at(Place::Setting("--lines".to_owned()))
        };
        let Some(link) = scenario.link else {
            let remedy = "add a table [link], or leave --lines out";
            return Err(refuse(
                "a scenario without a link",
                "lines behind a link",
                remedy,
            ));
        };
        if matches!(scenario.sensing, Sensing::Samples { .. }) || scenario.cutter.is_some() {
            return Err(refuse(
                "a scenario with [sampling] or [spindle]",
                "edges of a comparator, a contact each",
                "remove the table, or use sweep",
            ));
        }
        let config = Config::new(TickRate::NANOSECONDS, scenario.hold_ns)
            .and_then(|config| config.bandwidth_hz(scenario.bandwidth_hz))
            .map_err(|why| {
                refuse(
                    "this hold or bandwidth",
                    "settings the core takes",
                    &why.to_string(),
                )
            })?;
        Ok(Self {
            link,
            config,
            line: Line::new(&config, Side::Low, Instant::default()),
            told: Vec::new(),
            log: Log::create(path, &NAMES)?,
        })
    }

    /// The edges of one touch and its truth; `end_ns` is where they end.
    pub(super) fn touch(&mut self, truth: &Touch, edges: &[(i64, bool)], end_ns: u64) {
        for &(at_ns, high) in edges {
            let side = if high { Side::High } else { Side::Low };
            let edge = Edge::new(Instant::from_ticks(at_ns.max(0) as u64), side);
            let event = self.line.edge(&self.config, edge);
            self.take(truth, event);
        }
        let event = self.line.poll(&self.config, Instant::from_ticks(end_ns));
        self.take(truth, event);
    }

    fn take(&mut self, truth: &Touch, event: Option<Event>) {
        let ns = |at: Instant| at.ticks() as i64;
        let mut tell = |contact: Contact, touched, true_ns: i64| {
            self.told.push(Edges {
                true_ns: true_ns.min(ns(contact.confirmed)),
                onset_ns: ns(contact.onset.nearest()),
                told_ns: ns(contact.confirmed),
                touched,
            });
        };
        match event {
            Some(Event::Touch(contact)) => tell(contact, true, truth.onset_ns),
            Some(Event::Release(contact)) => tell(contact, false, truth.release_ns),
            _ => {}
        }
    }

    /// Carries all of it and writes the lines up to `end_ns`; how many touches met READY.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub(super) fn finish(mut self, end_ns: i64, seed: u64) -> Result<u64, Fault> {
        let (flown, course) = watch(&self.link, &self.told, end_ns, seed, false)?;
        let begun = course.outputs.partition_point(|outputs| outputs.at_ns <= 0);
        let (before, after) = course.outputs.split_at(begun);
        let levels = |outputs: &Outputs| [outputs.ready, outputs.run];
        let mut now = before.last().map_or([false; 2], levels);
        for (line, &high) in (0..).zip(&now) {
            self.level(0, line, What::Start(level(high)))?;
        }
        for outputs in after.iter().filter(|outputs| outputs.at_ns < end_ns) {
            let next = levels(outputs);
            for (line, (&old, &new)) in (0..).zip(now.iter().zip(&next)) {
                if old != new {
                    self.level(outputs.at_ns, line, What::Edge(level(new)))?;
                }
            }
            now = next;
        }
        self.log.finish(end_ns)?;
        Ok(flown.under_ready)
    }

    fn level(&mut self, time_ns: i64, line: u32, what: What) -> Result<(), Fault> {
        self.log.writer.write(&Record {
            time_ns,
            line,
            what,
        })
    }
}

fn level(high: bool) -> Level {
    if high {
        Level::High
    } else {
        Level::Low
    }
}
