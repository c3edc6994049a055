//! Reader of light in the CSV of scopes and logic analysers, its columns named by the user.

use super::grid::{Grids, Sample};
use super::reader::{check_count, line_of, Source};
use super::{LightRecord, Rate};
use crate::fault::{excerpt, Fault};
use crate::log::foreign::dialect::Shape;
use crate::log::foreign::{Foreign, Rows};
use crate::log::lines::Lines;
use crate::log::window::Window;
use crate::log::Options;
use crate::quantity::Decimal;

/// A recording of another program, everything up to its header consumed.
pub(super) struct Scope {
    window: Window,
    rows: Rows,
    cells: Cells,
    grids: Grids,
    /// Where the fields of the row in hand lie; kept to be filled again.
    ranges: Vec<(usize, usize)>,
}

/// Where the cells of light stand, and what they have said so far.
struct Cells {
    places: Places,
    below_zero: u64,
    told: [bool; 3],
}

enum Places {
    /// Columns of names and of light, and counts a unit of the latter.
    Long {
        line: usize,
        light: usize,
        factor: u32,
    },
    Wide(Vec<Column>),
}

struct Column {
    at: usize,
    line: u32,
    factor: u32,
    name: String,
}

/// Things told once.
#[derive(Clone, Copy)]
enum Told {
    BelowZero,
    Rounded,
    EmptyCell,
}

impl Scope {
    pub(super) fn new(window: Window, options: &Options) -> Result<Self, Fault> {
        let Foreign { window, rows } = Foreign::new(window, options)?;
        let infos = rows.lines.infos();
        check_count(infos.len()).map_err(|fault| fault.or_at(window.place(0)))?;
        let columns = options.columns.clone().unwrap_or_default();
        let places = match &rows.dialect.shape {
            &Shape::Long { line, level } => Places::Long {
                line,
                light: level,
                factor: columns.lights.first().map_or(1, |light| light.factor),
            },
            Shape::Wide(wide) => Places::Wide(
                wide.iter()
                    .map(|&(at, line)| {
                        let name = infos[line as usize].name.clone();
                        Column {
                            at,
                            line,
                            factor: columns.factor(&name),
                            name,
                        }
                    })
                    .collect(),
            ),
        };
        Ok(Self {
            grids: Grids::new(window.file()),
            window,
            rows,
            cells: Cells {
                places,
                below_zero: 0,
                told: [false; 3],
            },
            ranges: Vec::new(),
        })
    }
}

impl Source for Scope {
    fn next_batch(&mut self, out: &mut Vec<LightRecord>) -> Result<bool, Fault> {
        let block = self.window.rows()?;
        if block == 0 {
            return Ok(false);
        }
        let bytes = self.window.data();
        let (mut at, mut number) = (0, self.window.line());
        while at < block {
            let rest = &bytes[at..block];
            let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
            let row = &rest[..length];
            self.rows
                .split(row, &mut self.ranges)
                .and_then(|says_something| {
                    if !says_something {
                        return Ok(());
                    }
                    let fields = Fields {
                        row,
                        ranges: &self.ranges,
                        number,
                    };
                    self.cells
                        .take(&fields, &mut self.rows, &mut self.grids, out)
                })
                .map_err(|fault| fault.or_at(self.window.place(at)))?;
            at += length + 1;
            number += 1;
        }
        self.window.consume(block);
        Ok(true)
    }

    fn finish(&mut self, out: &mut Vec<LightRecord>) -> Result<(), Fault> {
        self.grids.finish(out)
    }

    fn lines(&self) -> &Lines {
        &self.rows.lines
    }

    fn rate(&self, line: usize) -> Option<Rate> {
        self.grids.rate(line)
    }

    fn notes(&self) -> &[String] {
        &self.rows.notes
    }

    fn below_zero(&self) -> u64 {
        self.cells.below_zero
    }

    fn declares_lines(&self) -> bool {
        matches!(self.cells.places, Places::Wide(_))
    }
}

