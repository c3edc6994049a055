//! The delay out of touches at two feeds.

use super::FASTEST_NM_S;

/// Touches of one reference at one feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct FeedTouches {
    /// The feed, nm/s, signed.
    pub feed_nm_s: i64,
    /// Mean of the latched positions, nm.
    pub mean_nm: i64,
    /// Standard uncertainty of that mean, pm.
    pub doubt_pm: u32,
}

/// A delay that was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Delay {
    /// The delay, ns.
    pub delay_ns: i64,
    /// Its standard uncertainty, ns, rounded up.
    pub doubt_ns: u32,
}

/// Why no delay can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CalibrateError {
    /// A feed beyond ±100 m/min.
    Feed,
    /// Touches of both directions: two faces, and no constant delay between them.
    Direction,
    /// The feeds differ by less than half of the faster one.
    FeedsTooClose,
    /// The mean positions are more than 4 m apart.
    Distance,
}

impl core::fmt::Display for CalibrateError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Feed => "a feed is not within 100 m/min",
            Self::Direction => "the feeds have different signs: touch the reference from one side",
            Self::FeedsTooClose => "the feeds differ by less than half of the faster one",
            Self::Distance => "the positions lie more than 4 m apart: not of one reference",
        })
    }
}

impl core::error::Error for CalibrateError {}

/// The delay from one reference touched at two feeds: `D = (x₁ − x₂)/(v₁ − v₂)`.
///
/// It takes up every constant lag: input filter, lag of the axis' own feedback, and the like. An
/// offset that depends on the feed shows where a third feed does not fit.
///
/// # Errors
/// [`CalibrateError`].
pub fn calibrate(one: &FeedTouches, other: &FeedTouches) -> Result<Delay, CalibrateError> {
    let fast = one
        .feed_nm_s
        .unsigned_abs()
        .max(other.feed_nm_s.unsigned_abs());
    if fast > FASTEST_NM_S.unsigned_abs() {
        return Err(CalibrateError::Feed);
    }
    if (one.feed_nm_s < 0) != (other.feed_nm_s < 0) {
        return Err(CalibrateError::Direction);
    }
    let between = one.feed_nm_s - other.feed_nm_s;
    let apart = between.unsigned_abs();
    if apart <= fast / 2 {
        return Err(CalibrateError::FeedsTooClose);
    }
    let way = one.mean_nm.saturating_sub(other.mean_nm);
    if way.unsigned_abs() > 4_000_000_000 {
        return Err(CalibrateError::Distance);
    }
    let delay_ns = i128::from(way) * 1_000_000_000;
    let half = i128::from(apart / 2) * if way < 0 { -1 } else { 1 };
    let size = (delay_ns + half)
        .checked_div(i128::from(apart))
        .unwrap_or(0) as i64;
    let doubt_pm = u64::from(super::root_of_sum(one.doubt_pm, other.doubt_pm));
    let doubt = (doubt_pm * 1_000_000)
        .checked_div(apart)
        .map_or(u64::MAX, |ns| ns + 1);
    Ok(Delay {
        delay_ns: if between < 0 { -size } else { size },
        doubt_ns: u32::try_from(doubt).unwrap_or(u32::MAX),
    })
}
