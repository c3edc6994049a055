//! Reader of the own CSV of light: `time_ns,line,counts`.
//!
//! Nearly every row is plain digits, a known short name and digits; [`plain_row`] takes it word by word. What is
//! left goes through [`Csv::careful`], which knows the whole format and words the faults.

use super::grid::{Grids, Sample};
use super::reader::{line_of, Source};
use super::{LightRecord, Rate};
use crate::fault::{excerpt, Fault};
use crate::log::lines::Lines;
use crate::log::native::{fields, time_ns, unquoted};
use crate::log::swar;
use crate::log::window::{row_too_long, Window, MAX_ROW_BYTES};

/// The header, by which the format is recognised.
pub(super) const HEADER: &str = "time_ns,line,counts";

/// A recording in the own CSV, its header consumed.
pub(super) struct Csv {
    window: Window,
    lines: Lines,
    grids: Grids,
}

impl Csv {
    pub(super) fn new(window: Window) -> Self {
        Self {
            grids: Grids::new(window.file()),
            window,
            lines: Lines::new(),
        }
    }
}

impl Source for Csv {
    fn next_batch(&mut self, out: &mut Vec<LightRecord>) -> Result<bool, Fault> {
        let block = self.window.rows()?;
        if block == 0 {
            return Ok(false);
        }
        let (bytes, lines, grids) = (self.window.padded(), &mut self.lines, &mut self.grids);
        let (mut at, mut row) = (0, self.window.line());
        while at < block {
            let plain = plain_row(bytes, at).filter(|plain| plain.next <= block);
            let known = plain.and_then(|plain| Some((lines.lookup().find_key(plain.key)?, plain)));
            if let Some((line, plain)) = known {
                let (time_ns, counts) = (plain.time_ns, plain.counts);
                let sample = Sample {
                    time_ns,
                    counts,
                    row,
                };
                grids.take(line, sample, out)?;
                at = plain.next;
            } else {
                let rest = &bytes[at..block];
                let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
                let stated = careful(lines, &rest[..length])
                    .map_err(|fault| fault.or_at(self.window.place(at)))?;
                if let Some((line, time_ns, counts)) = stated {
                    let sample = Sample {
                        time_ns,
                        counts,
                        row,
                    };
                    grids.take(line, sample, out)?;
                }
                at += length + 1;
            }
            row += 1;
        }
        self.window.consume(block);
        Ok(true)
    }

    fn finish(&mut self, out: &mut Vec<LightRecord>) -> Result<(), Fault> {
        self.grids.finish(out)
    }

    fn lines(&self) -> &Lines {
        &self.lines
    }

    fn rate(&self, line: usize) -> Option<Rate> {
        self.grids.rate(line)
    }
}

/// A row of the whole format, without its line feed: line, time, counts. `None` for a blank or comment row.
#[cold]
#[inline(never)]
fn careful(lines: &mut Lines, row: &[u8]) -> Result<Option<(u32, i64, u32)>, Fault> {
    if row.len() > MAX_ROW_BYTES {
        return Err(row_too_long(row));
    }
    let row = row.trim_ascii();
    if row.is_empty() || row[0] == b'#' {
        return Ok(None);
    }
    let (time, name, counts) = fields(row).ok_or_else(|| {
        Fault::new(
            excerpt(row),
            format!("three fields `{HEADER}`"),
            "complete or remove the row",
        )
    })?;
    let time_ns = time_ns(time)?;
    let text = std::str::from_utf8(counts).ok();
    let counts = text.and_then(|text| text.parse().ok()).ok_or_else(|| {
        Fault::new(
            format!("{} as counts", excerpt(counts)),
            "a whole number from 0 to 4294967295",
            "correct the counts, or name the column with --columns time=NAME,light=NAME*FACTOR",
        )
    })?;
    let name = unquoted(name)?;
    Ok(Some((line_of(lines, &name)?, time_ns, counts)))
}

/// A row of digits, a short name and digits, nothing quoted or blank.
#[derive(Clone, Copy)]
struct Plain {
    time_ns: i64,
    key: u64,
    counts: u32,
    next: usize,
}

/// The row at `at` if it is plain. Reads at most [`PADDING`](crate::log::window::PADDING) bytes behind its start.
#[inline]
fn plain_row(bytes: &[u8], at: usize) -> Option<Plain> {
    let (time, comma) = swar::digits(bytes, at)?;
    let head = swar::word(bytes, comma + 1)?;
    let length = swar::until(head, b',');
    if bytes[comma] != b',' || length == 8 || head as u8 == b'"' {
        return None;
    }
    let (counts, end) = swar::digits(bytes, comma + length + 2)?;
    let next = match bytes.get(end..end + 2)? {
        [b'\n', _] => end + 1,
        [b'\r', b'\n'] => end + 2,
        _ => return None,
    };
    Some(Plain {
        time_ns: i64::try_from(time).ok()?,
        key: swar::key(head, length),
        counts: u32::try_from(counts).ok()?,
        next,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn plain_agrees_with_careful(row in "[0-9]{1,20},[a-c\"]{1,9},[0-9]{1,11}\r?") {
            let mut lines = Lines::new();
            let padded = format!("{row}\n{}", "0".repeat(64));
            let plain = plain_row(padded.as_bytes(), 0).filter(|plain| plain.next <= row.len() + 1);
            let careful = careful(&mut lines, row.as_bytes());
            if let Some(plain) = plain {
                let (line, time_ns, counts) = careful.unwrap().unwrap();
                prop_assert_eq!((time_ns, counts), (plain.time_ns, plain.counts));
                prop_assert_eq!(lines.lookup().find_key(plain.key), Some(line));
                prop_assert_eq!(plain.next, row.len() + 1);
            }
        }
    }
}
