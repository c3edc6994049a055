//! In: rows `time_ns,line,level` from a file of the host.

use core::fmt::Write;

use heapless::{String, Vec};
use semihosting::{fs::File, io::Read};
use trueonset::edge::Level;

use crate::fault::{Fault, Quote};

/// Longest row the image takes, in bytes.
const MAX_ROW: usize = 128;
/// Longest name of a line, in bytes.
pub const MAX_NAME: usize = 32;

/// A log being read, one row at a time.
pub struct Log {
    file: File,
    chunk: [u8; 512],
    next: usize,
    end: usize,
    row: Vec<u8, MAX_ROW>,
    number: u32,
}

/// One row.
pub struct Row<'a> {
    /// Nanoseconds on the log's own zero.
    pub time_ns: i64,
    /// Name of the line.
    pub name: &'a str,
    /// Its level from then on.
    pub level: Level,
}

impl Log {
    /// Takes the header off `file`.
    pub fn new(file: File) -> Result<Self, Fault> {
        let mut log = Self {
            file,
            chunk: [0; 512],
            next: 0,
            end: 0,
            row: Vec::new(),
            number: 0,
        };
        let found = log.next_line()?;
        let row = log
            .row
            .strip_prefix("\u{feff}".as_bytes())
            .unwrap_or(&log.row);
        if !found || row.trim_ascii() != b"time_ns,line,level" {
            return Err(log.fault(
                row,
                "the header `time_ns,line,level`",
                "convert the log: trueonset convert LOG OUT.csv",
            ));
        }
        Ok(log)
    }

    /// Number of the row read last; the header is row 1.
    pub fn number(&self) -> u32 {
        self.number
    }

    /// The next row that says something, `None` at the end of the log.
    pub fn row(&mut self) -> Result<Option<Row<'_>>, Fault> {
        loop {
            if !self.next_line()? {
                return Ok(None);
            }
            let row = self.row.trim_ascii();
            if !row.is_empty() && row[0] != b'#' {
                break;
            }
        }
        self.fields().map(Some)
    }

    fn fields(&self) -> Result<Row<'_>, Fault> {
        let row = self.row.trim_ascii();
        let mut fields = row.split(|&byte| byte == b',').map(<[u8]>::trim_ascii);
        let (Some(time), Some(name), Some(level), None) =
            (fields.next(), fields.next(), fields.next(), fields.next())
        else {
            return Err(self.fault(
                row,
                "three fields `time_ns,line,level`",
                "complete or remove the row",
            ));
        };
        let time_ns = core::str::from_utf8(time)
            .ok()
            .filter(|text| !text.starts_with('+'))
            .and_then(|text| text.parse().ok())
            .ok_or_else(|| {
                self.fault(
                    time,
                    "whole nanoseconds, -2^63 to 2^63 - 1",
                    "correct the time",
                )
            })?;
        let name = core::str::from_utf8(name)
            .ok()
            .filter(|name| (1..=MAX_NAME).contains(&name.len()) && !name.contains('"'))
            .filter(|name| !name.contains(char::is_control))
            .ok_or_else(|| {
                self.fault(
                    name,
                    "a line name of 1 to 32 bytes without quotes",
                    "rename the line",
                )
            })?;
        let level = match level {
            b"0" => Level::Low,
            b"1" => Level::High,
            b"x" | b"X" => Level::Unknown,
            _ => {
                return Err(self.fault(
                    level,
                    "the level 0, 1 or x",
                    "correct the level; x stands for unknown",
                ))
            }
        };
        Ok(Row {
            time_ns,
            name,
            level,
        })
    }

    /// Reads one line of text without its line feed; false at the end of the file.
    fn next_line(&mut self) -> Result<bool, Fault> {
        self.row.clear();
        self.number += 1;
        loop {
            if self.next == self.end {
                self.end = self.file.read(&mut self.chunk).map_err(|_| {
                    Fault::new(
                        self.number,
                        "a read error",
                        "the host to read the log",
                        "check the file on the host",
                    )
                })?;
                self.next = 0;
                if self.end == 0 {
                    return Ok(!self.row.is_empty());
                }
            }
            let byte = self.chunk[self.next];
            self.next += 1;
            if byte == b'\n' {
                return Ok(true);
            }
            if self.row.push(byte).is_err() {
                return Err(self.fault(&self.row, "a row of at most 128 bytes", "shorten the row"));
            }
        }
    }

    fn fault(&self, found: &[u8], expected: &'static str, remedy: &'static str) -> Fault {
        let mut text = String::new();
        // What does not fit is cut: an excerpt is enough to find the place.
        let _ = write!(text, "{}", Quote(found));
        Fault {
            row: self.number,
            found: text,
            expected,
            remedy,
        }
    }
}
