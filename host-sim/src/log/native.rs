//! Reader of the own CSV: `time_ns,line,level`.
//!
//! Nearly every row is plain digits, a known short name and 0 or 1. [`usual_row`] takes it in three words and one
//! comparison; [`plain_row`] also knows other lengths of times and names; what is left goes through
//! [`Rows::careful`], which knows the whole format and words the faults.

use super::lines::Lines;
use super::lookup::SHORT;
use super::reader::Source;
use super::swar;
use super::window::{row_too_long, Window, MAX_ROW_BYTES};
use super::{Level, Record};
use crate::fault::{excerpt, Fault};

/// The header, by which the format is recognised.
pub(super) const HEADER: &str = "time_ns,line,level";

/// A log in the own CSV, its header consumed.
pub(super) struct Native {
    window: Window,
    rows: Rows,
}

impl Native {
    pub(super) fn new(window: Window) -> Self {
        Self {
            window,
            rows: Rows {
                lines: Lines::new(),
                last_long: None,
            },
        }
    }
}

/// What the rows have said so far.
struct Rows {
    lines: Lines,
    /// The line of the last row with a long name, where the next such row most likely belongs.
    last_long: Option<(Vec<u8>, u32)>,
}

impl Rows {
    /// The row at `at` if it is usual and of a known line, and the place behind it.
    ///
    /// It has to end within `block`, since behind that stands anything; so in [`plain`](Self::plain).
    #[inline]
    fn usual(&mut self, bytes: &[u8], at: usize, block: usize) -> Option<(Record, usize)> {
        let row = usual_row(bytes, at)?;
        let line = self.lines.lookup().find_key(row.key)?;
        let level = if row.high { Level::High } else { Level::Low };
        (row.next <= block).then(|| (self.lines.state(row.time_ns, line, level), row.next))
    }

    /// The row at `at` if it is plain and of a known line, and the place behind it.
    #[inline(never)]
    fn plain(&mut self, bytes: &[u8], at: usize, block: usize) -> Option<(Record, usize)> {
        let row = plain_row(bytes, at).filter(|row| row.next <= block)?;
        let line = match row.name {
            Name::Key(key) => self.lines.lookup().find_key(key)?,
            Name::Long(from, to) => self.long_name(&bytes[from..to])?,
        };
        let level = if row.high { Level::High } else { Level::Low };
        Some((self.lines.state(row.time_ns, line, level), row.next))
    }

    /// A row of the whole format, without its line feed. `None` for a blank or comment row.
    #[cold]
    #[inline(never)]
    fn careful(&mut self, row: &[u8]) -> Result<Option<Record>, Fault> {
        if row.len() > MAX_ROW_BYTES {
            return Err(row_too_long(row));
        }
        let row = row.trim_ascii();
        if row.is_empty() || row[0] == b'#' {
            return Ok(None);
        }
        let (time, name, level) = fields(row).ok_or_else(|| {
            Fault::new(
                excerpt(row),
                format!("three fields `{HEADER}`"),
                "complete or remove the row",
            )
        })?;
        let time_ns = time_ns(time)?;
        let level = match level {
            b"0" => Level::Low,
            b"1" => Level::High,
            b"x" | b"X" => Level::Unknown,
            _ => {
                return Err(Fault::new(
                    format!("{} as level", excerpt(level)),
                    "0, 1 or x",
                    "correct the level; x stands for unknown",
                ))
            }
        };
        let name = unquoted(name)?;
        let line = match self.lines.find(&name) {
            Some(line) => line,
            None => self.lines.add(&name)?,
        };
        if name.len() > SHORT {
            self.last_long = Some((name.into_bytes(), line));
        }
        Ok(Some(self.lines.state(time_ns, line, level)))
    }

    /// The line of a name that has no key.
    fn long_name(&mut self, name: &[u8]) -> Option<u32> {
        if let Some((last_name, line)) = &self.last_long {
            if last_name == name {
                return Some(*line);
            }
        }
        let line = self.lines.lookup().find(name)?;
        self.last_long = Some((name.to_owned(), line));
        Some(line)
    }
}

