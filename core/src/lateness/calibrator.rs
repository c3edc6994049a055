//! Make and break pairs in, constants out.

use super::fit::{Lateness, FASTEST_NM_S, MOST};
use super::solver::{self, Feeds, Point};
use crate::onset::math::{self, wide_quotient};

/// Why a calibration is not possible.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CalibrationError {
    /// A feed of 0 or above 60 m/min.
    Feed,
    /// Half a distance beyond 1 mm to either side.
    Distance,
    /// More different feeds than there is room for.
    TooManyFeeds,
    /// 65 535 pairs at this feed already.
    TooManyPairs,
    /// Fewer than two feeds.
    TooFewFeeds,
    /// Fewer than three pairs at this feed, nm/s: their scatter is not known.
    TooFewPairs(u32),
    /// The fastest feed is less than twice the slowest: delay and offset cannot be told apart.
    FeedsTooClose,
}

impl core::fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Feed => "feed is not within 1 nm/s to 60 m/min",
            Self::Distance => "half the distance from make to break is not within 1 mm",
            Self::TooManyFeeds => "more feeds than there is room for",
            Self::TooManyPairs => "more than 65535 pairs at one feed",
            Self::TooFewFeeds => "fewer than two feeds",
            Self::TooFewPairs(_) => "fewer than three pairs at one feed",
            Self::FeedsTooClose => "the fastest feed is less than twice the slowest",
        })
    }
}

impl core::error::Error for CalibrationError {}

/// What the pairs at one feed come to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct FeedMean {
    /// The feed, nm/s.
    pub feed_nm_s: u32,
    /// Pairs at it.
    pub pairs: u16,
    /// Mean half distance, pm.
    pub half_pm: i64,
    /// Standard uncertainty of that mean, out of the scatter of the pairs, pm.
    pub doubt_pm: u32,
}

#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    feed_nm_s: u32,
    pairs: u16,
    /// The first half distance, from which the others are counted.
    first_pm: i64,
    sum: i64,
    squares: u128,
}

impl Sums {
    #[inline(never)]
    fn mean(&self) -> FeedMean {
        let n = i64::from(self.pairs);
        let offset = self.sum.checked_div(n).unwrap_or(0);
        FeedMean {
            feed_nm_s: self.feed_nm_s,
            pairs: self.pairs,
            half_pm: self.first_pm.saturating_add(offset),
            doubt_pm: math::root_up(self.variance()).max(1),
        }
    }

    /// Of the mean, pm²: Σd² − (Σd)²/n, over n·(n − 1).
    #[inline(never)]
    fn variance(&self) -> u64 {
        let pairs = i128::from(self.pairs);
        // Both below 2^95.
        let square = i128::from(self.sum) * i128::from(self.sum);
        let lost = wide_quotient(square, pairs) as u128;
        let left = self.squares.saturating_sub(lost) as i128;
        if pairs < 2 {
            return u64::MAX;
        }
        u64::try_from(wide_quotient(left, pairs * (pairs - 1))).unwrap_or(u64::MAX)
    }
}

/// Gathers pairs of touch and release at up to `FEEDS` feeds.
///
/// [`pair`](Self::pair) costs one multiplication; [`solve`](Self::solve) is for the bench and
/// the commissioning of a machine, not for an interrupt: some tens of thousands of instructions.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Calibrator<const FEEDS: usize> {
    sums: [Sums; FEEDS],
    feeds: usize,
    /// Room for [`solve`](Self::solve).
    points: [Point; FEEDS],
}

impl<const FEEDS: usize> Default for Calibrator<FEEDS> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const FEEDS: usize> Calibrator<FEEDS> {
    /// Without a pair.
    #[must_use]
    pub fn new() -> Self {
        const { assert!(FEEDS <= 256, "sums over the feeds hold 256 of them") };
        Self {
            sums: [Sums::default(); FEEDS],
            feeds: 0,
            points: [Point::default(); FEEDS],
        }
    }

