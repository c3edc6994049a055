//! The records of a log as items for a device.

use std::collections::VecDeque;

use trueonset_rig::{Item, What, LINES};

use crate::fault::{Fault, Place};
use crate::log::{self, LogReader, Record, ALL_LINES};
use crate::replay::clock::instant;
use crate::replay::Settings;

/// Items of a log in their order, as many at once as a request may want.
pub(super) struct Feed<'a> {
    reader: &'a mut LogReader,
    settings: &'a Settings,
    /// The device's line for each line of the log, where it is wanted and has begun.
    lines: Vec<Option<u8>>,
    names: Vec<String>,
    batch: Vec<Record>,
    waiting: VecDeque<Item>,
    latest_ns: i64,
    over: bool,
    /// Why the log ended early.
    damage: Option<Fault>,
}

/// Items that are always there before the log is over: more than a request holds.
const AHEAD: usize = 128;

impl<'a> Feed<'a> {
    pub(super) fn new(reader: &'a mut LogReader, settings: &'a Settings) -> Self {
        Self {
            reader,
            settings,
            lines: Vec::new(),
            names: Vec::new(),
            batch: Vec::new(),
            waiting: VecDeque::new(),
            latest_ns: i64::MIN,
            over: false,
            damage: None,
        }
    }

    /// The items that wait; none when all were taken.
    pub(super) fn waiting(&mut self) -> Result<&VecDeque<Item>, Fault> {
        while !self.over && self.waiting.len() < AHEAD {
            match self.reader.next_batch(&mut self.batch) {
                Ok(true) => {}
                Ok(false) => self.over = true,
                Err(damage) => {
                    self.damage = Some(damage);
                    self.over = true;
                }
            }
            for record in core::mem::take(&mut self.batch) {
                self.record(&record)?;
            }
            if self.over {
                // Holds that are over by the last row are over.
                self.passed(self.latest_ns);
            }
        }
        Ok(&self.waiting)
    }

    /// The first item, taken off.
    pub(super) fn take(&mut self) -> Option<Item> {
        self.waiting.pop_front()
    }

    /// Names of the device's lines.
    pub(super) fn names(&self) -> &[String] {
        &self.names
    }

    /// Why the log ended early, if it did.
    pub(super) fn damage(self) -> Option<Fault> {
        self.damage
    }

    fn record(&mut self, record: &Record) -> Result<(), Fault> {
        self.latest_ns = self.latest_ns.max(record.time_ns);
        if record.line == ALL_LINES {
            self.passed(record.time_ns);
            return Ok(());
        }
        let index = record.line as usize;
        let what = match record.what {
            log::What::Start(level) => {
                let info = self.reader.lines().get(index);
                let name = info.map(|info| info.name.clone()).unwrap_or_default();
                let Some(touched) = self.settings.wants(&name) else {
                    return Ok(());
                };
                if self.names.len() == LINES {
                    return Err(too_many(&name).at(Place::File(self.reader.file().to_owned())));
                }
                if self.lines.len() <= index {
                    self.lines.resize(index + 1, None);
                }
                self.lines[index] = Some(self.names.len() as u8);
                self.names.push(name);
                What::Start(level, touched)
            }
            log::What::Edge(level) => What::Edge(level),
            log::What::Mark => What::Passed,
        };
        if let Some(Some(line)) = self.lines.get(index) {
            self.waiting.push_back(Item {
                at: instant(record.time_ns),
                line: *line,
                what,
            });
        }
        Ok(())
    }

    /// Time has reached `time_ns` on every line.
    fn passed(&mut self, time_ns: i64) {
        let lines = 0..self.names.len() as u8;
        self.waiting.extend(lines.map(|line| Item {
            at: instant(time_ns),
            line,
            what: What::Passed,
        }));
    }
}

fn too_many(name: &str) -> Fault {
    Fault::new(
        format!("one more line, {name}"),
        format!("at most {LINES} lines, as the device has"),
        "choose some with --line NAME, and test the others in a second run",
    )
}