/// A row taken apart.
struct Fields<'a> {
    row: &'a [u8],
    ranges: &'a [(usize, usize)],
    /// Of the row in its file, from 1.
    number: u64,
}

impl<'a> Fields<'a> {
    fn at(&self, column: usize) -> &'a [u8] {
        self.ranges
            .get(column)
            .map_or(&[][..], |&(from, to)| &self.row[from..to])
    }
}

impl Cells {
    /// The samples of a row.
    fn take(
        &mut self,
        fields: &Fields,
        rows: &mut Rows,
        grids: &mut Grids,
        out: &mut Vec<LightRecord>,
    ) -> Result<(), Fault> {
        let time_ns = rows.time_ns(fields.at(rows.dialect.time))?;
        let sample = |counts| Sample {
            time_ns,
            counts,
            row: fields.number,
        };
        match &self.places {
            &Places::Long {
                line,
                light,
                factor,
            } => {
                let name = rows.name(fields.at(line));
                let value = Value::read(fields.at(light), factor, &name)?;
                let line = line_of(&mut rows.lines, &name)?;
                let counts = self.counts(value, &mut rows.notes);
                grids.take(line, sample(counts), out)
            }
            Places::Wide(columns) => {
                // All cells before the first sample: a row with a damage says nothing.
                let values: Vec<_> = columns
                    .iter()
                    .map(|column| {
                        let cell = fields.at(column.at);
                        if cell.is_empty() {
                            return Ok((column.line, None));
                        }
                        let value = Value::read(cell, column.factor, &column.name)?;
                        Ok((column.line, Some(value)))
                    })
                    .collect::<Result<_, Fault>>()?;
                for (line, value) in values {
                    let Some(value) = value else {
                        self.tell(
                            Told::EmptyCell,
                            "an empty cell is taken as a missing sample",
                            &mut rows.notes,
                        );
                        continue;
                    };
                    let counts = self.counts(value, &mut rows.notes);
                    grids.take(line, sample(counts), out)?;
                }
                Ok(())
            }
        }
    }

    fn counts(&mut self, value: Value, notes: &mut Vec<String>) -> u32 {
        if !value.exact {
            self.tell(
                Told::Rounded,
                "light is rounded half to even to whole counts",
                notes,
            );
        }
        if value.counts < 0 {
            self.below_zero += 1;
            self.tell(
                Told::BelowZero,
                "values below 0 are taken as no light",
                notes,
            );
        }
        u32::try_from(value.counts).unwrap_or(0)
    }

    fn tell(&mut self, what: Told, note: &str, notes: &mut Vec<String>) {
        if !std::mem::replace(&mut self.told[what as usize], true) {
            notes.push(note.to_owned());
        }
    }
}

/// The light a cell states, in counts, at most `u32::MAX`.
#[derive(Clone, Copy)]
struct Value {
    counts: i64,
    exact: bool,
}

impl Value {
    fn read(cell: &[u8], factor: u32, column: &str) -> Result<Self, Fault> {
        let refuse = |expected: &str, remedy: &str| {
            let (cell, column) = (excerpt(cell), excerpt(column.as_bytes()));
            Fault::new(format!("{cell} as light of {column}"), expected, remedy)
        };
        let number = Decimal::parse(cell).ok_or_else(|| {
            refuse(
                "a decimal number",
                "correct or remove the row, or leave the cell empty where the sample is missing",
            )
        })?;
        match number.scaled(u64::from(factor), 0, 1) {
            Some((_, false)) if factor == 1 => Err(refuse(
                "whole counts",
                "state counts a unit, such as light=NAME*1000 for a column in volts",
            )),
            Some((counts, exact)) if counts <= i64::from(u32::MAX) => Ok(Self { counts, exact }),
            _ => Err(refuse(
                "at most 4294967295 counts",
                "state a smaller factor, or check the column",
            )),
        }
    }
}