impl Source for Native {
    fn next_batch(&mut self, out: &mut Vec<Record>) -> Result<bool, Fault> {
        let block = self.window.rows()?;
        if block == 0 {
            return Ok(false);
        }
        let (bytes, rows) = (self.window.padded(), &mut self.rows);
        let mut at = 0;
        while at < block {
            if let Some((record, next)) = rows.usual(bytes, at, block) {
                out.push(record);
                at = next;
                continue;
            }
            if let Some((record, next)) = rows.plain(bytes, at, block) {
                out.push(record);
                at = next;
                continue;
            }
            let rest = &bytes[at..block];
            let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
            out.extend(
                rows.careful(&rest[..length])
                    .map_err(|fault| fault.or_at(self.window.place(at)))?,
            );
            at += length + 1;
        }
        self.window.consume(block);
        Ok(true)
    }

    fn lines(&self) -> &Lines {
        &self.rows.lines
    }
}

/// A row as nearly all rows are.
struct Usual {
    time_ns: i64,
    key: u64,
    high: bool,
    next: usize,
}

/// A row of digits, a name, and 0 or 1, nothing quoted or blank.
struct Plain {
    time_ns: i64,
    name: Name,
    high: bool,
    next: usize,
}

enum Name {
    Key(u64),
    Long(usize, usize),
}

/// The row at `at` if its time has 8 to 15 digits, its name is short, and it ends with a plain line feed.
#[inline]
fn usual_row(bytes: &[u8], at: usize) -> Option<Usual> {
    /// Bytes that may be looked at: time, comma, one word of name, and what the comparison takes.
    const REACH: usize = 32;
    /// Ignores the lowest bit of the level and the byte behind the row.
    const TAIL_MASK: u32 = 0x00ff_feff;
    const TAIL: u32 = u32::from_le_bytes([b',', b'0', b'\n', 0]);
    let row: &[u8; REACH] = bytes.get(at..)?.first_chunk()?;
    let (time, comma) = swar::eight_to_fifteen_digits(row)?;
    let head = swar::word(row, comma + 1)?;
    let length = swar::until(head, b',');
    let level_at = comma + length + 2;
    let tail = u32::from_le_bytes(*row.get(level_at - 1..)?.first_chunk()?);
    let usual = row.get(comma) == Some(&b',')
        && length < 8
        && head as u8 != b'"'
        && tail & TAIL_MASK == TAIL;
    usual.then(|| Usual {
        time_ns: time as i64,
        key: swar::key(head, length),
        high: tail & 0x100 != 0,
        next: at + level_at + 2,
    })
}

/// The row at `at` if it is plain. Reads at most [`PADDING`](super::window::PADDING) bytes behind its start,
/// but for a long name, which is searched no further than the longest allowed.
#[inline]
fn plain_row(bytes: &[u8], at: usize) -> Option<Plain> {
    let (time, comma) = swar::digits(bytes, at)?;
    let time_ns = i64::try_from(time).ok()?;
    let name_at = comma + 1;
    if bytes[comma] != b',' {
        return None;
    }
    let head = swar::word(bytes, name_at)?;
    let length = swar::until(head, b',');
    let (name, level_at) = if length == 8 {
        let rest = bytes.get(name_at..)?;
        let length = memchr::memchr2(
            b',',
            b'\n',
            &rest[..rest.len().min(super::MAX_NAME_BYTES + 1)],
        )?;
        if rest[length] != b',' {
            return None;
        }
        (Name::Long(name_at, name_at + length), name_at + length + 1)
    } else {
        (Name::Key(swar::key(head, length)), name_at + length + 1)
    };
    if head as u8 == b'"' {
        return None;
    }
    let tail = bytes.get(level_at..level_at + 3)?;
    let next = match tail[1..] {
        [b'\n', _] => level_at + 2,
        [b'\r', b'\n'] => level_at + 3,
        _ => return None,
    };
    (tail[0] & !1 == b'0').then_some(Plain {
        time_ns,
        name,
        high: tail[0] == b'1',
        next,
    })
}

