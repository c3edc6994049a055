//! How a CSV log of another program is written, found out from its first rows.

use super::fields::{is_comment, split, text_of};
use super::{level_of, not_a_time};
use crate::fault::{excerpt, Fault, Place};
use crate::log::lines::Lines;
use crate::log::options::Initial;
use crate::log::window::{row_too_long, Window, MAX_ROW_BYTES};
use crate::log::{Columns, Options, TimeUnit};
use crate::quantity::Decimal;

/// Tried in this order: a row that holds a tab or a semicolon may hold decimal commas as well.
const SEPARATORS: [u8; 3] = [b'\t', b';', b','];

/// The rows of a log, described.
pub(crate) struct Dialect {
    pub(super) separator: u8,
    /// Number of columns.
    pub(super) width: usize,
    /// The column of times.
    pub(crate) time: usize,
    pub(super) unit: TimeUnit,
    pub(crate) shape: Shape,
}

/// Where lines and levels stand.
pub(crate) enum Shape {
    /// One line a row.
    Long {
        /// The column of names.
        line: usize,
        /// The column of levels.
        level: usize,
    },
    /// Column and line, for each line.
    Wide(Vec<(usize, u32)>),
}

/// A row that may be the header.
struct Candidate {
    separator: u8,
    names: Vec<String>,
    latin1: bool,
}

impl Candidate {
    fn column(&self, name: &str) -> Option<usize> {
        let exact = self.names.iter().position(|known| known == name);
        exact.or_else(|| {
            self.names
                .iter()
                .position(|known| known.eq_ignore_ascii_case(name))
        })
    }

    /// Whether its columns beside the time have names, not values such as `12:30` or `0.5`.
    fn has_names(&self, time: usize) -> bool {
        let is_value = |name: &str| {
            let mark = |byte: u8| b":./-".contains(&byte);
            let value = |byte: u8| byte.is_ascii_digit() || mark(byte) || b"+, ".contains(&byte);
            // A mere number may be the name of a channel.
            name.bytes().all(value) && name.bytes().any(mark)
        };
        let mut others = self.names.iter().enumerate().filter(|(at, _)| *at != time);
        !others.any(|(_, name)| is_value(name))
    }

    fn has_all(&self, columns: &Columns) -> bool {
        columns.names().all(|name| self.column(name).is_some())
    }

    /// The column of times.
    fn time(&self, columns: Option<&Columns>) -> Option<usize> {
        match columns.and_then(|columns| columns.time.as_ref()) {
            Some(name) => self.column(name),
            None => self.names.iter().position(|name| is_time(name)),
        }
    }
}

/// Consumes everything up to the first row of data and tells how to read on.
pub(super) fn find_out(
    window: &mut Window,
    options: &Options,
    lines: &mut Lines,
    notes: &mut Vec<String>,
) -> Result<Dialect, Fault> {
    let columns = options.columns.as_ref();
    let mut skipped = 0_u64;
    // The first row, with its place, for the message that there is no header.
    let mut first: Option<(Vec<u8>, Place)> = None;
    // What is wrong below the first row that looked like a header, should no better one come.
    let mut doubt: Option<Fault> = None;
    loop {
        let Some(row) = next_row(window)? else {
            return Err(doubt.unwrap_or_else(|| no_header(columns, first, window)));
        };
        let header_place = window.place(0);
        if is_comment(&row) {
            window.consume(row.len());
            continue;
        }
        if columns.is_none() {
            if let Some(data) = candidates(&row).iter().find(|row| is_data(row)) {
                if let Some(damage) = doubt {
                    return Err(damage);
                }
                return headerless(data, options, lines, notes)
                    .map_err(|fault| fault.or_at(header_place.clone()));
            }
        }
        window.consume(row.len());
        for candidate in candidates(&row) {
            let named = columns.is_none_or(|columns| candidate.has_all(columns));
            let Some(time) = candidate
                .time(columns)
                .filter(|&time| named && candidate.names.len() > 1 && candidate.has_names(time))
            else {
                continue;
            };
            let below = below(window, &candidate, time, columns)?;
            match below {
                // With its columns named by the user, a row is the header beyond doubt.
                Below::Other(fault) if columns.is_some() => return Err(fault),
                Below::Other(fault) => {
                    doubt.get_or_insert(fault);
                    continue;
                }
                Below::Damaged(fault) => return Err(fault),
                Below::Number | Below::Unit(_) => {}
            }
            let stated = unit_of(&candidate.names[time]).or(if let Below::Unit(unit) = below {
                Some(unit)
            } else {
                None
            });
            if skipped > 0 {
                notes.push(format!("{skipped} rows before the header are skipped"));
            }
            return describe(&candidate, time, stated, options, lines, notes)
                .map_err(|fault| fault.or_at(header_place));
        }
        first.get_or_insert((row, header_place));
        skipped += 1;
    }
}

