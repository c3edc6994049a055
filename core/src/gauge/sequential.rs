//! Whether a break so small that single touches do not tell it is there: touch by touch, until it is
//! decided.

/// ln(1/α) and ln(1/β), in thousandths: a broken tool passes in 1e-9, a whole one fails in 1e-3.
const WHOLE_MILLI: i64 = 20_723;
const BROKEN_MILLI: i64 = -6_908;
/// A break below this many doubts of a touch would want hundreds of touches.
const LEAST_RATIO: u64 = 2;
/// Fewer touches than these never make a tool whole: one may be a false blocking.
const FEWEST: u8 = 2;

/// What the touches so far come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Weighed {
    /// Another touch is wanted.
    More,
    /// Whole.
    Whole,
    /// Broken.
    Broken,
    /// Not decided by the most touches, or one of them too long to be this tool's: a chip.
    Unproven,
}

/// Why there is no such test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum SequentialError {
    /// The gap is less than half a doubt of one touch, or the doubt is 0.
    Doubt,
    /// Fewer than two touches at the most.
    Touches,
}

impl core::fmt::Display for SequentialError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Doubt => "the gap is below half a doubt of one touch, or no doubt is stated; look for a larger break",
            Self::Touches => "two touches or more are needed; one never proves a tool",
        })
    }
}

impl core::error::Error for SequentialError {}

/// Wald's sequential test between a tool worn to its limit and one broken by the smallest break.
///
/// With the gap `g` between both, `x` from the limit of wear (below 0 is shorter) and the doubt `u`
/// of one touch, each touch adds `g·(x + g/2)/u²` to the logarithm of their likelihoods (textbook).
/// At +20.7 the tool is whole (a broken one gets there in 1e-9), at −6.9 broken (a whole one in
/// 1e-3). It takes as many touches as it needs: at `g = 2u` 11 on average where the tool is whole
/// and 4 where it is broken, against 21 of a fixed number.
///
/// It weighs noise of single touches alone. What all touches share is a floor that no number
/// lowers: it belongs into the gap that is given. Each touch needs the evidence of a
/// [`check`](super::check) before it is weighed: READY, a hold, a release where it was made, a sign
/// of life; droplets and chips are no noise. Two touches at least make a tool whole.
///
/// A measuring signal, not a safety function; guards and emergency stop stay in charge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sequential {
    gap_nm: u32,
    long_nm: u32,
    doubt_pm: u32,
    most: u8,
    touches: u8,
    sum_milli: i64,
    ended: Weighed,
}

impl Sequential {
    /// For a gap between the limit of wear and the smallest break less all shared bounds, a touch at
    /// most so long above the limit of wear, the doubt of one touch, and the most touches.
    ///
    /// # Errors
    /// [`SequentialError`].
    pub fn new(
        gap_nm: u32,
        long_nm: u32,
        doubt_pm: u32,
        most: u8,
    ) -> Result<Self, SequentialError> {
        if doubt_pm == 0 || u64::from(gap_nm) * 1_000 * LEAST_RATIO < u64::from(doubt_pm) {
            return Err(SequentialError::Doubt);
        }
        if most < FEWEST {
            return Err(SequentialError::Touches);
        }
        Ok(Self {
            gap_nm,
            long_nm,
            doubt_pm,
            most,
            touches: 0,
            sum_milli: 0,
            ended: Weighed::More,
        })
    }

    /// Takes the length of a touch above the limit of wear, nm, below 0 where it is shorter. Once it
    /// is decided, nothing changes it.
    #[must_use]
    pub fn push(&mut self, above_nm: i64) -> Weighed {
        if self.ended != Weighed::More {
            return self.ended;
        }
        self.touches = self.touches.saturating_add(1);
        if above_nm > i64::from(self.long_nm) {
            self.ended = Weighed::Unproven;
            return self.ended;
        }
        // In half nanometres and picometres, times 1000: below 2^32 · 2^65 · 2^29.
        let (gap, doubt) = (i128::from(self.gap_nm), i128::from(self.doubt_pm));
        let above = gap * (2 * i128::from(above_nm) + gap) * 500_000_000;
        let added = above.checked_div(doubt * doubt).unwrap_or(0);
        let added = i64::try_from(added).unwrap_or(if above < 0 { i64::MIN } else { i64::MAX });
        self.sum_milli = self.sum_milli.saturating_add(added);
        self.ended = if self.sum_milli <= BROKEN_MILLI {
            Weighed::Broken
        } else if self.sum_milli >= WHOLE_MILLI && self.touches >= FEWEST {
            Weighed::Whole
        } else if self.touches >= self.most {
            Weighed::Unproven
        } else {
            Weighed::More
        };
        self.ended
    }

    /// Touches so far.
    #[must_use]
    pub const fn touches(&self) -> u8 {
        self.touches
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn test() -> Sequential {
        // Twice a doubt of 100 nm.
        Sequential::new(200, 2_000, 100_000, 40).unwrap()
    }

    /// On the limit of wear a touch adds r²/2 = 2, at the break as much less.
    #[test]
    fn touches_add_up_to_a_decision() {
        let mut whole = test();
        assert!((0..10).all(|_| whole.push(0) == Weighed::More));
        assert_eq!(whole.push(0), Weighed::Whole);
        assert_eq!((whole.push(-9_000), whole.touches()), (Weighed::Whole, 11));
        let mut broken = test();
        assert!((0..3).all(|_| broken.push(-200) == Weighed::More));
        assert_eq!(broken.push(-200), Weighed::Broken);
        // In the middle nothing is ever decided.
        let mut between = test();
        assert!((0..39).all(|_| between.push(-100) == Weighed::More));
        assert_eq!(between.push(-100), Weighed::Unproven);
    }

    #[test]
    fn one_touch_never_proves_and_a_chip_is_none() {
        let mut long = test();
        assert_eq!(
            (long.push(2_000), long.push(2_000)),
            (Weighed::More, Weighed::Whole)
        );
        assert_eq!(test().push(2_001), Weighed::Unproven);
        assert_eq!(test().push(i64::MIN), Weighed::Broken);
        assert!(Sequential::new(49, 0, 100_000, 9).is_err());
        assert!(Sequential::new(50, 0, 100_000, 9).is_ok());
        assert_eq!(
            Sequential::new(50, 0, 0, 9).unwrap_err(),
            SequentialError::Doubt
        );
        assert_eq!(
            Sequential::new(50, 0, 1, 1).unwrap_err(),
            SequentialError::Touches
        );
    }
}
