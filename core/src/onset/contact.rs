//! What a line reports.

use core::num::NonZeroU32;

use crate::flags::Flags;
use crate::time::{FineInstant, Instant, Span, TickRate};

/// Standard uncertainty of an onset, in 1/16 tick, rounded up; never 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Doubt(NonZeroU32);

impl Doubt {
    /// `sixteenths` of a tick; 0 becomes 1.
    #[must_use]
    pub const fn from_sixteenths(sixteenths: u32) -> Self {
        match NonZeroU32::new(sixteenths) {
            Some(sixteenths) => Self(sixteenths),
            None => Self(NonZeroU32::MIN),
        }
    }

    /// 1/16 ticks.
    #[must_use]
    pub const fn sixteenths(self) -> u32 {
        self.0.get()
    }

    /// Nanoseconds, rounded up, at least 1.
    #[must_use]
    pub const fn ns(self, rate: TickRate) -> u64 {
        // 2^32 · 10^9 stays below 2^62.
        let ns = (self.0.get() as u64 * 1_000_000_000).div_ceil(16 * rate.hz() as u64);
        if ns == 0 {
            1
        } else {
            ns
        }
    }
}

/// Ticks with four binary places, as the `fixed` crate writes them.
#[cfg(feature = "fixed")]
impl From<Doubt> for fixed::types::U28F4 {
    fn from(doubt: Doubt) -> Self {
        Self::from_bits(doubt.sixteenths())
    }
}

/// What a doubt rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum DoubtKind {
    /// Nothing was learned yet: the stated bandwidth, or the rule that a hold lasts ten mean
    /// dwells. An upper bound.
    Assumed,
    /// Fewer than seven edges: such a touch cannot tell its own noise. An upper bound.
    Limit,
    /// Few edges, but the touches of the declared feed class were counted together.
    Pooled,
    /// The chatter of the touch with what the line has learned of its hardware.
    Measured,
    /// The chatter was far too wide for its edges: glitch, flutter or vibration among it.
    Rough,
}

/// A confirmed change of contact: a touch, or mirrored, a release.
///
/// Edges, onset and confirmation are all instants of the capture clock. The tolerance of that
/// clock belongs to spans between instants and is not in the doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Contact {
    /// The instant of contact: [`balance`](Self::balance), or [`causal`](Self::causal) where the
    /// flag `hybrid` is set. Half a step of capture truncation is corrected.
    pub onset: FineInstant,
    /// Its standard uncertainty from chatter and capture steps; `None` where it is not known.
    pub doubt: Option<Doubt>,
    /// What the doubt rests on.
    pub kind: DoubtKind,
    /// First edge of the chatter, as stamped.
    pub first_edge: Instant,
    /// Last edge of the chatter, as stamped.
    pub last_edge: Instant,
    /// Edges of the chatter, first and last included.
    pub edges: u32,
    /// When the hold was over: last edge plus hold.
    pub confirmed: Instant,
    /// Balance point of the chatter.
    pub balance: FineInstant,
    /// Where the one-bit cumulative sum had its minimum.
    pub causal: FineInstant,
    /// What was unusual.
    pub flags: Flags,
}

impl Contact {
    /// The flags of a touch together with what its release adds, see [`Flags::with_release`].
    #[must_use]
    pub const fn flags_with(&self, release: &Self) -> Flags {
        self.flags.with_release(release.flags)
    }
}

/// Edges that came to nothing: the line fell back for a whole hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Glitch {
    /// First edge.
    pub first_edge: Instant,
    /// Last edge.
    pub last_edge: Instant,
    /// Time spent away from the settled level, in all (saturates at 2^32 - 1 ticks).
    pub width: Span,
    /// Edges, an even number unless some were lost.
    pub edges: u32,
    /// What was unusual.
    pub flags: Flags,
}

/// What a step of a line can say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Event {
    /// The tool touched.
    Touch(Contact),
    /// The tool let go.
    Release(Contact),
    /// Edges without a change of contact.
    Glitch(Glitch),
}

/// Where every edge went. The sum of all is the number of edges given to the line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Tally {
    /// Edges of touches.
    pub touches: u32,
    /// Edges of releases.
    pub releases: u32,
    /// Edges of glitches.
    pub glitches: u32,
    /// The edge that first told the level of a line started with [`Level::Unknown`](crate::edge::Level::Unknown).
    pub initial: u32,
    /// Edges not used: see [`edge`](crate::edge).
    pub refused: u32,
    /// Edges of an episode still open.
    pub pending: u32,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubt_is_rounded_up_and_never_zero() {
        let rate = TickRate::from_hz(16_000_000).unwrap();
        assert_eq!(Doubt::from_sixteenths(0).sixteenths(), 1);
        assert_eq!(Doubt::from_sixteenths(1).ns(rate), 4);
        assert_eq!(Doubt::from_sixteenths(16).ns(rate), 63);
        assert_eq!(Doubt::from_sixteenths(1).ns(TickRate::NANOSECONDS), 1);
    }
}
