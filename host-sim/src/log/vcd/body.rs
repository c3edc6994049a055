//! The body of a dump: time marks, values, sections of start and checkpoint values.

use std::collections::BTreeMap;

use super::header::{Header, Scale};
use super::names::Names;
use super::SKIPPED;
use crate::fault::{excerpt, Fault};
use crate::log::lines::Lines;
use crate::log::lookup::Lookup;
use crate::log::swar;
use crate::log::window::{separates, token_too_long, MAX_TOKEN_BYTES};
use crate::log::{Level, Record, What, ALL_LINES};

/// What the next token has to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expect {
    Statement,
    /// Anything up to the `$end` of a comment.
    CommentEnd,
    /// The identifier that belongs to a vector or real value; its level if it has one.
    Identifier(Option<Level>),
}

/// What the tokens of a dump have said so far.
pub(super) struct Body {
    pub(super) lines: Lines,
    pub(super) names: Names,
    identifiers: Lookup,
    scale: Scale,
    pub(super) notes: Vec<String>,
    /// Time marks that were finer than a nanosecond.
    pub(super) rounded: u64,
    expect: Expect,
    /// The section of start or checkpoint values that is open, such as `$dumpvars`.
    section: Option<&'static str>,
    /// Levels stated before the first time mark, by line.
    early: BTreeMap<u32, Level>,
    /// The last time mark, in units of the dump and in ns.
    now: Option<(u64, i64)>,
    /// Whether no line has spoken since that mark.
    quiet: bool,
    finished: bool,
}

impl Body {
    pub(super) fn new(header: Header) -> Self {
        Self {
            lines: header.lines,
            names: header.names,
            identifiers: header.identifiers,
            scale: header.scale,
            notes: header.notes,
            rounded: 0,
            expect: Expect::Statement,
            section: None,
            early: BTreeMap::new(),
            now: None,
            quiet: false,
            finished: false,
        }
    }

    /// A time mark. The mark before it becomes a record of its own if nothing happened at it.
    fn time(&mut self, mark: u64, out: &mut Vec<Record>) -> Result<(), Fault> {
        let (time_ns, exact) = self.scale.ns(mark).ok_or_else(|| {
            Fault::new(
                format!("the time mark #{mark}"),
                "a time below 2^63 ns",
                "check the time mark and $timescale",
            )
        })?;
        if !exact {
            if self.rounded == 0 {
                self.notes
                    .push("times finer than 1 ns are rounded half to even".to_owned());
            }
            self.rounded += 1;
        }
        match self.now {
            Some((last, _)) if mark < last => {
                return Err(Fault::new(
                    format!("the time mark #{mark} after #{last}"),
                    "times that never decrease",
                    "check where the dump was joined or damaged",
                ))
            }
            Some((_, last_ns)) if self.quiet && time_ns > last_ns => out.push(passed(last_ns)),
            _ => {}
        }
        self.now = Some((mark, time_ns));
        self.quiet = true;
        self.begin(time_ns, out);
        Ok(())
    }

    /// Lets the lines begin whose level was stated before the first time mark.
    fn begin(&mut self, time_ns: i64, out: &mut Vec<Record>) {
        for (line, level) in std::mem::take(&mut self.early) {
            out.push(self.lines.state(time_ns, line, level));
            self.quiet = false;
        }
    }

    /// A level of the signal behind an identifier; `None` for a value that is no level.
    fn value(
        &mut self,
        identifier: &[u8],
        level: Option<Level>,
        out: &mut Vec<Record>,
    ) -> Result<(), Fault> {
        let Some(line) = self.identifiers.find(identifier) else {
            return Err(Fault::new(
                format!("a value for the identifier {}", excerpt(identifier)),
                "an identifier declared by a $var",
                "check the declarations, or remove the value",
            ));
        };
        if line == SKIPPED {
            return Ok(());
        }
        let Some(level) = level else {
            return Err(Fault::new(
                format!(
                    "a value of several bits, or a real one, for the 1-bit signal {}",
                    excerpt(identifier)
                ),
                "0, 1, x or z",
                "check the size in its $var",
            ));
        };
        match self.now {
            Some((_, time_ns)) => {
                out.push(self.lines.state(time_ns, line, level));
                self.quiet = false;
            }
            None => {
                self.early.insert(line, level);
            }
        }
        Ok(())
    }

    /// Takes the token at `at` if it is a time mark or a scalar value as nearly all are; the place behind it.
    ///
    /// It has to end before `block`, since behind that stands anything.
    #[inline]
    pub(super) fn quick(
        &mut self,
        bytes: &[u8],
        at: usize,
        block: usize,
        out: &mut Vec<Record>,
    ) -> Result<Option<usize>, Fault> {
        if self.expect != Expect::Statement {
            return Ok(None);
        }
        let ends_at = |end: usize| end < block && separates(bytes[end]);
        if bytes[at] == b'#' {
            let Some((mark, end)) = swar::digits(bytes, at + 1).filter(|&(_, end)| ends_at(end))
            else {
                return Ok(None);
            };
            self.time(mark, out)?;
            return Ok(Some(end));
        }
        let (Some(level), Some((_, time_ns))) = (scalar(bytes[at]), self.now) else {
            return Ok(None);
        };
        let Some(head) = swar::word(bytes, at + 1) else {
            return Ok(None);
        };
        let length = swar::until_blank(head);
        let end = at + 1 + length;
        if !(1..8).contains(&length) || !ends_at(end) {
            return Ok(None);
        }
        let line = self.identifiers.find_key(swar::key(head, length));
        let Some(line) = line.filter(|&line| line != SKIPPED) else {
            return Ok(None);
        };
        out.push(self.lines.state(time_ns, line, level));
        self.quiet = false;
        Ok(Some(end))
    }

