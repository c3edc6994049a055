//! Edge logs: streaming readers that tell a format by its content, writers, and what a log is like.
//!
//! ```text
//! file or stdin -> Window (256 KiB) -> one Source per format -> Record, Record, ... -> replay, describe, Writer
//! ```
//!
//! | format | reader | writer | specification |
//! |---|---|---|---|
//! | own CSV | `native` | `csv_out` | [`formats`] |
//! | CSV of other programs | `foreign` | - | [`formats`] |
//! | value change dump | `vcd` | `vcd_out` | [`formats`] |
//!
//! Memory does not grow with the log: at most one window, one batch of records and the table of lines, whose
//! size is bounded ([`MAX_LINES`], [`MAX_NAME_BYTES`]). Whatever stands before a damage is delivered first.
//! A batch is handed on as soon as one complete line has arrived, so a live stream is followed without delay.

mod csv_out;
mod describe;
pub(crate) mod foreign;
pub mod formats;
pub(crate) mod input;
pub(crate) mod lines;
pub(crate) mod lookup;
pub(crate) mod native;
mod options;
pub(crate) mod reader;
pub(crate) mod swar;
mod vcd;
pub(crate) mod vcd_out;
pub(crate) mod window;
mod writer;

pub use trueonset::edge::Level;

pub use describe::{Describe, Description, Dwells, LineFacts};
pub use lines::{LineInfo, MAX_LINES, MAX_NAME_BYTES, MAX_TABLE_BYTES};
pub use options::{Columns, Initial, LightColumn, Options, TimeUnit};
pub use reader::{Format, LogReader};
pub use window::{MAX_ROW_BYTES, MAX_TOKEN_BYTES};
pub use writer::{convert, Converted, Loss, Target, Writer};

/// The line number of a [`What::Mark`] that holds for all lines.
pub const ALL_LINES: u32 = u32::MAX;

/// What a log says about one line at one time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Record {
    /// Time in ns on the log's own zero, any offset added. May be earlier than the one before it.
    pub time_ns: i64,
    /// Index into [`LogReader::lines`], or [`ALL_LINES`].
    pub line: u32,
    /// What is said.
    pub what: What,
}

/// The kinds of [`Record`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// The line begins here, at this level. Comes once a line, before anything else about it.
    Start(Level),
    /// The line changed to this level.
    Edge(Level),
    /// Time passed and the level stayed as it was.
    Mark,
}

#[cfg(test)]
pub(crate) mod tests;