/// The three fields of a row, trimmed; the name may be quoted. `None` if they are not three.
pub(crate) fn fields(row: &[u8]) -> Option<(&[u8], &[u8], &[u8])> {
    let comma = memchr::memchr(b',', row)?;
    let (time, rest) = (row[..comma].trim_ascii(), row[comma + 1..].trim_ascii());
    let name_end = if rest.first() == Some(&b'"') {
        // Inside the quotes a doubled quote stands for one and a comma for itself.
        let mut end = 1;
        loop {
            end += memchr::memchr(b'"', rest.get(end..)?)?;
            if rest.get(end + 1) != Some(&b'"') {
                break end + 1;
            }
            end += 2;
        }
    } else {
        memchr::memchr(b',', rest)?
    };
    let level = rest[name_end..].trim_ascii_start().strip_prefix(b",")?;
    (!level.contains(&b',')).then(|| (time, rest[..name_end].trim_ascii(), level.trim_ascii()))
}

pub(crate) fn time_ns(field: &[u8]) -> Result<i64, Fault> {
    let text = std::str::from_utf8(field).ok();
    text.and_then(|text| text.parse().ok()).ok_or_else(|| {
        Fault::new(
            format!("{} as time_ns", excerpt(field)),
            "a whole number of nanoseconds that fits 64 bits",
            "correct the time, or name its column and unit with --columns and --time-unit",
        )
    })
}

pub(crate) fn unquoted(field: &[u8]) -> Result<String, Fault> {
    let text = std::str::from_utf8(field).map_err(|_| {
        Fault::new(
            format!("the line name {}", excerpt(field)),
            "UTF-8 text",
            "convert the log to UTF-8",
        )
    })?;
    Ok(
        match text
            .strip_prefix('"')
            .and_then(|inner| inner.strip_suffix('"'))
        {
            Some(inner) => inner.replace("\"\"", "\""),
            None => text.to_owned(),
        },
    )
}

/// A name as a field of a row: quoted where it would not be read back otherwise.
pub(crate) fn quoted(name: &str) -> String {
    if name.contains([',', '"']) || name.trim_ascii().len() != name.len() {
        format!("\"{}\"", name.replace('"', "\"\""))
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::super::lookup::Lookup;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn digits_of_every_length() {
        let mut text = String::new();
        for length in 1..=19 {
            text.push(char::from(b'0' + (length % 10) as u8));
            let row = format!("{text},a,1\n{}", "9".repeat(64));
            let plain = plain_row(row.as_bytes(), 0).unwrap();
            assert_eq!(plain.time_ns, text.parse::<i64>().unwrap());
            assert_eq!(plain.next, length + 5);
            assert!(matches!(plain.name, Name::Key(key) if Some(key) == Lookup::key(b"a")));
        }
        let row = format!("{},a,1\n{}", "1".repeat(20), "9".repeat(64));
        assert!(plain_row(row.as_bytes(), 0).is_none());
    }

    proptest! {
        #[test]
        fn a_quoted_name_is_read_back(name in "[ -~äß]{1,20}") {
            let row = format!("5,{},1", quoted(&name));
            let (time, field, level) = fields(row.as_bytes()).unwrap();
            prop_assert_eq!((time, level), (&b"5"[..], &b"1"[..]));
            prop_assert_eq!(unquoted(field).unwrap(), name);
        }

        #[test]
        fn plain_agrees_with_careful(row in "[0-9]{1,20},[a-c\"]{1,9},[01x2]\r?") {
            let mut native = Native::new(Window::new(Box::new(std::io::empty()), "t"));
            let padded = format!("{row}\n{}", "0".repeat(64));
            let plain = plain_row(padded.as_bytes(), 0).filter(|plain| plain.next <= row.len() + 1);
            let careful = native.rows.careful(row.as_bytes());
            if let Some(plain) = plain {
                let record = careful.unwrap().unwrap();
                prop_assert_eq!(record.time_ns, plain.time_ns);
                let high = native.rows.lines.infos()[0].initial == Some(Level::High);
                prop_assert_eq!(high, plain.high);
                prop_assert_eq!(plain.next, row.len() + 1);
            }
        }
    }
}
