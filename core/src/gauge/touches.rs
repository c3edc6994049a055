//! Touches of one place: whether they agree, and where it is.

use core::num::NonZeroU64;

use super::Side;
use crate::rounded::quotient;

/// Quantiles of chi square at 0.999, in thousandths, by degrees of freedom from 1: one false alarm
/// in a thousand.
const CHI_999_MILLI: [u32; 30] = [
    10_828, 13_816, 16_266, 18_467, 20_515, 22_458, 24_322, 26_124, 27_877, 29_588, 31_264, 32_909,
    34_528, 36_123, 37_697, 39_252, 40_790, 42_312, 43_820, 45_315, 46_797, 48_268, 49_728, 51_179,
    52_620, 54_052, 55_476, 56_892, 58_301, 59_703,
];
/// The most touches that can be tested.
pub const MOST_TOUCHES: usize = CHI_999_MILLI.len() + 1;
/// Deviations above are none of any doubt: 1 mm.
const FURTHEST_NM: i64 = 1 << 20;

/// Where touches lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Place {
    /// Mean of the touches used, nm.
    pub mean_nm: i64,
    /// The touch furthest along the approach, nm: dirt makes tools longer, so the errors are on
    /// one side, and this is the least dirty.
    pub deepest_nm: i64,
    /// Touches used.
    pub used: u8,
    /// Touches dropped.
    pub dropped: u8,
}

/// What touches come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Located {
    /// They agree, all or all but one dropped.
    At(Place),
    /// They do not agree: so many more are wanted. Without them: unproven.
    More(u8),
    /// They do not agree, and more would not help.
    Disagree,
    /// None yet.
    None,
}

/// Up to `N` touches of one place, at most [`MOST_TOUCHES`].
///
/// They are tested with the *known* doubt of one touch: `n·Σd² − (Σd)² > n·c·σ²`, with the chi
/// square quantile `c` of one false alarm in a thousand (textbook). One of two is never dropped;
/// two or three that disagree want more; of five or more that disagree, the one furthest from the
/// median is dropped if the others then agree with one degree of freedom less.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Touches<const N: usize> {
    /// In rising order.
    sorted: [i64; N],
    count: usize,
}

impl<const N: usize> Default for Touches<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Touches<N> {
    /// Without a touch.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            sorted: [0; N],
            count: 0,
        }
    }

    /// Takes a position at contact, nm; `false` where there is no room for it.
    #[must_use]
    pub fn push(&mut self, at_nm: i64) -> bool {
        if self.count >= N.min(MOST_TOUCHES) {
            return false;
        }
        let mut moved = at_nm;
        for slot in self.sorted.iter_mut().take(self.count) {
            if *slot > moved {
                core::mem::swap(slot, &mut moved);
            }
        }
        if let Some(slot) = self.sorted.get_mut(self.count) {
            *slot = moved;
            self.count += 1;
        }
        true
    }

    /// How many there are.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.count
    }

    /// Where they lie, for a doubt of one touch (of class `touch` alone, one standard
    /// uncertainty), pm.
    #[must_use]
    pub fn locate(&self, side: Side, sigma_pm: u32) -> Located {
        let all = self.sorted.get(..self.count).unwrap_or(&[]);
        let [first, .., last] = all else {
            return match all.first() {
                Some(only) => Located::At(place(&[*only], side, 0)),
                None => Located::None,
            };
        };
        if agree(all, sigma_pm, 1) {
            return Located::At(place(all, side, 0));
        }
        match self.count {
            2 | 4 => return Located::More(1),
            3 => return Located::More(2),
            _ => {}
        }
        // Of sorted ones, the furthest from the median is the first or the last.
        let half = self.count / 2;
        let middle = |k: usize| all.get(k).copied().unwrap_or(0);
        let median_2 = i128::from(middle(half)) + i128::from(middle(self.count - 1 - half));
        let below = median_2 - 2 * i128::from(*first);
        let above = 2 * i128::from(*last) - median_2;
        let kept = if below > above {
            all.get(1..)
        } else {
            all.get(..self.count - 1)
        };
        match kept {
            Some(kept) if agree(kept, sigma_pm, 2) => Located::At(place(kept, side, 1)),
            _ => Located::Disagree,
        }
    }
}

