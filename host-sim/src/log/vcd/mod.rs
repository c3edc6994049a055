//! Reader of value change dumps, IEEE 1364 clause 18.
//!
//! The header becomes a table of signals ([`header`], [`names`]); the [`body`] is a stream of tokens. Nearly all
//! of them are a time mark or a scalar value with a short identifier, taken from one machine word.
//!
//! A signal begins with its first value: at the first time mark if it is stated at or before it (`$dumpvars`).
//! Times before the first mark do not exist. A mark at which no signal speaks is a record for all lines, so the
//! last mark tells how long the log is. `x` and `z` are [`Level::Unknown`](super::Level::Unknown).

mod body;
mod header;
mod names;

use super::lines::Lines;
use super::reader::Source;
use super::window::{separates, Window};
use super::Record;
use crate::fault::{excerpt, Fault, Place};
use body::Body;

/// Stands in the table of identifiers for a signal that is no line.
const SKIPPED: u32 = u32::MAX;

/// A dump, its header read.
pub(super) struct Vcd {
    window: Window,
    body: Body,
}

impl Vcd {
    pub(super) fn new(mut window: Window) -> Result<Self, Fault> {
        let header = header::read(&mut window)?;
        Ok(Self {
            window,
            body: Body::new(header),
        })
    }
}

impl Source for Vcd {
    fn next_batch(&mut self, out: &mut Vec<Record>) -> Result<bool, Fault> {
        let block = self.window.tokens()?;
        if block == 0 {
            return self
                .body
                .finish(out)
                .map_err(|fault| fault.or_at(self.window.place(0)));
        }
        let (bytes, body) = (self.window.padded(), &mut self.body);
        let mut at = 0;
        while at < block {
            if separates(bytes[at]) {
                at += 1;
                continue;
            }
            let taken = match body.quick(bytes, at, block, out) {
                Ok(Some(end)) => Ok(end),
                Ok(None) => {
                    let rest = &bytes[at..block];
                    let length = rest
                        .iter()
                        .position(|&byte| separates(byte))
                        .unwrap_or(rest.len());
                    body.careful(&rest[..length], out).map(|()| at + length)
                }
                Err(fault) => Err(fault),
            };
            at = taken.map_err(|fault| fault.or_at(self.window.place(at)))?;
        }
        self.window.consume(block);
        Ok(true)
    }

    fn lines(&self) -> &Lines {
        &self.body.lines
    }

    fn notes(&self) -> &[String] {
        &self.body.notes
    }

    fn rounded(&self) -> u64 {
        self.body.rounded
    }

    fn declares_lines(&self) -> bool {
        true
    }

    fn alias(&self, name: &str) -> Option<u32> {
        self.body.names.alias(name)
    }

    fn why_not_a_line(&self, name: &str) -> Option<Fault> {
        let kind = self.body.names.skipped(name)?;
        Some(
            Fault::new(
                format!("{} which is {kind}", excerpt(name.as_bytes())),
                "a signal of 1 bit",
                "name a 1-bit signal, or dump the bit of interest on its own",
            )
            .at(Place::File(self.window.file().to_owned())),
        )
    }
}

#[cfg(test)]
mod tests;
