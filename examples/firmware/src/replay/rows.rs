//! Out: one CSV row a touch, ordered by onset, on ties by the order of lines in the log.
//!
//! A row is complete when its release was confirmed or the log has ended, and it may leave when
//! no line can still bring an earlier onset. Until then it is held back; a table that is full of
//! rows that may not leave yet is a fault, never a row less.

use core::fmt::{self, Write};

use heapless::Vec;
use trueonset::flags::Flags;
use trueonset::onset::{Contact, Doubt};
use trueonset::time::{Instant, TickRate};

use crate::fault::Fault;

/// Columns of the result.
pub const HEADER: &str =
    "line,onset_ns,doubt_ns,first_edge_ns,last_edge_ns,edges,confirmed_ns,release_ns,release_doubt_ns,flags";

/// Rows held back at most: 8 KB, which the smallest board (16 KB) has to spare.
const HELD: usize = 64;

/// The zero of a log is the middle of the instants, so that times before it keep their order.
const ZERO: u64 = 1 << 63;

/// The instant of a time of the log.
pub fn instant(time_ns: i64) -> Instant {
    Instant::from_ticks(time_ns as u64 ^ ZERO)
}

fn ns(instant: Instant) -> i64 {
    (instant.ticks() ^ ZERO) as i64
}

struct Touch {
    line: u8,
    /// Its release is still to come.
    open: bool,
    contact: Contact,
    flags: Flags,
    /// Onset and doubt of the release.
    release: Option<(Instant, Option<Doubt>)>,
}

impl Touch {
    fn onset(&self) -> Instant {
        self.contact.onset.nearest()
    }
}

/// The touches that may not leave yet, in the order in which they will.
pub struct Held {
    rows: Vec<Touch, HELD>,
    left: Option<Instant>,
}

impl Held {
    /// None yet.
    pub const fn new() -> Self {
        Self {
            rows: Vec::new(),
            left: None,
        }
    }

    /// Whether the next touch needs room first.
    pub fn is_full(&self) -> bool {
        self.rows.is_full()
    }

    /// A touch was confirmed on `line`.
    pub fn touch(&mut self, line: u8, contact: &Contact) -> Result<(), Fault> {
        let onset = contact.onset.nearest();
        if self.left.is_some_and(|left| onset < left) {
            return Err(Fault::new(
                0,
                "an onset before one that was written",
                "time that goes back less far",
                "sort the log by time",
            ));
        }
        let touch = Touch {
            line,
            open: true,
            contact: *contact,
            flags: contact.flags,
            release: None,
        };
        let place = self
            .rows
            .iter()
            .rposition(|row| (row.onset(), row.line) <= (onset, line));
        self.rows
            .insert(place.map_or(0, |before| before + 1), touch)
            .map_err(|_| {
                Fault::new(
                    0,
                    "65 touches that must wait for an earlier one",
                    "its release",
                    "replay the lines one by one",
                )
            })
    }

    /// A release was confirmed on `line`; without a touch before it there is no row to complete.
    pub fn release(&mut self, line: u8, contact: &Contact) {
        if let Some(touch) = self
            .rows
            .iter_mut()
            .find(|row| row.open && row.line == line)
        {
            touch.open = false;
            touch.release = Some((contact.onset.nearest(), contact.doubt));
            touch.flags = touch.contact.flags_with(contact);
        }
    }

    /// Writes the complete rows whose onset lies before `earliest`; all rows if there is none.
    pub fn leave(
        &mut self,
        earliest: Option<Instant>,
        names: &[impl AsRef<str>],
        out: &mut impl Write,
    ) -> fmt::Result {
        let stays =
            |row: &Touch| earliest.is_some_and(|earliest| row.open || row.onset() >= earliest);
        let leaving = self.rows.iter().position(stays).unwrap_or(self.rows.len());
        for row in &self.rows[..leaving] {
            row.write(names[usize::from(row.line)].as_ref(), out)?;
            self.left = Some(row.onset());
        }
        self.rows.drain(..leaving);
        Ok(())
    }
}

impl Touch {
    fn write(&self, name: &str, out: &mut impl Write) -> fmt::Result {
        let touch = &self.contact;
        write!(out, "{name},{},", ns(self.onset()))?;
        doubt(touch.doubt, out)?;
        let (first, last) = (ns(touch.first_edge), ns(touch.last_edge));
        write!(
            out,
            ",{first},{last},{},{},",
            touch.edges,
            ns(touch.confirmed)
        )?;
        if let Some((release, _)) = self.release {
            write!(out, "{}", ns(release))?;
        }
        out.write_char(',')?;
        doubt(self.release.and_then(|(_, doubt)| doubt), out)?;
        writeln!(out, ",{}", self.flags)
    }
}

fn doubt(doubt: Option<Doubt>, out: &mut impl Write) -> fmt::Result {
    doubt.map_or(Ok(()), |doubt| {
        write!(out, "{}", doubt.ns(TickRate::NANOSECONDS))
    })
}
