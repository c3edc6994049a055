//! The constants of a calibrated edge path, and what they say of a contact.

use crate::onset::{math, Contact, Doubt};
use crate::time::{FineInstant, TickRate};

/// Feeds are held to this, nm/s (60 m/min): what no probe survives.
pub(super) const FASTEST_NM_S: u32 = 1_000_000_000;
/// Places and delays are held to this: 1 mm in pm, 1 ms in ps.
pub(super) const MOST: i64 = 1_000_000_000;

/// Edges from which the chatter itself tells that noise carries the comparator.
const CHATTERS: u32 = 3;

/// Why constants were refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LatenessError {
    /// A delay beyond 1 ms to either side.
    Delay,
    /// Half a hysteresis beyond 1 mm, or negative.
    Offset,
    /// A turning feed of 0 or above 60 m/min.
    TurnFeed,
    /// A correlation outside -1000 to 1000 ‰.
    Together,
}

impl core::fmt::Display for LatenessError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Delay => "delay is not within -1 ms to 1 ms",
            Self::Offset => "half the hysteresis is not within 0 to 1 mm",
            Self::TurnFeed => "turning feed is not within 1 nm/s to 60 m/min",
            Self::Together => "correlation is not within -1000 to 1000 per mille",
        })
    }
}

impl core::error::Error for LatenessError {}

/// How late an onset is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Late {
    /// Lateness, ps.
    pub ps: i64,
    /// Its standard uncertainty, ps.
    pub doubt_ps: u64,
}

/// One set of constants of the form, with its doubts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) struct Constants {
    pub(super) delay_ps: i64,
    pub(super) delay_doubt_ps: u32,
    pub(super) offset_pm: u32,
    pub(super) offset_doubt_pm: u32,
    pub(super) turn_nm_s: u32,
    /// Correlation of the two doubts.
    pub(super) together_permille: i16,
}

impl Constants {
    const NONE: Self = Self {
        delay_ps: 0,
        delay_doubt_ps: 0,
        offset_pm: 0,
        offset_doubt_pm: 0,
        turn_nm_s: 1,
        together_permille: 0,
    };

    /// How late at a feed; the limit of slow feeds at 0.
    fn at_feed(&self, feed: u32) -> Late {
        self.with_offset(
            self.offset_at(feed, self.offset_pm),
            self.offset_at(feed, self.offset_doubt_pm),
        )
    }

    fn with_offset(&self, offset_ps: u64, doubt_ps: u64) -> Late {
        Late {
            // Both below 2^51.
            ps: self.delay_ps + offset_ps as i64,
            doubt_ps: self.both(doubt_ps),
        }
    }

    /// The doubt of the delay with that of the offset: √(a² + b² + 2·ρ·a·b), ps.
    fn both(&self, offset_ps: u64) -> u64 {
        // At most 2^50 and 2^32.
        let (a, b) = (i128::from(offset_ps), i128::from(self.delay_doubt_ps));
        let shared = a * b * i128::from(self.together_permille) / 500;
        let square = u128::try_from(a * a + b * b + shared).unwrap_or(0);
        let spare = (128 - square.leading_zeros()).saturating_sub(62) & !1;
        u64::from(math::root_up((square >> spare) as u64)) << (spare / 2)
    }

    /// The time a place of `pm` costs at this feed, ps: pm·(1 − exp(−v/v₀))/v.
    fn offset_at(&self, feed: u32, pm: u32) -> u64 {
        let turn = u64::from(self.turn_nm_s);
        // pm/(nm/s) is a millisecond, 10^9 ps.
        let time = |share_30: u64, feed: u64| {
            ((u128::from(pm) * u128::from(share_30) * 1_000_000_000) >> 30)
                .checked_div(u128::from(feed))
                .map_or(0, |ps| ps.min(1 << 50) as u64)
        };
        let ratio_16 = (u64::from(feed) << 16).checked_div(turn).unwrap_or(0);
        if ratio_16 < 1 << 8 {
            // Of so little the exponential is its own slope, within 1/512.
            return time(1 << 30, turn);
        }
        time(u64::from(grown_30(ratio_16)), u64::from(feed))
    }
}

/// The constants of an edge path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Lateness {
    pub(super) best: Constants,
    /// What fits the calibration nearly as well, with the slowest and the fastest turn that do.
    pub(super) least: Constants,
    pub(super) most: Constants,
    /// Whether the turning feed was taken for granted, not found.
    pub(super) turn_assumed: bool,
}

impl Default for Lateness {
    fn default() -> Self {
        Self::only(Constants::NONE)
    }
}

impl Lateness {
    /// Constants beside which none other fit.
    const fn only(best: Constants) -> Self {
        Self {
            best,
            least: best,
            most: best,
            turn_assumed: false,
        }
    }

