//! A second opinion on `trueonset::onset`: double precision and 128-bit times, no code of core
//! (which only [`bridge`] and [`case`] know, in order to drive it).
//!
//! Nothing here is fast or small. Every line keeps the whole list of its edges, and each figure
//! is worked out from that list by its definition once an episode is over, where core keeps
//! running sums:
//!
//! ```text
//! Input, Input, ... -> line (episodes by two quiet windows) -> estimate -> doubt -> Event
//! ```
//!
//! | file | what it settles |
//! |---|---|
//! | [`line`](mod@line) | which edges belong together, what a fault does to them |
//! | [`estimate`] | balance point, cumulative sum, second moment, end zones of an episode |
//! | [`doubt`] | learned constant, feed class, variance, kind and flags |
//! | [`logs`] | invented edge logs from a seed |
//! | [`case`] | settings for both, drawn from a seed |
//! | [`bridge`] | feeds core and the reference and compares what they say |
//!
//! Times are ticks as `i128`; spans and variances are ticks and tick² as `f64`.

use std::collections::BTreeSet;

pub mod bridge;
pub mod case;
pub mod doubt;
pub mod estimate;
pub mod line;
pub mod logs;

/// What a line is set to.
#[derive(Clone, Debug)]
pub struct Setup {
    /// Hold of a touch, ticks.
    pub hold: i128,
    /// Hold of a release, ticks.
    pub release_hold: i128,
    /// Whether contact means a high line.
    pub touched_high: bool,
    /// Ticks in one cycle of the stated bandwidth (rate / bandwidth), if one is stated.
    pub bandwidth_ticks: Option<f64>,
    /// Step of the capture unit, ticks.
    pub step: f64,
}

/// The level an edge leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Level {
    /// Logic low.
    Low,
    /// Logic high.
    High,
    /// Could not be read.
    Unknown,
}

/// One edge as it arrives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Input {
    /// Its stamp, ticks.
    pub at: i128,
    /// The level from then on.
    pub level: Level,
    /// What the capture unit had to remark, as the word of the flag.
    pub remark: Option<&'static str>,
}

/// Words of flags.
pub type Words = BTreeSet<&'static str>;

/// A touch or a release.
#[derive(Clone, Debug)]
pub struct Contact {
    /// Whether the contact ended.
    pub release: bool,
    /// First edge, ticks.
    pub first: i128,
    /// Last edge, ticks.
    pub last: i128,
    /// End of the hold, ticks.
    pub confirmed: i128,
    /// Number of edges.
    pub edges: usize,
    /// Weighted mean of the edges, ticks.
    pub balance: i128,
    /// Where the cumulative sum is least, ticks.
    pub causal: i128,
    /// The one of the two that is reported.
    pub onset: i128,
    /// How sure the onset is; `None` for a release out of shallow contact.
    pub doubt: Option<doubt::Parts>,
    /// Word of the kind of doubt.
    pub kind: &'static str,
    /// Words of the flags.
    pub flags: Words,
    /// A decision that fell within 1 % of its limit, where rounding may decide otherwise.
    pub close_call: bool,
}

/// Edges that came to nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Glitch {
    /// First edge, ticks.
    pub first: i128,
    /// Last edge, ticks.
    pub last: i128,
    /// Time away from the settled level, ticks.
    pub width: i128,
    /// Number of edges.
    pub edges: usize,
    /// Words of the flags.
    pub flags: Words,
}

/// What a line says.
#[derive(Clone, Debug)]
pub enum Event {
    /// A touch or a release.
    Contact(Contact),
    /// A glitch.
    Glitch(Glitch),
}
