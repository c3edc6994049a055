//! Edges: what a capture channel delivers, with everything that can be wrong about it.
//!
//! What a [`Line`](crate::onset::Line) does with each case:
//!
//! | case | what becomes of it |
//! |---|---|
//! | over-capture ([`Flags::OVERCAPTURE`]) | the edge is used; the touch carries `overcapture` |
//! | same level twice | an edge pair is missing: this one is refused, the hold starts anew, `lost_edge` |
//! | time back by less than the hold | used at the time of its predecessor, `time_back` |
//! | time back by the hold or more | the open episode is refused, the line starts anew here, `time_back` |
//! | [`Level::Unknown`] | refused; no hold ends until the level is known again, `unknown_level` |
//!
//! The interrupt only stores stamp and level in a queue; [`queue_room`] says how long that must be.
//!
//! A flag stays with the open episode; with none open it waits for the next one and is dropped
//! if a whole hold passes quietly before that.

use crate::flags::Flags;
use crate::time::{Instant, Stamp};

/// The level of a line after an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Level {
    /// Logic low.
    Low,
    /// Logic high.
    High,
    /// The pin could not be read, or a log says so. Never taken for a level.
    Unknown,
}

/// As a pin reads: `true` is high.
impl From<bool> for Level {
    #[inline]
    fn from(high: bool) -> Self {
        if high {
            Self::High
        } else {
            Self::Low
        }
    }
}

/// Room for edges between the interrupt that stores them and the loop that takes them out: what
/// `edges_hz` edges a second bring while the loop is away for `stall_us`, an eighth more because
/// noise does not come evenly, and 16 for a glitch or two. Chatter has at most 1.3 edges a cycle of
/// the comparator's bandwidth (twice Rice's rate of zero crossings, fourth-order low-pass): 130 000
/// a second at 100 kHz.
///
/// `heapless::spsc::Queue<_, N>` holds N − 1: give it one more.
#[must_use]
pub const fn queue_room(edges_hz: u32, stall_us: u32) -> usize {
    let edges = (edges_hz as u64 * stall_us as u64).div_ceil(1_000_000);
    let room = edges + edges.div_ceil(8) + 16;
    if room > usize::MAX as u64 {
        usize::MAX
    } else {
        room as usize
    }
}

/// One edge: when, to which level, and what the hardware had to say about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Edge {
    /// When the capture hardware saw it.
    pub at: Instant,
    /// The level from then on.
    pub level: Level,
    /// Usually empty; [`Flags::OVERCAPTURE`] and [`Flags::TIME_BACK`] come from here.
    pub faults: Flags,
}

impl Edge {
    /// A clean edge to `level` at `at`.
    #[must_use]
    pub const fn new(at: Instant, level: Level) -> Self {
        Self {
            at,
            level,
            faults: Flags::NONE,
        }
    }

    /// The edge of a widened stamp, with the doubt the widening had.
    #[must_use]
    #[inline]
    pub const fn captured(stamp: Stamp, level: Level) -> Self {
        Self {
            at: stamp.at,
            level,
            faults: stamp.faults,
        }
    }

    /// The same edge with `faults` added.
    #[must_use]
    pub const fn with_faults(mut self, faults: Flags) -> Self {
        self.faults = self.faults.union(faults);
        self
    }
}
