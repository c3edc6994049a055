//! Repeatability: whether a probe holds what is said of it.

use super::limits::{deviation_limits, isqrt_up};
use super::spread::Spread;

/// Days below which nothing is said about them.
pub const FEWEST_DAYS: u32 = 5;

/// What a stated repeatability means: "0.4 µm" alone says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Meaning {
    /// One standard deviation.
    Deviation,
    /// Two of them.
    TwoDeviations,
    /// The repeatability limit, 2.8 of them (ISO 5725-6: 1.96·√2 = 2.772).
    Limit,
    /// Four of them (ISO 230-2).
    FourDeviations,
    /// The range of so many touches, 2 to 25.
    Range(u8),
}

/// Mean range of 2 to 25 normal values, in thousandths of their deviation (d2 of control charts).
const MEAN_RANGE_MILLI: [u16; 24] = [
    1_128, 1_693, 2_059, 2_326, 2_534, 2_704, 2_847, 2_970, 3_078, 3_173, 3_258, 3_336, 3_407,
    3_472, 3_532, 3_588, 3_640, 3_689, 3_735, 3_778, 3_819, 3_858, 3_895, 3_931,
];

impl Meaning {
    /// How many standard deviations it is, in thousandths; `None` for a range of fewer than 2 or
    /// more than 25.
    #[must_use]
    pub fn deviations_milli(self) -> Option<u16> {
        match self {
            Self::Deviation => Some(1_000),
            Self::TwoDeviations => Some(2_000),
            Self::Limit => Some(2_772),
            Self::FourDeviations => Some(4_000),
            Self::Range(of) => {
                let at = usize::from(of).checked_sub(2)?;
                MEAN_RANGE_MILLI.get(at).copied()
            }
        }
    }
}

/// Whether a limit holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Holds {
    /// With 95 % confidence; of a study of days a little less, see [`Found::bounds_pm`].
    Yes,
    /// Not, with 95 % confidence.
    No,
    /// Neither is proven: more touches, or more days.
    Unproven,
}

/// What a study found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Found {
    /// The standard deviation, pm, rounded up: of touches of one day, or with the days in it.
    pub deviation_pm: u64,
    /// Its degrees of freedom.
    pub dof: u32,
    /// Two-sided 95 % interval of the true one, pm; of days it covers less, as the bounds do.
    pub between_pm: (u64, u64),
    /// One-sided bounds, 95 % each, pm: lower and upper. Those of days are Satterthwaite's, and the
    /// upper one covers less where the days make most of it: 86 % of 5 days of 10 touches, 91 % of 10
    /// of 5, 94 % of 20 of 3 (simulated, 0.15 within and 0.2 between them); the two-sided interval 89
    /// to 93 %. Many days with few touches are surer.
    pub bounds_pm: (u64, u64),
    /// Of the touches of a day, pm.
    pub within_pm: u64,
    /// From day to day beside it, pm; 0 where the days show none.
    pub days_pm: u64,
    /// Days.
    pub days: u32,
}

impl Found {
    /// Whether `limit_pm`, of that meaning, holds. Of two to four days nothing is said, nor of a
    /// range of an unknown number.
    #[must_use]
    pub fn holds(&self, meaning: Meaning, limit_pm: u32) -> Holds {
        let Some(deviations) = meaning.deviations_milli() else {
            return Holds::Unproven;
        };
        if self.days > 1 && self.days < FEWEST_DAYS {
            return Holds::Unproven;
        }
        let limit = u64::from(limit_pm) * 1_000;
        let of = |pm: u64| pm.saturating_mul(u64::from(deviations));
        if of(self.bounds_pm.1) <= limit {
            Holds::Yes
        } else if of(self.bounds_pm.0) > limit {
            Holds::No
        } else {
            Holds::Unproven
        }
    }
}

/// Why a study says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum StudyError {
    /// A value further than 1 m from the first, or too many.
    Range,
    /// Fewer than two touches, or fewer than two a day.
    TooFew,
    /// Days with different numbers of touches.
    Uneven,
}

impl core::fmt::Display for StudyError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Range => "a value lies more than 1 m from the first, or there are too many",
            Self::TooFew => "fewer than two touches, or than two a day",
            Self::Uneven => "the days have different numbers of touches: leave none out, add none",
        })
    }
}

impl core::error::Error for StudyError {}