    /// A touch and its release at `feed_nm_s`: half the distance between their two onsets, pm,
    /// positive where the contact is found deeper going in than coming out. On a machine this is
    /// (position of make − position of break)/2 along the approach; where true times are known,
    /// feed × (lateness of make + lateness of break)/2.
    ///
    /// # Errors
    /// [`CalibrationError::Feed`], [`Distance`](CalibrationError::Distance),
    /// [`TooManyFeeds`](CalibrationError::TooManyFeeds),
    /// [`TooManyPairs`](CalibrationError::TooManyPairs); nothing gathered is lost.
    pub fn pair(&mut self, feed_nm_s: u32, half_pm: i64) -> Result<(), CalibrationError> {
        if feed_nm_s == 0 || feed_nm_s > FASTEST_NM_S {
            return Err(CalibrationError::Feed);
        }
        if half_pm.unsigned_abs() > MOST.unsigned_abs() {
            return Err(CalibrationError::Distance);
        }
        let known = self
            .sums
            .iter()
            .take(self.feeds)
            .position(|sums| sums.feed_nm_s == feed_nm_s);
        let slot = known.unwrap_or(self.feeds);
        let Some(sums) = self.sums.get_mut(slot) else {
            return Err(CalibrationError::TooManyFeeds);
        };
        if known.is_none() {
            *sums = Sums {
                feed_nm_s,
                first_pm: half_pm,
                ..Sums::default()
            };
            self.feeds += 1;
        }
        let Some(pairs) = sums.pairs.checked_add(1) else {
            return Err(CalibrationError::TooManyPairs);
        };
        // At most 2^31 each and 2^16 of them.
        let from_first = half_pm - sums.first_pm;
        sums.pairs = pairs;
        sums.sum += from_first;
        sums.squares +=
            u128::from(from_first.unsigned_abs()) * u128::from(from_first.unsigned_abs());
        Ok(())
    }

    /// The feeds so far, in the order in which they came.
    pub fn feeds(&self) -> impl Iterator<Item = FeedMean> + '_ {
        self.sums.iter().take(self.feeds).map(Sums::mean)
    }

    /// The constants that fit the pairs best, each feed weighed by its scatter. Three feeds or
    /// more, from the slowest to the fastest used, show where the offset turns from time into
    /// place. Two feeds cannot, nor can more where the scatter hides it: a turn is then
    /// [assumed](Lateness::is_turn_assumed). The constants hold at feeds between the slowest and
    /// the fastest, with a doubt that covers what two feeds leave open between them.
    ///
    /// # Errors
    /// [`CalibrationError::TooFewFeeds`], [`TooFewPairs`](CalibrationError::TooFewPairs) and
    /// [`FeedsTooClose`](CalibrationError::FeedsTooClose).
    pub fn solve(&mut self) -> Result<Lateness, CalibrationError> {
        let feeds = self.seen()?;
        for (point, sums) in self
            .points
            .iter_mut()
            .zip(self.sums.iter().take(self.feeds))
        {
            *point = Point::of(&sums.mean(), &feeds);
        }
        let points = self.points.get(..self.feeds).unwrap_or(&[]);
        let turns = solver::turns(points, &feeds);
        solver::stated_all(points, &feeds, &turns)
    }

    /// The feeds in short, if constants can be had of them.
    fn seen(&self) -> Result<Feeds, CalibrationError> {
        let mut feeds = Feeds {
            slowest: u32::MAX,
            fastest: 0,
            least_doubt: u32::MAX,
            greatest_doubt: 0,
        };
        for mean in self.feeds() {
            if mean.pairs < 3 {
                return Err(CalibrationError::TooFewPairs(mean.feed_nm_s));
            }
            feeds.slowest = feeds.slowest.min(mean.feed_nm_s);
            feeds.fastest = feeds.fastest.max(mean.feed_nm_s);
            feeds.least_doubt = feeds.least_doubt.min(mean.doubt_pm);
            feeds.greatest_doubt = feeds.greatest_doubt.max(mean.doubt_pm);
        }
        if self.feeds < 2 {
            return Err(CalibrationError::TooFewFeeds);
        }
        if feeds.fastest / 2 < feeds.slowest {
            return Err(CalibrationError::FeedsTooClose);
        }
        Ok(feeds)
    }
}
