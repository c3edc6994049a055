//! Light recordings: samples of the barrier's light instead of edges, for the barrier path.
//!
//! ```text
//! file or stdin -> Window -> own CSV or scope CSV -> Grids -> LightRecord, LightRecord, ... -> barrier
//!                         -> WAV ---------------------------^
//! ```
//!
//! # Own CSV
//!
//! Text as the own CSV of edge logs ([`formats`](crate::log::formats)), its header one word different:
//!
//! ```text
//! recording = *comment "time_ns,line,counts" LF *(row LF)
//! row       = time "," line "," counts
//! counts    = 1*DIGIT                     ; 0 to 4 294 967 295, 0 is no light
//! ```
//!
//! A row is the light at its own instant. Rows of a line stand in the order of their times and on one even grid;
//! lines may have grids of their own. The header is the version.
//!
//! # Scope CSV
//!
//! Read only, when a column of light is named: `--columns time=NAME,light=NAME`, several `light` for several
//! lines, or one beside `line=NAME`. Everything else is as in the CSV of other programs there. Counts are whole;
//! a column in volts is multiplied, `light=NAME*1000` takes each millivolt as a count, rounded half to even.
//! Values below 0 are no light and are told once. An empty cell is a missing sample.
//!
//! # WAV
//!
//! Read only: PCM of 16 or 24 bits, plain or extensible, one line a channel (`channel1`, `channel2`, ...). Sample
//! k stands at k/rate, rounded half to even to whole ns. Values are counts as they stand, so a recording of a
//! converter of 12 bits has values up to 4095; values below 0 are no light and are told once. A header that
//! states no length (a recorder that was never stopped, a pipe) is read to the end.
//!
//! # The grid
//!
//! A CSV does not state its rate. The first [`HEAD`] rows of each line are held back; what most of their steps are
//! is one sample, and the median of the spacings between any two of them is the [`Rate`], exact where the times are,
//! and known before the first record of the line is handed on. From there on the grid follows slowly, so that neither rounded times nor a clock that drifts
//! make a difference. A time within a quarter of a sample of the grid is a sample, and [`LightRecord::index`] says
//! which: where samples are missing it jumps. After more than [`FAR`] missing samples the grid begins anew at the
//! next one. Other times are refused, as are those that stand still or go back.
//!
//! Memory does not grow with the recording, and whatever stands before a damage is delivered first.

mod csv;
mod grid;
mod rate;
mod reader;
mod scope;
mod wav;
mod writer;

pub use grid::{FAR, HEAD};
pub use rate::Rate;
pub(crate) use reader::recognise;
pub use reader::{LightFormat, LightLine, LightReader, Recording};
pub use writer::LightWriter;

/// Most lines a recording may have.
pub const MAX_LINES: usize = 256;

/// One sample of the light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LightRecord {
    /// Index into [`LightReader::lines`].
    pub line: u32,
    /// Number of the sample on the grid of its line, the first is 0. It grows; by more than 1 where samples are
    /// missing.
    pub index: u64,
    /// Its instant in ns on the recording's own zero, any offset added.
    pub time_ns: i64,
    /// The light in counts of the converter.
    pub counts: u32,
}

#[cfg(test)]
mod tests;
