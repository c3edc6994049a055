//! Reader of CSV logs as logic analysers and scopes write them.
//!
//! [`dialect`] finds out how a log is written from its first rows; here its rows become records.

pub(crate) mod dialect;
mod fields;

use super::lines::Lines;
use super::options::Initial;
use super::reader::Source;
use super::window::{row_too_long, Window, MAX_ROW_BYTES};
use super::{Level, Options, Record, What, ALL_LINES};
use crate::fault::{excerpt, Fault};
use crate::quantity::Decimal;
use dialect::{Dialect, Shape};
use fields::{is_comment, split, text_of};

/// A log of another program, everything up to its header consumed.
pub(crate) struct Foreign {
    pub(crate) window: Window,
    pub(crate) rows: Rows,
}

impl Foreign {
    pub(crate) fn new(mut window: Window, options: &Options) -> Result<Self, Fault> {
        let mut lines = Lines::new();
        let mut notes = Vec::new();
        let dialect = dialect::find_out(&mut window, options, &mut lines, &mut notes)?;
        let rows = Rows {
            dialect,
            lines,
            initial: options.initial,
            notes,
            told: [false; 3],
            rounded: 0,
            ranges: Vec::new(),
        };
        Ok(Self { window, rows })
    }
}

impl Source for Foreign {
    fn next_batch(&mut self, out: &mut Vec<Record>) -> Result<bool, Fault> {
        let block = self.window.rows()?;
        if block == 0 {
            return Ok(false);
        }
        let (bytes, rows) = (self.window.data(), &mut self.rows);
        let mut at = 0;
        while at < block {
            let rest = &bytes[at..block];
            let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
            rows.row(&rest[..length], out)
                .map_err(|fault| fault.or_at(self.window.place(at)))?;
            at += length + 1;
        }
        self.window.consume(block);
        Ok(true)
    }

    fn lines(&self) -> &Lines {
        &self.rows.lines
    }

    fn notes(&self) -> &[String] {
        &self.rows.notes
    }

    fn rounded(&self) -> u64 {
        self.rows.rounded
    }

    fn declares_lines(&self) -> bool {
        matches!(self.rows.dialect.shape, Shape::Wide(_))
    }
}

/// Things told once.
#[derive(Clone, Copy)]
enum Told {
    Rounded,
    EmptyCell,
    Latin1,
}

/// How the rows are to be taken, and what they have said so far.
pub(crate) struct Rows {
    pub(crate) dialect: Dialect,
    pub(crate) lines: Lines,
    initial: Initial,
    pub(crate) notes: Vec<String>,
    told: [bool; 3],
    rounded: u64,
    /// Where the fields of the row in hand lie; kept to be filled again.
    ranges: Vec<(usize, usize)>,
}

impl Rows {
    fn row(&mut self, row: &[u8], out: &mut Vec<Record>) -> Result<(), Fault> {
        let mut ranges = std::mem::take(&mut self.ranges);
        let done = match self.split(row, &mut ranges) {
            Ok(true) => self.fields(row, &ranges, out),
            Ok(false) => Ok(()),
            Err(fault) => Err(fault),
        };
        self.ranges = ranges;
        done
    }

    /// Where the fields of a row lie. `false` for a row that says nothing.
    pub(crate) fn split(
        &self,
        row: &[u8],
        ranges: &mut Vec<(usize, usize)>,
    ) -> Result<bool, Fault> {
        if row.len() > MAX_ROW_BYTES {
            return Err(row_too_long(row));
        }
        let row = row.strip_suffix(b"\r").unwrap_or(row);
        if is_comment(row) {
            return Ok(false);
        }
        split(row, self.dialect.separator, ranges)?;
        let width = self.dialect.width;
        if ranges.len() < width || ranges[width..].iter().any(|&(from, to)| from < to) {
            return Err(Fault::new(
                format!("{} fields in {}", ranges.len(), excerpt(row)),
                format!("{width} as in the header"),
                "complete or remove the row; with a decimal comma the separator has to be ; or a tab",
            ));
        }
        Ok(true)
    }

