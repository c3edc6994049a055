//! Rows in the order of their onsets, lines in the order of the log on ties.

use std::collections::BTreeMap;

use trueonset::onset::{Contact, Event};

use super::engine::Happening;
use super::row::Row;

/// Who knows the lines of a log and how far they have got.
pub trait Lines {
    /// Name of a line.
    fn name(&self, line: u32) -> &str;

    /// No line can still report an onset before this time, ns.
    fn settled_until_ns(&self) -> i64;
}

/// Rows held back at most, 3 MB: a line that never lets go must not fill the memory.
const MOST: usize = 1 << 13;

/// Holds rows back until none can come before them and their releases are known.
#[derive(Default)]
pub struct Order {
    rows: BTreeMap<(i64, u32, u64), (Row, Contact)>,
    open: BTreeMap<u32, (i64, u32, u64)>,
    count: u64,
    early: u64,
    unordered: u64,
}

impl Order {
    /// Takes what happened.
    pub fn take(&mut self, engine: &dyn Lines, happening: &Happening) {
        let line = happening.line;
        match happening.event {
            Event::Touch(touch) => {
                let row = Row::of(engine.name(line), &touch);
                let key = (row.onset_ns, line, self.count);
                self.count += 1;
                self.open.insert(line, key);
                self.rows.insert(key, (row, touch));
            }
            Event::Release(release) => {
                let held = self.open.remove(&line);
                if let Some((row, touch)) = held.and_then(|key| self.rows.get_mut(&key)) {
                    row.released(touch, &release, happening.cutter.as_ref());
                }
            }
            _ => {}
        }
    }

    /// The next row that is complete and cannot be preceded any more.
    pub fn next_ready(&mut self, engine: &dyn Lines) -> Option<Row> {
        let (key, _) = self.rows.first_key_value()?;
        let held = self.open.get(&key.1) == Some(key);
        let unsettled = key.0 >= engine.settled_until_ns();
        if self.rows.len() > MOST {
            self.early += u64::from(held);
            self.unordered += u64::from(unsettled);
        } else if held || unsettled {
            return None;
        }
        self.rows.pop_first().map(|(_, (row, _))| row)
    }

    /// All that is left, at the end of the log.
    pub fn rest(self) -> impl Iterator<Item = Row> {
        self.rows.into_values().map(|(row, _)| row)
    }

    /// Touches handed on before their release was known.
    #[must_use]
    pub fn early(&self) -> u64 {
        self.early
    }

    /// Touches handed on before it was certain that none comes before them.
    #[must_use]
    pub fn unordered(&self) -> u64 {
        self.unordered
    }

    /// Touches seen.
    #[must_use]
    pub fn touches(&self) -> u64 {
        self.count
    }
}