/// The next row with its line feed, a copy; `None` at the end.
fn next_row(window: &mut Window) -> Result<Option<Vec<u8>>, Fault> {
    let block = window.rows()?;
    let rows = &window.data()[..block];
    let length = memchr::memchr(b'\n', rows).map_or(block, |at| at + 1);
    if length > MAX_ROW_BYTES {
        return Err(row_too_long(&rows[..length]).at(window.place(0)));
    }
    Ok((length > 0).then(|| rows[..length].to_owned()))
}

fn candidates(row: &[u8]) -> Vec<Candidate> {
    let mut ranges = Vec::new();
    let row = row.trim_ascii_end();
    let mut found = Vec::new();
    for separator in SEPARATORS {
        if !row.contains(&separator) || split(row, separator, &mut ranges).is_err() {
            continue;
        }
        let texts: Vec<_> = ranges
            .iter()
            .map(|&(from, to)| text_of(&row[from..to]))
            .collect();
        let latin1 = texts.iter().any(|text| text.latin1);
        let mut names: Vec<String> = texts.into_iter().map(|text| text.text).collect();
        // A separator at the end of each row makes columns without a name.
        while names.last().is_some_and(String::is_empty) {
            names.pop();
        }
        found.push(Candidate {
            separator,
            names,
            latin1,
        });
    }
    found
}

/// What stands below the name of the column of times.
enum Below {
    /// A number: this is the header. The end of the log bears out any header.
    Number,
    /// A row of units, now consumed.
    Unit(TimeUnit),
    /// A row of levels or light whose time is no number: this is the header, and the row is damaged.
    Damaged(Fault),
    /// Something else, and why it is no data: unless no better one comes, this is no header.
    Other(Fault),
}

fn below(
    window: &mut Window,
    header: &Candidate,
    time: usize,
    columns: Option<&Columns>,
) -> Result<Below, Fault> {
    let mut ranges = Vec::new();
    loop {
        let Some(row) = next_row(window)? else {
            return Ok(Below::Number);
        };
        if is_comment(&row) {
            window.consume(row.len());
            continue;
        }
        if let Err(fault) = split(row.trim_ascii_end(), header.separator, &mut ranges) {
            return Ok(Below::Other(fault.or_at(window.place(0))));
        }
        let field = ranges
            .get(time)
            .map_or(&[][..], |&(from, to)| &row[from..to]);
        if Decimal::parse(field).is_some() {
            return Ok(Below::Number);
        }
        let text = text_of(field).text.to_lowercase();
        let Some(unit) = unit_word(text.trim_matches(['(', ')', '[', ']'])) else {
            let light = columns
                .and_then(|columns| columns.lights.first())
                .and_then(|light| header.column(&light.name));
            let is_value = |column: usize, cell: &[u8]| {
                level_of(cell, "").is_ok()
                    || (light == Some(column) && Decimal::parse(cell).is_some())
            };
            let values = ranges.len() == header.names.len()
                && ranges.iter().enumerate().any(|(column, &(from, to))| {
                    column != time && is_value(column, &row[from..to])
                });
            let damage = not_a_time(field).at(window.place(0));
            return Ok(if values {
                Below::Damaged(damage)
            } else {
                Below::Other(damage)
            });
        };
        window.consume(row.len());
        return Ok(Below::Unit(unit));
    }
}

/// Whether every field is a number: a row of data, though not one this reader need understand.
fn is_data(row: &Candidate) -> bool {
    row.names.len() > 1
        && row
            .names
            .iter()
            .all(|field| Decimal::parse(field.as_bytes()).is_some())
}

fn describe(
    header: &Candidate,
    time: usize,
    stated: Option<TimeUnit>,
    options: &Options,
    lines: &mut Lines,
    notes: &mut Vec<String>,
) -> Result<Dialect, Fault> {
    let column = |name: &String| header.column(name);
    let word = |words: &[&str]| {
        header
            .names
            .iter()
            .position(|name| words.contains(&name.to_lowercase().as_str()))
    };
    let given = options.columns.clone().unwrap_or_default();
    let guessed =
        word(&["line", "channel", "signal", "name"]).zip(word(&["level", "value", "state"]));
    let long = match &given.line {
        Some(line) => column(line).zip(given.values().next().and_then(column)),
        None if given.values().next().is_none() => guessed,
        None => None,
    };
    let unit = unit(options, stated, &header.names[time], notes);
    tell_separator(header, notes);
    if header.latin1 {
        notes.push("the header is not UTF-8 and is taken as Latin-1".to_owned());
    }
    let shape = if let Some((line, level)) = long {
        if given.line.is_none() {
            notes.push(format!(
                "column {} names the line, {} states its level",
                header.names[line], header.names[level]
            ));
        }
        Shape::Long { line, level }
    } else {
        let wanted = |at: usize| {
            at != time
                && !header.names[at].is_empty()
                && (given.values().next().is_none()
                    || given.values().any(|name| column(name) == Some(at)))
        };
        let mut wide = Vec::new();
        for at in (0..header.names.len()).filter(|&at| wanted(at)) {
            let name = &header.names[at];
            if lines.find(name).is_some() {
                return Err(Fault::new(
                    format!("two columns named {}", excerpt(name.as_bytes())),
                    "a name of its own for each line",
                    "rename one of them, or choose columns with --columns",
                ));
            }
            wide.push((at, lines.add(name)?));
        }
        if wide.is_empty() {
            return Err(Fault::new(
                "no column of levels",
                "one beside the time",
                "name it with --columns level=NAME",
            ));
        }
        if given.values().next().is_none() {
            notes.push(format!("each column but {} is a line", header.names[time]));
        }
        Shape::Wide(wide)
    };
    tell_initial(options, notes);
    Ok(Dialect {
        separator: header.separator,
        width: header.names.len(),
        time,
        unit,
        shape,
    })
}