    fn fields(
        &mut self,
        row: &[u8],
        ranges: &[(usize, usize)],
        out: &mut Vec<Record>,
    ) -> Result<(), Fault> {
        let field = |column: usize| {
            ranges
                .get(column)
                .map_or(&[][..], |&(from, to)| &row[from..to])
        };
        let time_ns = self.time_ns(field(self.dialect.time))?;
        match &self.dialect.shape {
            Shape::Long { line, level } => {
                let (name_field, level_field) = (field(*line), field(*level));
                let name = self.name(name_field);
                let level = level_of(level_field, &name)?;
                let line = self.line(&name)?;
                let record = self.state(time_ns, line, level, out);
                out.extend(record);
            }
            Shape::Wide(columns) => {
                let before = out.len();
                let mut empty = false;
                for index in 0..columns.len() {
                    let Shape::Wide(columns) = &self.dialect.shape else {
                        break;
                    };
                    let (column, line) = columns[index];
                    let cell = field(column);
                    if cell.is_empty() {
                        empty = true;
                        continue;
                    }
                    let level = level_of(cell, &self.lines.infos()[line as usize].name)?;
                    let record = self.state(time_ns, line, level, out);
                    out.extend(record.filter(|record| record.what != What::Mark));
                }
                if out.len() == before {
                    out.push(Record {
                        time_ns,
                        line: ALL_LINES,
                        what: What::Mark,
                    });
                }
                if empty {
                    self.tell(
                        Told::EmptyCell,
                        "an empty cell is taken as no news of its line",
                    );
                }
            }
        }
        Ok(())
    }

    /// The line name a cell states.
    pub(crate) fn name(&mut self, field: &[u8]) -> String {
        let name = text_of(field);
        if name.latin1 {
            self.tell(
                Told::Latin1,
                "line names that are not UTF-8 are taken as Latin-1",
            );
        }
        name.text
    }

    /// The line of this name, new if need be.
    fn line(&mut self, name: &str) -> Result<u32, Fault> {
        match self.lines.find(name) {
            Some(line) => Ok(line),
            None => self.lines.add(name),
        }
    }

    pub(crate) fn time_ns(&mut self, field: &[u8]) -> Result<i64, Fault> {
        let number = Decimal::parse(field).ok_or_else(|| not_a_time(field))?;
        let (time_ns, exact) = number
            .scaled(1, self.dialect.unit.power(), 1)
            .ok_or_else(|| {
                Fault::new(
                    format!("{} as time in {}", excerpt(field), self.dialect.unit.name()),
                    "a time within 292 years",
                    "check the time unit",
                )
            })?;
        if !exact {
            self.rounded += 1;
            self.tell(
                Told::Rounded,
                "times finer than 1 ns are rounded half to even",
            );
        }
        Ok(time_ns)
    }

    /// The record of a statement, the initial level of the line put before it where the user states one.
    fn state(
        &mut self,
        time_ns: i64,
        line: u32,
        level: Level,
        out: &mut Vec<Record>,
    ) -> Option<Record> {
        let initial = match self.initial {
            Initial::High => Level::High,
            Initial::Low => Level::Low,
            Initial::FirstRow => level,
        };
        if !self.lines.has_begun(line) {
            out.push(self.lines.state(time_ns, line, initial));
            if level == initial {
                return None;
            }
        }
        Some(self.lines.state(time_ns, line, level))
    }

    fn tell(&mut self, what: Told, note: &str) {
        if !std::mem::replace(&mut self.told[what as usize], true) {
            self.notes.push(note.to_owned());
        }
    }
}

fn not_a_time(field: &[u8]) -> Fault {
    Fault::new(
        format!("{} as time", excerpt(field)),
        "a decimal number",
        "correct or remove the row",
    )
}

/// The level a cell states.
fn level_of(cell: &[u8], column: &str) -> Result<Level, Fault> {
    match cell {
        b"0" => return Ok(Level::Low),
        b"1" => return Ok(Level::High),
        _ => {}
    }
    let is = |words: &[&str]| {
        words
            .iter()
            .any(|word| cell.eq_ignore_ascii_case(word.as_bytes()))
    };
    if is(&["low", "l", "false"]) {
        return Ok(Level::Low);
    }
    if is(&["high", "h", "true"]) {
        return Ok(Level::High);
    }
    if is(&["x", "z", "unknown"]) {
        return Ok(Level::Unknown);
    }
    let found = format!(
        "{} as level of {}",
        excerpt(cell),
        excerpt(column.as_bytes())
    );
    match Decimal::parse(cell).map(|number| number.scaled(1, 1, 1)) {
        Some(Some((0, true))) => Ok(Level::Low),
        Some(Some((10, true))) => Ok(Level::High),
        Some(_) => Err(Fault::new(
            found,
            "0 or 1; this looks like an analog value",
            "export the digital channels, or name the columns of levels with --columns",
        )),
        None => Err(Fault::new(
            found,
            "0, 1, low, high, false, true or x",
            "correct the level, or name the columns of levels with --columns",
        )),
    }
}

#[cfg(test)]
mod tests;
