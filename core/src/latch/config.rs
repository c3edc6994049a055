//! What a user says of trigger and axis, checked once.

use super::feed_pm;
use crate::budget::{Class, Dof, Term};

/// How a position is latched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Method {
    /// At the output edge.
    Edge,
    /// Every so many nanoseconds, whatever happens.
    History {
        /// From one sample to the next, ns.
        period_ns: u32,
    },
    /// When a cyclic scan of the input sees it.
    Scan {
        /// From one scan to the next, ns.
        period_ns: u32,
        /// The same of a second scan in a row behind it, ns; 0 for none.
        behind_ns: u32,
    },
}

/// Why a latch was refused, or what it was given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LatchError {
    /// A delay beyond ±0.8 s, the mean of a scan included.
    Delay,
    /// A period of 0, or of more than a second.
    Period,
    /// A feed error above 10 %.
    FeedError,
    /// A position beyond ±10 m.
    Position,
    /// A feed beyond ±100 m/min, or positions that jump faster than that.
    Feed,
    /// An acceleration beyond ±10 m/s².
    Acceleration,
    /// A sample not after the one before it.
    Order,
    /// A history was asked of a configuration for another method.
    Method,
    /// The onset is not within the samples: the history is too short, or the sample behind the
    /// onset has not come yet.
    Outside,
}

impl core::fmt::Display for LatchError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Delay => "the delay is not within 0.8 s; shorten it, or latch by a history",
            Self::Period => "the period is not within 1 ns to 1 s",
            Self::FeedError => "the feed error is above 10 %; measure the actual feed",
            Self::Position => "the position is not within 10 m; check its unit (nm)",
            Self::Feed => "the feed is not within 100 m/min, or the position jumps; check units",
            Self::Acceleration => "the acceleration is not within 10 m/s2; check its unit (nm/s2)",
            Self::Order => "a sample is not later than the one before it",
            Self::Method => "this latch is not set up for a history",
            Self::Outside => "the onset is not within the history; keep more samples, or wait",
        })
    }
}

impl core::error::Error for LatchError {}

/// The longest delay to either side, ns: products with the hardest
/// acceleration and the fastest feed then fit.
const LONGEST_NS: i64 = 800_000_000;
/// The longest period, ns: four samples at full feed are then within what is counted in.
const LONGEST_PERIOD_NS: u32 = 1_000_000_000;

/// Trigger and axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LatchConfig {
    pub(super) method: Method,
    pub(super) delay_ns: i64,
    delay_u_ns: u32,
    feed_error_ppm: u32,
    delay_dof: Dof,
}

impl LatchConfig {
    /// A latch whose trigger has a constant delay behind the contact. It may be negative for a
    /// history: stamps may be later than the positions they belong to.
    ///
    /// # Errors
    /// [`LatchError::Delay`], [`LatchError::Period`].
    pub const fn new(method: Method, delay_ns: i64) -> Result<Self, LatchError> {
        let config = Self {
            method,
            delay_ns,
            delay_u_ns: 0,
            feed_error_ppm: 0,
            delay_dof: Dof::Known,
        };
        match method {
            Method::Edge => {}
            Method::History { period_ns } => {
                if period_ns == 0 || period_ns > LONGEST_PERIOD_NS {
                    return Err(LatchError::Period);
                }
            }
            Method::Scan {
                period_ns,
                behind_ns,
            } => {
                if period_ns == 0 || period_ns > LONGEST_PERIOD_NS || behind_ns > LONGEST_PERIOD_NS
                {
                    return Err(LatchError::Period);
                }
            }
        }
        if delay_ns.unsigned_abs() > LONGEST_NS.unsigned_abs()
            || config.mean_delay_ns().unsigned_abs() > LONGEST_NS.unsigned_abs()
        {
            return Err(LatchError::Delay);
        }
        Ok(config)
    }

    /// The standard uncertainty of the delay, ns, and what it rests on.
    #[must_use]
    pub const fn delay_doubt(self, delay_u_ns: u32, dof: Dof) -> Self {
        Self {
            delay_u_ns,
            delay_dof: dof,
            ..self
        }
    }

    /// Half the width, in millionths, within which the feed is known over the delay.
    ///
    /// # Errors
    /// [`LatchError::FeedError`] above 10 %.
    pub const fn feed_error_ppm(self, feed_error_ppm: u32) -> Result<Self, LatchError> {
        if feed_error_ppm > 100_000 {
            return Err(LatchError::FeedError);
        }
        Ok(Self {
            feed_error_ppm,
            ..self
        })
    }

    /// From contact to latch on average, ns.
    #[must_use]
    pub const fn mean_delay_ns(&self) -> i64 {
        match self.method {
            Method::Edge => self.delay_ns,
            Method::History { .. } => 0,
            Method::Scan {
                period_ns,
                behind_ns,
            } => self.delay_ns + (period_ns as i64 + behind_ns as i64) / 2,
        }
    }

    /// What all touches of a cycle at this feed share: the doubt of the delay, and that of the
    /// feed over the delay. They are of a group each, `groups` and the next one.
    #[must_use]
    pub const fn shared(&self, feed_nm_s: i64, group: u8) -> [Term; 2] {
        let delay = if self.delay_u_ns == 0 {
            0
        } else {
            feed_pm(feed_nm_s, self.delay_u_ns as u64)
        };
        // A half width over √3, 1/√3 as 0.577351; the way is at most 1.4 m, the error 10 %; a feed
        // that no latch takes leaves both doubts at their greatest.
        let speed = feed_nm_s.unsigned_abs();
        let way_nm = speed.saturating_mul(self.mean_delay_ns().unsigned_abs()) / 1_000_000_000;
        let feed = (way_nm * self.feed_error_ppm as u64 / 1_000 * 577_351).div_ceil(1_000_000);
        [
            Term {
                u_pm: narrow(delay as u64),
                dof: self.delay_dof,
                group,
                class: Class::Setup,
            },
            Term {
                u_pm: narrow(feed),
                dof: Dof::Known,
                group: group.wrapping_add(1),
                class: Class::Cycle,
            },
        ]
    }

    /// How far the start of touch `k` of `n` is to be moved against that of the first, nm, so that
    /// their scans fall into each part of the period in turn: `k·v·T/n`. 0 without a scan. The mean
    /// of `n` such touches has the doubt `v·T/(√12·n)`, less than that of random phases.
    #[must_use]
    pub const fn start_offset_nm(&self, feed_nm_s: i64, k: u16, n: u16) -> i64 {
        let Method::Scan { period_ns, .. } = self.method else {
            return 0;
        };
        if n == 0 || feed_nm_s.unsigned_abs() > super::FASTEST_NM_S.unsigned_abs() {
            return 0;
        }
        // At most 1.67·10^9 nm a period, 2^16 of them.
        let way = feed_nm_s * period_ns as i64 / 1_000_000_000;
        way * k as i64 / n as i64
    }

    /// Standard uncertainty of the unknown phase of a scan, pm.
    pub(super) const fn scan_pm(&self, feed_nm_s: i64) -> u32 {
        let Method::Scan {
            period_ns,
            behind_ns,
        } = self.method
        else {
            return 0;
        };
        let squares = period_ns as u64 * period_ns as u64 + behind_ns as u64 * behind_ns as u64;
        feed_pm(feed_nm_s, (squares.div_ceil(12) - 1).isqrt() + 1)
    }
}

/// Up to 2.1 mm.
const fn narrow(pm: u64) -> i32 {
    if pm > i32::MAX as u64 {
        i32::MAX
    } else {
        pm as i32
    }
}