/// Whether sorted positions agree; `lost` degrees of freedom are gone.
fn agree(all: &[i64], sigma_pm: u32, lost: usize) -> bool {
    let [first, .., last] = all else {
        return true;
    };
    if last.saturating_sub(*first) > FURTHEST_NM {
        return false;
    }
    let dof = all.len().saturating_sub(lost);
    let Some(limit) = dof.checked_sub(1).and_then(|at| CHI_999_MILLI.get(at)) else {
        return false;
    };
    // Deviations below 2^20, 31 of them: sums below 2^46.
    let (mut sum, mut squares) = (0_u64, 0_u64);
    for at in all {
        let from_first = at.abs_diff(*first);
        sum += from_first;
        squares += from_first * from_first;
    }
    let n = all.len() as u64;
    let spread = u128::from(n * squares - sum * sum);
    let sigma = u128::from(sigma_pm) * u128::from(sigma_pm);
    // nm² are 10^6 pm², the quantile counts in thousandths.
    spread * 1_000_000_000 <= u128::from(n) * u128::from(*limit) * sigma
}

fn place(used: &[i64], side: Side, dropped: u8) -> Place {
    let first = used.first().copied().unwrap_or(0);
    let last = used.last().copied().unwrap_or(first);
    let sum = used.iter().fold(0_i64, |sum, at| {
        sum.saturating_add(at.saturating_sub(first))
    });
    let mean = NonZeroU64::new(used.len() as u64).map_or(0, |n| quotient(sum, n));
    Place {
        mean_nm: first.saturating_add(mean),
        deepest_nm: match side {
            Side::Growing => last,
            Side::Falling => first,
        },
        used: used.len() as u8,
        dropped,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn located(all: &[i64]) -> Located {
        let mut touches = Touches::<31>::new();
        for at in all {
            assert!(touches.push(*at));
        }
        // 10 nm.
        touches.locate(Side::Growing, 10_000)
    }

    fn at(mean_nm: i64, deepest_nm: i64, used: u8, dropped: u8) -> Located {
        Located::At(Place {
            mean_nm,
            deepest_nm,
            used,
            dropped,
        })
    }

    #[test]
    fn two_agree_within_4_65_sigma_and_none_of_them_is_dropped() {
        assert_eq!(located(&[]), Located::None);
        assert_eq!(located(&[7]), at(7, 7, 1, 0));
        assert_eq!(located(&[1_046, 1_000]), at(1_023, 1_046, 2, 0));
        assert_eq!(located(&[1_000, 1_047]), Located::More(1));
        assert_eq!(located(&[i64::MIN, i64::MAX]), Located::More(1));
    }

    #[test]
    fn one_chip_of_five_is_dropped_and_of_fewer_never() {
        assert_eq!(located(&[0, 5, 900]), Located::More(2));
        assert_eq!(located(&[0, 5, 900, 3]), Located::More(1));
        assert_eq!(located(&[0, 5, 900, 3, 8]), at(4, 8, 4, 1));
        assert_eq!(located(&[0, 5, -900, 3, 8]), at(4, 8, 4, 1));
        assert_eq!(located(&[0, 5, 900, 3, 500]), Located::Disagree);
        assert_eq!(located(&[0, 5, 3, i64::MAX, 8]), at(4, 8, 4, 1));
    }

    #[test]
    fn from_the_other_side_the_deepest_is_the_lowest() {
        let mut touches = Touches::<2>::new();
        assert!(touches.push(30) && touches.push(10) && !touches.push(20));
        let Located::At(place) = touches.locate(Side::Falling, 10_000) else {
            panic!();
        };
        assert_eq!((place.mean_nm, place.deepest_nm), (20, 10));
    }
}
