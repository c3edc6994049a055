//! Latch: where the axis stood when the tool touched.
//!
//! ```text
//! output edge ─▶ position, feed ───────────────┐
//! positions every T ─▶ History ─┐              ├─▶ Latched: position at contact ± doubt, bound
//! onset ────────────────────────┴──────────────┤
//! input scanned every T ─▶ position, feed ─────┘
//! ```
//!
//! Three ways from a touch to a place, all with signed feeds, so that one formula serves both
//! directions; `D` is the constant delay that the trigger has behind the contact:
//!
//! * **edge**: the position was latched at the output edge, `x = x_l − v·D + a·D²/2` with the
//!   feed `v` at the latch (with the feed at contact the last term is subtracted, with the mean of
//!   both it falls out);
//! * **history**: the position is stored every `T`, and the onset is looked up in it, a chord
//!   between two samples or a parabola through three: [`History`];
//! * **scan**: the control looks at its input every `T`, at a phase nobody knows:
//!   `x = x_l − v·(D + T/2)`, with the doubt `v·T/√12`.
//!
//! Back-dating an onset into a history is to be preferred: neither `D` nor the feed's own doubt is
//! then multiplied by a long way. An edge wants a constant feed from before the contact until
//! after the latch; a control that brakes on its own early input breaks that, and is told by
//! `not_settled`. A scan wants touches whose starts are [spread](LatchConfig::start_offset_nm): a
//! control that begins each approach on its own cycle repeats one phase, and its touches agree
//! perfectly and are all wrong.
//!
//! Kinematics and interpolation errors (`|a|·T²/8`, `|j|·T³/(9·√3)`) are textbook formulas.
//!
//! Positions within ±10 m, feeds within ±100 m/min. Results are within 0.6 nm of the exact value
//! of their formula for delays up to 0.4 s, and within 0.7 nm up to the longest, 0.8 s.
//!
//! A measuring signal, not a safety function; no performance level is claimed; prove each program
//! at reduced feed with the tool clear; guards and emergency stop stay in charge.

mod calibrate;
mod config;
mod history;
#[cfg(test)]
mod tests;

pub use calibrate::{calibrate, CalibrateError, Delay, FeedTouches};
pub use config::{LatchConfig, LatchError, Method};
pub use history::History;

use core::num::NonZeroU64;

use crate::flags::Flags;
use crate::onset::math;
use crate::rounded::{quotient, GIGA};

/// The fastest feed, nm/s: 100 m/min.
pub const FASTEST_NM_S: i64 = 1_666_666_667;
/// The furthest position to either side, nm: 10 m.
pub const FURTHEST_NM: i64 = 10_000_000_000;
/// The hardest acceleration, nm/s²: 10 m/s².
pub const HARDEST_NM_S2: i64 = 10_000_000_000;

/// Twice 10^9.
const TWO_GIGA: NonZeroU64 = GIGA.saturating_add(1_000_000_000);

/// Which feed is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum FeedAt {
    /// That when the position was latched.
    Latch,
    /// That at contact.
    Contact,
    /// The mean from contact to latch.
    Mean,
}

/// What a control latched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Caught {
    /// The latched position, nm.
    pub position_nm: i64,
    /// The actual feed, from positions at least four samples apart, nm/s; positive where the
    /// coordinate grows.
    pub feed_nm_s: i64,
    /// Which feed that is.
    pub feed_at: FeedAt,
    /// Acceleration from contact to latch, nm/s²; 0 for a constant feed.
    pub acceleration_nm_s2: i64,
    /// Standard uncertainty of the trigger's own time, ns; none where it is not known.
    pub doubt_ns: Option<u32>,
}

/// A position at contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Latched {
    /// Where the axis stood, nm.
    pub at_nm: i64,
    /// The feed, nm/s.
    pub feed_nm_s: i64,
    /// Standard uncertainty that this touch has for itself, pm, rounded up and never 0;
    /// [`u32::MAX`] where it is not known. What all touches of a cycle share (the delay, the feed)
    /// is not in it.
    pub doubt_pm: u32,
    /// What the interpolation may be off by at most, nm.
    pub bound_nm: u32,
    /// `not_settled`, `gap`, and what the caller adds from the onset.
    pub flags: Flags,
}

impl LatchConfig {
    /// The position at contact out of one latched at an edge or at a scan. A configuration for a
    /// history takes the position as that at the onset itself.
    ///
    /// # Errors
    /// [`LatchError::Position`], [`Feed`](LatchError::Feed), [`Acceleration`](LatchError::Acceleration).
    pub fn contact(&self, caught: &Caught) -> Result<Latched, LatchError> {
        let Caught {
            position_nm,
            feed_nm_s,
            acceleration_nm_s2,
            ..
        } = *caught;
        if position_nm.unsigned_abs() > FURTHEST_NM.unsigned_abs() {
            return Err(LatchError::Position);
        }
        if feed_nm_s.unsigned_abs() > FASTEST_NM_S.unsigned_abs() {
            return Err(LatchError::Feed);
        }
        if acceleration_nm_s2.unsigned_abs() > HARDEST_NM_S2.unsigned_abs() {
            return Err(LatchError::Acceleration);
        }
        let delay_ns = self.mean_delay_ns();
        // Below 2^63 within the ranges checked: 10^10 · 0.8·10^9, and (8·10^9 + 2·1.67·10^9) times
        // 0.8·10^9.
        let change_nm_s = quotient(acceleration_nm_s2 * delay_ns, GIGA);
        let twice_nm_s = match caught.feed_at {
            FeedAt::Latch => 2 * feed_nm_s - change_nm_s,
            FeedAt::Contact => 2 * feed_nm_s + change_nm_s,
            FeedAt::Mean => 2 * feed_nm_s,
        };
        let at_nm = position_nm - quotient(twice_nm_s * delay_ns, TWO_GIGA);
        let doubt_pm = root_of_sum(
            self.scan_pm(feed_nm_s),
            doubt_pm(feed_nm_s, caught.doubt_ns),
        );
        // The feed must not have changed by more than a tenth of the doubt over the delay.
        let settled =
            (change_nm_s * delay_ns / 1_000_000).unsigned_abs() * 10 <= u64::from(doubt_pm);
        Ok(Latched {
            at_nm,
            feed_nm_s,
            doubt_pm,
            bound_nm: 0,
            flags: if settled {
                Flags::NONE
            } else {
                Flags::NOT_SETTLED
            },
        })
    }
}

/// How far a feed goes in a time, pm, rounded up and never 0; saturates.
pub(crate) const fn feed_pm(feed_nm_s: i64, time_ns: u64) -> u32 {
    let way = match feed_nm_s.unsigned_abs().checked_mul(time_ns) {
        Some(way) => way.div_ceil(1_000_000),
        None => u64::MAX,
    };
    if way > u32::MAX as u64 {
        u32::MAX
    } else if way == 0 {
        1
    } else {
        way as u32
    }
}

/// What a doubt of the time is in the place, pm; [`u32::MAX`] where it is not known.
fn doubt_pm(feed_nm_s: i64, doubt_ns: Option<u32>) -> u32 {
    doubt_ns.map_or(u32::MAX, |ns| feed_pm(feed_nm_s, u64::from(ns)))
}

/// `√(a² + b²)`, rounded up; [`u32::MAX`] where either is that.
pub(crate) fn root_of_sum(a: u32, b: u32) -> u32 {
    if b == 0 || a == u32::MAX {
        return a;
    }
    if a == 0 || b == u32::MAX {
        return b;
    }
    math::root_up(math::square(a).saturating_add(math::square(b)))
}