    /// A constant delay alone, ps, with its standard uncertainty.
    ///
    /// # Errors
    /// [`LatenessError::Delay`].
    pub const fn delay(delay_ps: i64, doubt_ps: u32) -> Result<Self, LatenessError> {
        if delay_ps > MOST || delay_ps < -MOST {
            return Err(LatenessError::Delay);
        }
        Ok(Self::only(Constants {
            delay_ps,
            delay_doubt_ps: doubt_ps,
            ..Constants::NONE
        }))
    }

    /// Half the hysteresis as a length, pm, with its standard uncertainty, and the feed at which
    /// it turns from a constant time into a constant place, nm/s.
    ///
    /// # Errors
    /// [`LatenessError::Offset`] and [`LatenessError::TurnFeed`].
    pub const fn offset(
        self,
        offset_pm: u32,
        doubt_pm: u32,
        turn_nm_s: u32,
    ) -> Result<Self, LatenessError> {
        if offset_pm as i64 > MOST {
            return Err(LatenessError::Offset);
        }
        if turn_nm_s == 0 || turn_nm_s > FASTEST_NM_S {
            return Err(LatenessError::TurnFeed);
        }
        Ok(Self::only(Constants {
            offset_pm,
            offset_doubt_pm: doubt_pm,
            turn_nm_s,
            ..self.best
        }))
    }

    /// States that the turning feed is a guess: the feeds of the calibration did not show it. The
    /// constants then hold at a stated feed within those of the calibration; what slow feeds cost
    /// is not known, and [`at_edges`](Self::at_edges) takes no offset off.
    #[must_use]
    pub const fn turn_assumed(mut self) -> Self {
        self.turn_assumed = true;
        self
    }

    /// The correlation of both doubts, ‰. Delay and offset come out of one calibration: where one
    /// is too large the other is too small, and their sum is known better than each.
    ///
    /// # Errors
    /// [`LatenessError::Together`].
    pub const fn together(self, permille: i16) -> Result<Self, LatenessError> {
        if permille < -1_000 || permille > 1_000 {
            return Err(LatenessError::Together);
        }
        Ok(Self::only(Constants {
            together_permille: permille,
            ..self.best
        }))
    }

    /// What the calibration leaves open: the constants that fit it nearly as well (two standard
    /// uncertainties) with the slowest turn, and those with the fastest. At any feed, half of what
    /// they differ by from these is doubted, so the doubt is greatest where no feed was recorded.
    #[must_use]
    pub const fn between(mut self, least: &Self, most: &Self) -> Self {
        self.least = least.best;
        self.most = most.best;
        self
    }

    /// The two other sets of constants, as [`between`](Self::between) took them.
    #[must_use]
    pub const fn others(&self) -> [Self; 2] {
        [Self::only(self.least), Self::only(self.most)]
    }

    /// Delay of filter and comparator, ps.
    #[must_use]
    pub const fn delay_ps(&self) -> i64 {
        self.best.delay_ps
    }

    /// Its standard uncertainty, ps.
    #[must_use]
    pub const fn delay_doubt_ps(&self) -> u32 {
        self.best.delay_doubt_ps
    }

    /// Half the hysteresis, pm.
    #[must_use]
    pub const fn offset_pm(&self) -> u32 {
        self.best.offset_pm
    }

    /// Its standard uncertainty, what the form leaves included, pm.
    #[must_use]
    pub const fn offset_doubt_pm(&self) -> u32 {
        self.best.offset_doubt_pm
    }

    /// The correlation of both doubts, ‰.
    #[must_use]
    pub const fn together_permille(&self) -> i16 {
        self.best.together_permille
    }

    /// The feed at which the offset turns from time into place, nm/s.
    #[must_use]
    pub const fn turn_nm_s(&self) -> u32 {
        self.best.turn_nm_s
    }

    /// Whether the turning feed is a guess.
    #[must_use]
    pub const fn is_turn_assumed(&self) -> bool {
        self.turn_assumed
    }

    /// How late a contact at `feed_nm_s` is; the limit of slow feeds for a feed of 0.
    #[must_use]
    pub fn at_feed(&self, feed_nm_s: u32) -> Late {
        let feed = feed_nm_s.min(FASTEST_NM_S);
        let best = self.best.at_feed(feed);
        // What the other constants leave open beside the best.
        let open = |other: &Constants| {
            let other = other.at_feed(feed);
            root_sum(other.doubt_ps, other.ps.abs_diff(best.ps) / 2)
        };
        Late {
            doubt_ps: best.doubt_ps.max(open(&self.least)).max(open(&self.most)),
            ..best
        }
    }

