//! What was decided about a light recording, drawn beside it: a value change dump (IEEE 1364) for
//! any wave viewer.
//!
//! Each line NAME of the recording is a whole number, its light in counts, with three signals
//! beside it: `NAME.touch` (contact after confirmation), `NAME.onset` (a pulse from the onset, as
//! long as its doubt) and `NAME.glitch` (from the first to the last crossing of what came to
//! nothing). Light at rest is written when it has moved by 1/128; while the light crosses, every
//! change, thinned out only where a crossing is longer than memory.

use std::collections::BTreeMap;
use std::io::{BufWriter, Write};

use trueonset::onset::{Contact, Event};

use super::clock::{log_ns, nearest_log_ns};
use super::engine::Happening;
use super::light::LightEngine;
use super::order::Lines;
use super::row::doubt_ns;
use crate::fault::Fault;
use crate::light::LightRecord;
use crate::log::vcd_out::{identifier, word};

/// Changes held back at most, 5 MB.
const MOST: usize = 1 << 16;
/// Signals of a line.
const SIGNALS: usize = 4;
const TOUCH: usize = 1;
const ONSET: usize = 2;
const GLITCH: usize = 3;

#[derive(Clone, Copy)]
enum Change {
    Light(u32),
    Level(bool),
}

/// Writes the dump; holds changes back until nothing can come before them.
pub struct LightWaves<'a> {
    out: BufWriter<Box<dyn Write + 'a>>,
    file: String,
    waiting: BTreeMap<(i64, u64), (usize, Change)>,
    count: u64,
    latest_ns: i64,
    /// Light of each line as last taken.
    shown: Vec<Option<u32>>,
    moved: u64,
    thinned: u64,
}

impl<'a> LightWaves<'a> {
    /// Starts a dump of lines `names`, in the order of the recording.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn new(out: impl Write + 'a, file: &str, names: &[String]) -> Result<Self, Fault> {
        let mut waves = Self {
            out: BufWriter::with_capacity(1 << 16, Box::new(out)),
            file: file.to_owned(),
            waiting: BTreeMap::new(),
            count: 0,
            latest_ns: i64::MIN,
            shown: vec![None; names.len()],
            moved: 0,
            thinned: 0,
        };
        let mut head = String::from("$timescale 1 ns $end\n$scope module light $end\n");
        for (line, name) in names.iter().enumerate() {
            let (name, first) = (word(name), line * SIGNALS);
            head += &format!("$var integer 32 {} {name} $end\n", identifier(first));
            for (signal, of) in [(TOUCH, "touch"), (ONSET, "onset"), (GLITCH, "glitch")] {
                let id = identifier(first + signal);
                head += &format!("$var wire 1 {id} {name}.{of} $end\n");
            }
        }
        head += "$upscope $end\n$enddefinitions $end\n";
        waves.put(&head)?;
        for line in 0..names.len() {
            for signal in [TOUCH, ONSET, GLITCH] {
                waves.push(i64::MIN, line * SIGNALS + signal, Change::Level(false));
            }
        }
        Ok(waves)
    }

    fn push(&mut self, time_ns: i64, signal: usize, change: Change) {
        self.waiting.insert((time_ns, self.count), (signal, change));
        self.count += 1;
    }

    /// Takes a sample; `crossing` while its light is between rest and dark.
    pub fn record(&mut self, record: &LightRecord, crossing: bool) {
        let line = record.line as usize;
        let Some(shown) = self.shown.get_mut(line) else {
            return;
        };
        let step = if crossing { 0 } else { record.counts >> 7 };
        if shown.is_none_or(|shown| shown.abs_diff(record.counts) > step) {
            *shown = Some(record.counts);
            self.push(record.time_ns, line * SIGNALS, Change::Light(record.counts));
        }
    }

    /// Takes what happened on a line.
    pub fn happening(&mut self, happening: &Happening) {
        let first = happening.line as usize * SIGNALS;
        match happening.event {
            Event::Touch(touch) => self.contact(first, &touch, true),
            Event::Release(release) => self.contact(first, &release, false),
            Event::Glitch(glitch) => {
                let (from, to) = (log_ns(glitch.first_edge), log_ns(glitch.last_edge));
                self.push(from, first + GLITCH, Change::Level(true));
                self.push(to.max(from + 1), first + GLITCH, Change::Level(false));
            }
            _ => {}
        }
    }

    fn contact(&mut self, first: usize, contact: &Contact, touched: bool) {
        let onset = nearest_log_ns(contact.onset);
        let width = i64::try_from(doubt_ns(contact).unwrap_or(1)).unwrap_or(i64::MAX);
        self.push(onset, first + ONSET, Change::Level(true));
        self.push(
            onset.saturating_add(width),
            first + ONSET,
            Change::Level(false),
        );
        self.push(
            log_ns(contact.confirmed),
            first + TOUCH,
            Change::Level(touched),
        );
    }

    /// Writes what can no longer be preceded.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn advance(&mut self, engine: &LightEngine) -> Result<(), Fault> {
        let until = engine.settled_until_ns();
        while let Some(entry) = self.waiting.first_entry() {
            if entry.key().0 >= until {
                break;
            }
            let ((time_ns, _), (signal, change)) = entry.remove_entry();
            self.write(time_ns, signal, change)?;
        }
        if self.waiting.len() > MOST {
            let before = self.waiting.len();
            let mut odd = false;
            self.waiting.retain(|_, (_, change)| {
                odd = !odd;
                odd || matches!(change, Change::Level(_))
            });
            self.thinned += (before - self.waiting.len()) as u64;
        }
        Ok(())
    }

    /// Writes the rest; returns how many changes had to be drawn later than they were, and how
    /// many samples of long crossings were left out.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn finish(mut self) -> Result<(u64, u64), Fault> {
        for ((time_ns, _), (signal, change)) in std::mem::take(&mut self.waiting) {
            self.write(time_ns, signal, change)?;
        }
        let flushed = self.out.flush();
        flushed.map_err(|why| Fault::io(&self.file, "write", &why))?;
        Ok((self.moved, self.thinned))
    }

    fn write(&mut self, time_ns: i64, signal: usize, change: Change) -> Result<(), Fault> {
        // A dump begins at 0 and never goes back; signals begin with it.
        let earliest = self.latest_ns.max(0);
        if time_ns < earliest && time_ns != i64::MIN {
            self.moved += 1;
        }
        let at = time_ns.max(earliest);
        let id = identifier(signal);
        let mark = if at == self.latest_ns {
            String::new()
        } else {
            format!("#{at}\n")
        };
        self.latest_ns = at;
        let value = match change {
            Change::Light(counts) => format!("b{counts:b} {id}\n"),
            Change::Level(high) => format!("{}{id}\n", u8::from(high)),
        };
        self.put(&(mark + &value))
    }

    fn put(&mut self, text: &str) -> Result<(), Fault> {
        let put = self.out.write_all(text.as_bytes());
        put.map_err(|why| Fault::io(&self.file, "write", &why))
    }
}