    /// Any token.
    #[cold]
    #[inline(never)]
    pub(super) fn careful(&mut self, token: &[u8], out: &mut Vec<Record>) -> Result<(), Fault> {
        if token.len() > MAX_TOKEN_BYTES {
            return Err(token_too_long(token));
        }
        match self.expect {
            Expect::CommentEnd => {
                if token == b"$end" {
                    self.expect = Expect::Statement;
                }
                Ok(())
            }
            Expect::Identifier(level) => {
                self.expect = Expect::Statement;
                self.value(token, level, out)
            }
            Expect::Statement => self.statement(token, out),
        }
    }

    fn statement(&mut self, token: &[u8], out: &mut Vec<Record>) -> Result<(), Fault> {
        let rest = &token[1..];
        match token[0] {
            b'#' => {
                let mark = Some(rest).filter(|digits| digits.iter().all(u8::is_ascii_digit));
                let mark = mark
                    .and_then(|digits| std::str::from_utf8(digits).ok()?.parse().ok())
                    .ok_or_else(|| {
                        let expected = "# and a whole number below 2^64";
                        Fault::new(excerpt(token), expected, "correct the time mark")
                    })?;
                self.time(mark, out)
            }
            b'$' => self.keyword(token),
            b'b' | b'B' => {
                if rest.is_empty() || rest.iter().any(|&digit| scalar(digit).is_none()) {
                    return Err(Fault::new(
                        excerpt(token),
                        "b and digits 0, 1, x, z",
                        "correct the vector value",
                    ));
                }
                self.expect = Expect::Identifier(vector_level(rest));
                Ok(())
            }
            b'r' | b'R' | b's' | b'S' => {
                self.expect = Expect::Identifier(None);
                Ok(())
            }
            _ => match scalar(token[0]) {
                Some(level) if !rest.is_empty() => self.value(rest, Some(level), out),
                Some(_) => Err(Fault::new(
                    format!("the value {} alone", excerpt(token)),
                    "its identifier directly behind it",
                    "remove the blank, or complete the value",
                )),
                None => Err(Fault::new(
                    excerpt(token),
                    "a time mark (#), a value (0 1 x z b r) or a $ keyword",
                    "remove the damaged word",
                )),
            },
        }
    }

    fn keyword(&mut self, token: &[u8]) -> Result<(), Fault> {
        const SECTIONS: [&str; 4] = ["$dumpvars", "$dumpall", "$dumpoff", "$dumpon"];
        if token == b"$comment" {
            self.expect = Expect::CommentEnd;
            return Ok(());
        }
        if token == b"$end" {
            return match self.section.take() {
                Some(_) => Ok(()),
                None => Err(Fault::new("$end", "an open section before it", "remove it")),
            };
        }
        let Some(section) = SECTIONS.into_iter().find(|name| name.as_bytes() == token) else {
            return Err(Fault::new(
                format!("{} behind the header", excerpt(token)),
                "$comment, $dumpvars, $dumpall, $dumpoff, $dumpon or $end",
                "remove the section",
            ));
        };
        match self.section.replace(section) {
            None => Ok(()),
            Some(open) => Err(Fault::new(
                format!("{section} inside {open}"),
                format!("the $end of {open}"),
                "add the missing $end",
            )),
        }
    }

    /// The end: the last mark, and the lines that never spoke. A fault lacks its place.
    pub(super) fn finish(&mut self, out: &mut Vec<Record>) -> Result<bool, Fault> {
        if self.finished {
            return Ok(false);
        }
        self.finished = true;
        let time_ns = self.now.map_or(0, |(_, time_ns)| time_ns);
        self.begin(time_ns, out);
        if self.quiet && self.now.is_some() {
            out.push(passed(time_ns));
        }
        let open = match (self.expect, self.section) {
            (Expect::CommentEnd, _) => Some("$comment"),
            (Expect::Identifier(_), _) => Some("a value, its identifier missing"),
            (Expect::Statement, section) => section,
        };
        if let Some(open) = open {
            return Err(Fault::new(
                format!("the end of the log inside {open}"),
                "its rest",
                "the log is cut off; what came before is kept",
            ));
        }
        for line in 0..self.lines.infos().len() as u32 {
            if !self.lines.has_begun(line) {
                out.push(self.lines.state(time_ns, line, Level::Unknown));
            }
        }
        Ok(!out.is_empty())
    }
}

/// Time passed for all lines.
fn passed(time_ns: i64) -> Record {
    Record {
        time_ns,
        line: ALL_LINES,
        what: What::Mark,
    }
}

#[inline]
fn scalar(byte: u8) -> Option<Level> {
    match byte {
        b'0' => Some(Level::Low),
        b'1' => Some(Level::High),
        b'x' | b'X' | b'z' | b'Z' => Some(Level::Unknown),
        _ => None,
    }
}

/// What a vector value says about a 1-bit signal: its last digit, if zeros or nothing stand before it.
fn vector_level(digits: &[u8]) -> Option<Level> {
    let (last, before) = digits.split_last()?;
    scalar(*last).filter(|_| before.iter().all(|&digit| digit == b'0'))
}