    /// How late a contact of so many edges is at a feed that is not known. Chatter of three edges
    /// or more has the constant time of slow feeds, down to 63 % of it where the feed reaches the
    /// turn, which is doubted. With fewer the feed may be any, and with an assumed turn that time
    /// is not known: the offset is then left to the calibration of the place, of which it is a part
    /// at fast feeds, and the whole of its time is doubted. That may be long: of two feeds far
    /// apart, it is the offset over an eighth of the slower one.
    #[must_use]
    pub fn at_edges(&self, edges: u32) -> Late {
        if edges >= CHATTERS && !self.turn_assumed {
            let late = self.at_feed(0);
            // Chatter is seen up to about the turn, where less of the offset is left.
            let less = late.ps.abs_diff(self.best.at_feed(self.best.turn_nm_s).ps);
            return spread(late, less);
        }
        let best = &self.best;
        let none = best.with_offset(0, best.offset_at(0, best.offset_doubt_pm));
        spread(none, best.offset_at(0, best.offset_pm))
    }

    /// A contact with the lateness taken off its onset and the doubt of that added to its own
    /// (none where that is beyond what a doubt holds). Stamps of edges and both estimates stay as they were.
    #[must_use]
    pub fn corrected(&self, contact: &Contact, rate: TickRate, feed_nm_s: Option<u32>) -> Contact {
        let late = match feed_nm_s {
            Some(feed) => self.at_feed(feed),
            None => self.at_edges(contact.edges),
        };
        let parts = |ps: u64, each: u64| {
            u128::from(ps) * u128::from(rate.hz()) * u128::from(each) / 1_000_000_000_000
        };
        let shift = i64::try_from(parts(late.ps.unsigned_abs(), 256)).unwrap_or(i64::MAX);
        let own = u64::try_from(parts(late.doubt_ps, 16)).unwrap_or(u64::MAX);
        let add = |doubt: Doubt| {
            let both = root_sum(u64::from(doubt.sixteenths()), own);
            u32::try_from(both).ok().map(Doubt::from_sixteenths)
        };
        Contact {
            onset: earlier(contact.onset, if late.ps < 0 { -shift } else { shift }),
            doubt: contact.doubt.and_then(add),
            ..*contact
        }
    }
}

/// `late` that may be off by anything from nothing to `all` ps: all/√3 besides.
fn spread(late: Late, all: u64) -> Late {
    Late {
        doubt_ps: root_sum(late.doubt_ps, all * 591 / 1_024),
        ..late
    }
}

/// `at` moved back by `shift_256` 1/256 ticks.
fn earlier(at: FineInstant, shift_256: i64) -> FineInstant {
    let fine = i128::from(at.whole().ticks()) * 256 + i128::from(at.part_256());
    let moved = (fine - i128::from(shift_256)).max(0);
    let whole = u64::try_from(moved >> 8).unwrap_or(u64::MAX);
    FineInstant::new(
        crate::time::Instant::from_ticks(whole),
        (moved & 255) as i32,
    )
}

/// √(x² + y²), rounded up, of what fits 32 bits; saturating.
fn root_sum(x: u64, y: u64) -> u64 {
    let bits = 64 - (x | y).leading_zeros();
    let spare = bits.saturating_sub(31);
    let (x, y) = ((x >> spare) as u32, (y >> spare) as u32);
    let root = math::root_up(math::square(x) + math::square(y));
    u64::from(root) << spare
}

/// 1 − exp(−x) in 2^-30, x in 2^-16.
pub(super) fn grown_30(x_16: u64) -> u32 {
    const ONE: u32 = 1 << 30;
    // x·log2(e) = whole + part.
    let x = x_16.min(32 << 16) * 94_548;
    let (whole, part) = ((x >> 32) as u32, ((x >> 2) & 0x3fff_ffff));
    // 2^-part, the Taylor series about 0 to the eighth power: within 1e-8.
    let mut power = 0_u64;
    for factor in TWO_POWERS {
        power = u64::from(factor).saturating_sub((power * part) >> 30);
    }
    ONE - ((power as u32) >> whole.min(31)).min(ONE)
}

/// ln(2)^k / k! in 2^-30, from k = 8 down to 0.
const TWO_POWERS: [u32; 9] = [
    1_419,
    16_377,
    165_394,
    1_431_680,
    10_327_387,
    59_597_083,
    257_941_248,
    744_261_118,
    1_073_741_824,
];

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    #[test]
    fn the_exponential_is_that_of_the_processor() {
        for x_16 in (0..800_000).step_by(97) {
            let exact = -(-f64::from(x_16) / 65_536.0).exp_m1();
            let found = f64::from(grown_30(u64::from(x_16 as u32))) / f64::from(1 << 30);
            assert!((found - exact).abs() < 2e-6, "{x_16}: {found} {exact}");
        }
        assert!(grown_30(u64::MAX) > (1 << 30) - 64);
    }

    #[test]
    fn squares_are_summed_over_the_whole_range() {
        for (x, y) in [
            (3_u64, 4_u64),
            (0, 0),
            (1 << 40, 1 << 20),
            (u64::MAX >> 2, 5),
        ] {
            let exact = (x as f64).hypot(y as f64);
            let found = root_sum(x, y) as f64;
            assert!(found >= exact * (1.0 - 1e-9) && found <= exact * 1.0002 + 1.0);
        }
    }
}
