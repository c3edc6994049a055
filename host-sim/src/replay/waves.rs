//! What was decided, drawn beside the log: a value change dump for any wave viewer.
//!
//! Each line NAME of the log gets three more: `NAME.touch` (contact after confirmation),
//! `NAME.onset` (a pulse from the onset, as long as its doubt) and `NAME.glitch` (high from the
//! first to the last edge of what came to nothing).

use std::collections::BTreeMap;
use std::io::Write;

use trueonset::onset::{Contact, Event};

use super::clock::{log_ns, nearest_log_ns};
use super::engine::Happening;
use super::order::Lines;
use super::row::doubt_ns;
use crate::fault::Fault;
use crate::log::{Level, Record, Target, What, Writer, ALL_LINES};

const TOUCH: u32 = 1;
const ONSET: u32 = 2;
const GLITCH: u32 = 3;

/// Changes held back at most, 5 MB.
const MOST: usize = 1 << 16;

/// Writes the dump; holds changes back until nothing can come before them.
pub struct Waves<'a> {
    writer: Writer<'a>,
    waiting: BTreeMap<(i64, u64), Record>,
    count: u64,
    /// When each line began: nothing is drawn before it.
    began_ns: Vec<i64>,
    moved: u64,
}

impl<'a> Waves<'a> {
    /// Starts a dump of lines `names`, in the order of the log.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn new(out: impl Write + 'a, file: &str, names: &[String]) -> Result<Self, Fault> {
        let all: Vec<String> = names
            .iter()
            .flat_map(|name| {
                let of = |what| format!("{name}.{what}");
                [name.clone(), of("touch"), of("onset"), of("glitch")]
            })
            .collect();
        Ok(Self {
            writer: Writer::new(Target::Vcd, out, file, &all, true)?,
            waiting: BTreeMap::new(),
            count: 0,
            began_ns: vec![i64::MIN; names.len()],
            moved: 0,
        })
    }

    fn push(&mut self, time_ns: i64, line: u32, what: What) {
        self.waiting.insert(
            (time_ns, self.count),
            Record {
                time_ns,
                line,
                what,
            },
        );
        self.count += 1;
    }

    /// Takes a record of the log.
    pub fn record(&mut self, record: &Record) {
        if record.line == ALL_LINES {
            return;
        }
        let first = record.line * 4;
        if let (What::Start(_), Some(began)) =
            (record.what, self.began_ns.get_mut(record.line as usize))
        {
            *began = record.time_ns;
        }
        self.push(record.time_ns, first, record.what);
        if let What::Start(_) = record.what {
            for signal in [TOUCH, ONSET, GLITCH] {
                self.push(record.time_ns, first + signal, What::Start(Level::Low));
            }
        }
    }

    /// Takes what happened on a line.
    pub fn happening(&mut self, happening: &Happening) {
        let first = happening.line * 4;
        match happening.event {
            Event::Touch(touch) => self.contact(first, &touch, Level::High),
            Event::Release(release) => self.contact(first, &release, Level::Low),
            Event::Glitch(glitch) => {
                let (from, to) = (log_ns(glitch.first_edge), log_ns(glitch.last_edge));
                self.push(from, first + GLITCH, What::Edge(Level::High));
                self.push(to.max(from + 1), first + GLITCH, What::Edge(Level::Low));
            }
            _ => {}
        }
    }

    fn contact(&mut self, first: u32, contact: &Contact, level: Level) {
        // What a calibration takes off can reach back before the log.
        let found = nearest_log_ns(contact.onset);
        let began = self.began_ns.get(first as usize / 4);
        let onset = found.max(began.copied().unwrap_or(found));
        self.moved += u64::from(onset > found);
        let width = i64::try_from(doubt_ns(contact).unwrap_or(1)).unwrap_or(i64::MAX);
        self.push(onset, first + ONSET, What::Edge(Level::High));
        self.push(
            onset.saturating_add(width),
            first + ONSET,
            What::Edge(Level::Low),
        );
        self.push(log_ns(contact.confirmed), first + TOUCH, What::Edge(level));
    }

    /// Writes what can no longer be preceded.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn advance(&mut self, engine: &dyn Lines) -> Result<(), Fault> {
        let until = engine.settled_until_ns();
        let mut full = self.waiting.len() > MOST;
        while let Some(entry) = self.waiting.first_entry() {
            if entry.key().0 >= until && !full {
                break;
            }
            self.writer.write(&entry.remove())?;
            full = self.waiting.len() > MOST;
        }
        Ok(())
    }

    /// Writes the rest; returns how many changes had to be drawn later than they were.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn finish(mut self) -> Result<u64, Fault> {
        for record in std::mem::take(&mut self.waiting).into_values() {
            self.writer.write(&record)?;
        }
        let moved = self.moved;
        self.writer.finish().map(|loss| moved + loss.times_moved)
    }
}