fn headerless(
    row: &Candidate,
    options: &Options,
    lines: &mut Lines,
    notes: &mut Vec<String>,
) -> Result<Dialect, Fault> {
    notes.push("no header: the first column is the time, each other one a line".to_owned());
    let unit = unit(options, None, "the first column", notes);
    tell_separator(row, notes);
    let mut wide = Vec::new();
    for at in 1..row.names.len() {
        wide.push((at, lines.add(&format!("line{at}"))?));
    }
    tell_initial(options, notes);
    Ok(Dialect {
        separator: row.separator,
        width: row.names.len(),
        time: 0,
        unit,
        shape: Shape::Wide(wide),
    })
}

/// What the user states, else what the header states, else seconds.
fn unit(
    options: &Options,
    stated: Option<TimeUnit>,
    column: &str,
    notes: &mut Vec<String>,
) -> TimeUnit {
    if let Some(unit) = options.time_unit {
        return unit;
    }
    let unit = stated.unwrap_or(TimeUnit::Seconds);
    let how = if stated.is_some() {
        "is taken as time in"
    } else {
        "states no unit: it is taken as time in"
    };
    notes.push(format!("{column} {how} {}", unit.name()));
    unit
}

fn tell_separator(row: &Candidate, notes: &mut Vec<String>) {
    match row.separator {
        b'\t' => {
            notes.push("the separator is a tab; a decimal comma is a decimal point".to_owned());
        }
        b';' => notes.push("the separator is ; and a decimal comma is a decimal point".to_owned()),
        _ => {}
    }
}

fn tell_initial(options: &Options, notes: &mut Vec<String>) {
    let light = options
        .columns
        .as_ref()
        .is_some_and(|columns| !columns.lights.is_empty());
    if options.initial == Initial::FirstRow && !light {
        notes.push("the first row of each line is its initial level".to_owned());
    }
}

/// Whether a name is that of a column of times: `Time [s]`, `time_ns`, `t (ms)`, `seconds`.
fn is_time(name: &str) -> bool {
    let name = name.to_lowercase();
    let first = words(&name).next();
    first.is_some_and(|first| {
        matches!(first, "time" | "t" | "timestamp" | "zeit" | "x")
            || (first.len() > 2 && unit_word(first).is_some())
    })
}

/// The unit a name states.
fn unit_of(name: &str) -> Option<TimeUnit> {
    words(&name.to_lowercase()).find_map(unit_word)
}

fn words(name: &str) -> impl Iterator<Item = &str> {
    name.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
}

fn unit_word(word: &str) -> Option<TimeUnit> {
    match word {
        "s" | "sec" | "second" | "seconds" => Some(TimeUnit::Seconds),
        "ms" | "millisecond" | "milliseconds" => Some(TimeUnit::Milliseconds),
        // Both code points that look like the Greek letter are in use.
        "us" | "µs" | "μs" | "microsecond" | "microseconds" => Some(TimeUnit::Microseconds),
        "ns" | "nanosecond" | "nanoseconds" => Some(TimeUnit::Nanoseconds),
        _ => None,
    }
}

fn no_header(columns: Option<&Columns>, first: Option<(Vec<u8>, Place)>, window: &Window) -> Fault {
    let (found, place) = match first {
        Some((row, place)) => (
            format!("no header; the first row is {}", excerpt(row.trim_ascii())),
            place,
        ),
        None => ("no row".to_owned(), window.place(0)),
    };
    let fault = match columns {
        None => Fault::new(
            found,
            "a header `time_ns,line,level`, or one with a column of times, or a dump that begins with $",
            "name the columns with --columns time=NAME,level=NAME",
        ),
        Some(columns) => {
            let names: Vec<&str> = columns.names().map(String::as_str).collect();
            Fault::new(
                format!("{found}, and no row with the columns {}", names.join(", ")),
                "a header that holds them, a number as time below it",
                "spell the columns as the header does",
            )
        }
    };
    fault.at(place)
}