/// Touches of one place, on one day or on several; O(1) memory.
///
/// With days, a one-way analysis of variance with random effects (textbook): the variance of a
/// touch on any day is `MSB/n + (n − 1)·MSW/n`, with the degrees of freedom of Satterthwaite.
/// Many days of few touches tell more than few days of many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Study {
    all: Spread,
    /// Days that are over, and the touches of each.
    days: u32,
    a_day: u32,
    /// Touches and their sum, from the first of all, of the day that is not over.
    today: u32,
    sum: i64,
    /// Of the squares of such sums.
    squares: u128,
}

/// Mean squares as numerators over denominators.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MeanSquares {
    /// Between days.
    pub between: (u128, u64),
    /// Within days.
    pub within: (u128, u64),
}

impl Study {
    /// Without a touch.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            all: Spread::new(),
            days: 0,
            a_day: 0,
            today: 0,
            sum: 0,
            squares: 0,
        }
    }

    /// Takes a touch, pm.
    ///
    /// # Errors
    /// [`StudyError::Range`]; it is not taken.
    pub fn push(&mut self, at_pm: i64) -> Result<(), StudyError> {
        if !self.all.push(at_pm) {
            return Err(StudyError::Range);
        }
        let (first, _) = self.all.about();
        self.sum = self.sum.saturating_add(at_pm.saturating_sub(first));
        self.today += 1;
        Ok(())
    }

    /// A day is over.
    ///
    /// # Errors
    /// [`StudyError::TooFew`] and [`StudyError::Uneven`]; the day goes on.
    pub fn end_day(&mut self) -> Result<(), StudyError> {
        if self.today < 2 {
            return Err(StudyError::TooFew);
        }
        if self.days > 0 && self.today != self.a_day {
            return Err(StudyError::Uneven);
        }
        let size = u128::from(self.sum.unsigned_abs());
        self.squares = self.squares.saturating_add(size * size);
        self.a_day = self.today;
        self.days += 1;
        self.today = 0;
        self.sum = 0;
        Ok(())
    }

    /// Mean squares between and within the days that are over; `None` below two of them, or while
    /// one is not over.
    #[must_use]
    pub fn mean_squares(&self) -> Option<MeanSquares> {
        if self.days < 2 || self.today > 0 {
            return None;
        }
        let (days, n) = (u64::from(self.days), u64::from(self.a_day));
        let (_, sum) = self.all.about();
        let sum = u128::from(sum.unsigned_abs());
        // ΣT²/n − (Σd)²/(a·n), and Σd² − ΣT²/n; all squares are below 2^127.
        let between = (u128::from(days) * self.squares).saturating_sub(sum * sum);
        let (total, _) = self.all.variance()?;
        // `total` is a·n·Σd² − (Σd)².
        let within = (total + sum * sum).checked_div(u128::from(days))?;
        let within = within.saturating_sub(self.squares);
        Some(MeanSquares {
            between: (between, days * n * (days - 1)),
            within: (within, n * days * (n - 1)),
        })
    }

    /// What it comes to.
    ///
    /// # Errors
    /// [`StudyError::TooFew`]; [`StudyError::Uneven`] while a day of several is not over.
    pub fn found(&self) -> Result<Found, StudyError> {
        if self.days > 1 && self.today > 0 {
            return Err(StudyError::Uneven);
        }
        let Some(mean) = self.mean_squares() else {
            let (above, below) = self.all.variance().ok_or(StudyError::TooFew)?;
            let variance = above.checked_div(u128::from(below)).unwrap_or(u128::MAX);
            let deviation = root(variance);
            return Ok(Found {
                within_pm: deviation,
                days_pm: 0,
                days: 1,
                ..interval(deviation, self.all.count() - 1)
            });
        };
        let of = |(above, below): (u128, u64)| above.checked_div(u128::from(below)).unwrap_or(0);
        let (between, within) = (of(mean.between), of(mean.within));
        let n = u128::from(self.a_day);
        let divided = |x: u128| x.checked_div(n).unwrap_or(x);
        let whole = divided(between.saturating_add((n - 1).saturating_mul(within)));
        let dof = self.satterthwaite(between, within);
        Ok(Found {
            within_pm: root(within),
            days_pm: root(divided(between.saturating_sub(within))),
            days: self.days,
            ..interval(root(whole), dof)
        })
    }

    /// Effective degrees of freedom of `MSB/n + (n − 1)·MSW/n`, cut off.
    fn satterthwaite(&self, between: u128, within: u128) -> u32 {
        let n = u128::from(self.a_day);
        let days = u128::from(self.days);
        // Shares in 2^-30 of the sum, whose squares fit.
        let (a, b) = (between, (n - 1).saturating_mul(within));
        let whole = a.saturating_add(b);
        let shift = (128 - whole.leading_zeros()).saturating_sub(90);
        let share = |part: u128| {
            ((part >> shift) << 30)
                .checked_div(whole >> shift)
                .unwrap_or(0)
        };
        let of = |part: u128, dof: u128| (share(part) * share(part)).checked_div(dof).unwrap_or(0);
        let shared = of(a, days - 1) + of(b, days * (n - 1));
        let dof = (1_u128 << 60).checked_div(shared).unwrap_or(days - 1);
        u32::try_from(dof).unwrap_or(u32::MAX).max(1)
    }
}

/// A deviation with what it says of the true one.
fn interval(deviation_pm: u64, dof: u32) -> Found {
    let of = |factor: u32| (deviation_pm.saturating_mul(u64::from(factor))) / 100_000;
    let up = |factor: u32| of(factor).saturating_add(1);
    let (two, one) = deviation_limits(dof).map_or(((u32::MAX, 0), (u32::MAX, 0)), |limits| {
        (limits.two_sided, limits.one_sided)
    });
    Found {
        deviation_pm,
        dof,
        between_pm: (of(two.1), up(two.0)),
        bounds_pm: (of(one.1), up(one.0)),
        within_pm: 0,
        days_pm: 0,
        days: 0,
    }
}

fn root(square: u128) -> u64 {
    u64::try_from(isqrt_up(square)).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn study<const D: usize, const N: usize>(days: [[i64; N]; D]) -> Study {
        let mut study = Study::new();
        for day in days {
            for at in day {
                study.push(at).unwrap();
            }
            study.end_day().unwrap();
        }
        study
    }

    /// Two days of two: MSB = (Σ of means about their mean)·n = 2·(1² + 1²) = 4 of one degree of
    /// freedom, MSW = (4·0.5²)/2 = 0.5, counted in 1000 pm.
    #[test]
    fn mean_squares_by_hand() {
        let study = study([[0, 1_000], [2_000, 3_000]]);
        let mean = study.mean_squares().unwrap();
        let of = |(above, below): (u128, u64)| above as f64 / below as f64;
        assert!((of(mean.between) - 4e6).abs() < 1e-6);
        assert!((of(mean.within) - 0.5e6).abs() < 1e-6);
        let found = study.found().unwrap();
        // √(4/2 + 0.5/2) = 1.5 and √((4 − 0.5)/2) = 1.3229.
        assert_eq!((found.deviation_pm, found.days_pm), (1_500, 1_323));
        // (4 + 0.5)²/(4²/1 + 0.5²/2) = 1.26.
        assert_eq!((found.dof, found.days), (1, 2));
        assert_eq!(found.holds(Meaning::Deviation, u32::MAX), Holds::Unproven);
    }

    #[test]
    fn a_limit_holds_by_its_upper_bound_and_fails_by_its_lower() {
        let touches: [i64; 10] = [10, -10, 5, -5, 7, -7, 2, -2, 9, -9].map(|nm| nm * 1_000);
        let mut study = Study::new();
        for at in touches {
            study.push(at).unwrap();
        }
        let found = study.found().unwrap();
        // √(2·(100 + 25 + 49 + 4 + 81)/9) = 7.587 nm; at 9 degrees of freedom 1.645 and 0.729.
        assert_eq!(found.deviation_pm, 7_587);
        assert_eq!((found.dof, found.days), (9, 1));
        assert!((12_480..12_485).contains(&found.bounds_pm.1));
        assert!((5_530..5_535).contains(&found.bounds_pm.0));
        for (limit, holds) in [
            (12_500, Holds::Yes),
            (12_470, Holds::Unproven),
            (5_540, Holds::Unproven),
            (5_500, Holds::No),
        ] {
            assert_eq!(found.holds(Meaning::Deviation, limit), holds, "{limit}");
            assert_eq!(found.holds(Meaning::FourDeviations, 4 * limit), holds);
            assert_eq!(found.holds(Meaning::TwoDeviations, 2 * limit), holds);
        }
        assert_eq!(found.holds(Meaning::Range(1), 1), Holds::Unproven);
    }

    #[test]
    fn days_that_are_not_alike_are_refused() {
        let mut study = study([[0, 1], [2, 3]]);
        study.push(4).unwrap();
        assert_eq!(study.end_day(), Err(StudyError::TooFew));
        assert_eq!(study.found(), Err(StudyError::Uneven));
        study.push(5).unwrap();
        study.push(6).unwrap();
        assert_eq!(study.end_day(), Err(StudyError::Uneven));
        assert_eq!(study.push(1 << 41), Err(StudyError::Range));
        assert_eq!(Study::new().found(), Err(StudyError::TooFew));
    }
}
