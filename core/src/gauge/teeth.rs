//! Run-out by tooth, out of how long each hit blocks.

use crate::budget::{k_milli, Dof};

/// Hits beyond would not add.
const MOST_HITS: u32 = 1 << 16;
/// The longest hit that is weighed, ns: 67 ms.
const LONGEST_NS: u32 = 1 << 26;

/// What sums are counted in, so that means about each tooth keep their fractions.
const UNIT: i128 = 1 << 20;

/// Why the heights of teeth cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum TeethError {
    /// No tooth, or more than there is room for.
    Teeth,
    /// A hit lasted 0.8 tooth periods or more: the plate was not back before the next tooth. Turn
    /// slower.
    Batted,
    /// A tooth was seen less than twice: feed on for more turns.
    TooFewHits,
    /// The hits do not become longer with the feed.
    NoSlope,
    /// Heights beyond ±4 mm, or doubts above: not those of a cutter.
    Range,
}

impl core::fmt::Display for TeethError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Teeth => "number of teeth is 0 or more than there is room for",
            Self::Batted => "the plate was not back before the next tooth: turn slower",
            Self::TooFewHits => "a tooth was seen less than twice: feed on for more turns",
            Self::NoSlope => "the hits do not become longer: the tool did not feed on",
            Self::Range => "heights are not within 4 mm: these are not the hits of a cutter",
        })
    }
}

impl core::error::Error for TeethError {}

/// Height of a tooth against the highest, and its doubt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Height {
    /// 0 for the highest, negative for the others, pm.
    pub below_pm: i32,
    /// Standard uncertainty, out of the scatter of the hits, pm.
    pub doubt_pm: u32,
}

/// How late the first hit came behind the circle of the longest tooth.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct FirstHit {
    /// Way fed on since that circle reached the plate, pm.
    pub late_pm: u32,
    /// Standard uncertainty, out of the scatter of the hits and of where in a hit its tooth is
    /// deepest, pm.
    pub doubt_pm: u32,
}

/// The line that all hits lie about, each tooth at its height.
struct Line {
    /// In 2^-8 ns² a hit.
    slope: i128,
    /// What the slope rests on: `Σq·i²` about the means of the teeth.
    base: i128,
    /// Residual variance, see `scatter`.
    scatter: i128,
    /// Level at hit 0 and mean of the highest tooth, 2^-8 ns², and how many hits it has.
    highest: i128,
    mean: i128,
    count: i128,
}

impl Line {
    /// Variance of what the mean of so many hits comes to where the line is `away` (2^-8 ns²) from it, in
    /// (2^-8 ns²)²: that of the mean, and `(away/slope)²` times that of the slope, as both are taken
    /// about the means of the teeth.
    fn variance(&self, count: i128, away: i128) -> Option<i128> {
        let of_mean = scaled(self.scatter, 65_536, count)?;
        let of_slope = scaled(self.scatter, 65_536, self.base)?;
        let hits = scaled(away, 256, self.slope)?;
        let of_slope = scaled(of_slope, hits.checked_mul(hits)?, 65_536)?;
        of_mean.checked_add(of_slope)
    }
}

/// Sums over the hits of one tooth, of their number and of the squares of their widths, in 2^-20 but
/// for the last.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    hits: u32,
    count: i128,
    number: i128,
    number_2: i128,
    width: i128,
    number_width: i128,
    width_2: i128,
}

/// Hits of a turning cutter of up to `TEETH` teeth, in O(1) memory.
///
/// A hit blocks for a time whose square grows with the depth: `w² = g·(h_k + f_z·i + c)` for hit
/// `i` of tooth `k` (circle by its parabola). The slope over the hits is `g·f_z`, whatever radius,
/// plate and spring make of `g`: heights come out in feeds per tooth without knowing any of them.
/// All hits weigh the same: the noise of a place, over the speed with which a tooth comes and goes
/// (which grows as `w`), makes the squares of all widths equally uncertain. Where a jitter in time
/// rules instead, weighing by `1/w²` would be surer by two thirds, but it takes scatter for depth
/// in the narrowest hits, and its doubt is too small wherever the noise is that of a place.
///
/// It needs the plate back before the next tooth, every tooth seen twice (`run-out/f_rev + 2`
/// turns), and a constant feed all the time: hits while the axis brakes, stands or goes back are
/// not to be told.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ToothHeights<const TEETH: usize> {
    sums: [Sums; TEETH],
    teeth: usize,
    /// A tooth period.
    period_ns: u64,
    /// 0.8 tooth periods, ns.
    longest_ns: u32,
    hits: u32,
    batted: bool,
}

impl<const TEETH: usize> ToothHeights<TEETH> {
    /// For a cutter of so many teeth that turns once in `turn_ns`.
    ///
    /// # Errors
    /// [`TeethError::Teeth`].
    pub fn new(teeth: u8, turn_ns: u64) -> Result<Self, TeethError> {
        let period = turn_ns
            .checked_div(u64::from(teeth))
            .filter(|_| usize::from(teeth) <= TEETH)
            .ok_or(TeethError::Teeth)?;
        let longest = (period / 5).saturating_mul(4);
        Ok(Self {
            sums: [Sums::default(); TEETH],
            teeth: usize::from(teeth),
            period_ns: period,
            longest_ns: u32::try_from(longest).unwrap_or(u32::MAX).min(LONGEST_NS),
            hits: 0,
            batted: false,
        })
    }

    /// Takes hit `number` of the contact, counted in tooth periods from the first (a tooth that
    /// was not seen leaves its number out), which blocked for so long. Hits after 2^16 are not
    /// taken.
    pub fn hit(&mut self, number: u32, width_ns: u32) {
        self.batted |= width_ns >= self.longest_ns;
        let tooth = usize::try_from(number)
            .ok()
            .and_then(|number| number.checked_rem(self.teeth));
        let Some(sums) = tooth.and_then(|tooth| self.sums.get_mut(tooth)) else {
            return;
        };
        if number >= MOST_HITS || width_ns == 0 || self.batted {
            return;
        }
        self.hits += 1;
        sums.hits += 1;
        // Squares up to 2^52, hits up to 2^16, their squares together below 2^121.
        let square = i128::from(width_ns) * i128::from(width_ns);
        let number = i128::from(number);
        sums.count += UNIT;
        sums.number += UNIT * number;
        sums.number_2 += UNIT * number * number;
        sums.width += UNIT * square;
        sums.number_width += UNIT * number * square;
        sums.width_2 += square * square;
    }

    /// The heights, for a feed per tooth, pm; teeth in the order in which they struck.
    ///
    /// # Errors
    /// [`TeethError`].
    pub fn heights(&self, per_tooth_pm: u32) -> Result<[Height; TEETH], TeethError> {
        let line = self.line()?;
        let sums = self.sums.get(..self.teeth).unwrap_or(&[]);
        let mut heights = [Height::default(); TEETH];
        for (height, tooth) in heights.iter_mut().zip(sums) {
            let (mean, level) = level(tooth, line.slope).ok_or(TeethError::TooFewHits)?;
            let pm = scaled(level - line.highest, i128::from(per_tooth_pm), line.slope);
            height.below_pm = pm
                .and_then(|pm| i32::try_from(pm).ok())
                .ok_or(TeethError::Range)?;
            // A tooth seen later than the highest leans on the slope in between.
            let square = line.variance(tooth.count, mean - line.mean);
            let square = square.ok_or(TeethError::Range)?;
            height.doubt_pm = in_pm(square, per_tooth_pm, line.slope)?;
        }
        Ok(heights)
    }

    /// How late the first hit came, for a feed per tooth, pm, and how long it blocked: what a
    /// radius is corrected by, instead of half a tooth's feed.
    ///
    /// The highest tooth's line is as deep at hit 0 as that tooth would have been then; the tool
    /// has fed on by so much since its circle reached the plate. A tooth is deepest in the middle
    /// of what it would block a still plate for, so between none and half of `first_ns` after the
    /// onset of its hit, as far as the plate was thrown: the middle of that is taken, and the rest
    /// doubted.
    ///
    /// # Errors
    /// [`TeethError`].
    pub fn first_hit(&self, per_tooth_pm: u32, first_ns: u32) -> Result<FirstHit, TeethError> {
        let line = self.line()?;
        let feed = i128::from(per_tooth_pm);
        let deep = scaled(line.highest, feed, line.slope).ok_or(TeethError::Range)?;
        // A quarter of the hit, in feeds per tooth.
        let quarter = (feed * i128::from(first_ns))
            .checked_div(4 * i128::from(self.period_ns))
            .ok_or(TeethError::Teeth)?;
        let late = (deep - quarter).max(0);
        let square = line.variance(line.count, line.mean);
        let square = square.ok_or(TeethError::Range)?;
        let doubt = u128::from(in_pm(square, per_tooth_pm, line.slope)?);
        let width = quarter.unsigned_abs();
        let square = (doubt * doubt).saturating_add(width.saturating_mul(width) / 3);
        let pm = |pm: u128| u32::try_from(pm).map_err(|_| TeethError::Range);
        Ok(FirstHit {
            late_pm: pm(late.unsigned_abs())?,
            doubt_pm: pm(square.isqrt() + 1)?,
        })
    }

    fn line(&self) -> Result<Line, TeethError> {
        if self.batted {
            return Err(TeethError::Batted);
        }
        let sums = self.sums.get(..self.teeth).unwrap_or(&[]);
        if sums.iter().any(|sums| sums.hits < 2) {
            return Err(TeethError::TooFewHits);
        }
        // The common slope about the means of each tooth.
        let (mut above, mut below) = (0_i128, 0_i128);
        for tooth in sums {
            above += tooth.number_width - over(tooth.number, tooth.width, tooth.count);
            below += tooth.number_2 - over(tooth.number, tooth.number, tooth.count);
        }
        // In 2^-8 ns² a hit.
        let slope = scaled(above, 256, below).filter(|slope| *slope > 0);
        let slope = slope.ok_or(TeethError::NoSlope)?;
        let levels = sums.iter().filter_map(|tooth| {
            let (mean, level) = level(tooth, slope)?;
            Some((level, mean, tooth.count))
        });
        let highest = levels.max_by_key(|(level, ..)| *level);
        let (highest, mean, count) = highest.ok_or(TeethError::TooFewHits)?;
        Ok(Line {
            slope,
            base: below,
            scatter: self.scatter(sums, above, slope),
            highest,
            mean,
            count,
        })
    }

    /// Residual variance in ns⁴, in 2^-20, by the degrees of freedom, and by the square of Student's factor
    /// over the normal one: few hits show less scatter than there is as often as more, and twice the
    /// doubt is to hold.
    fn scatter(&self, sums: &[Sums], above: i128, slope: i128) -> i128 {
        let mut rest = 0_i128;
        for tooth in sums {
            // Σq·y² and (Σq·y)²/Σq, both in 2^20.
            rest += tooth.width_2 - (over(tooth.width, tooth.width, tooth.count) >> 20);
        }
        // Up to 2^60 and 2^104: digits below are given up there.
        rest -= over(slope, above >> 8, 1 << 20);
        let dof = i128::from(self.hits) - sums.len() as i128 - 1;
        let mean = rest.max(0).checked_div(dof.max(1)).unwrap_or(0);
        let known = u16::try_from(dof.max(1)).unwrap_or(u16::MAX);
        let factor = i128::from(k_milli(Dof::N(known)));
        over(mean, factor * factor, 1_960 * 1_960).saturating_mul(1 << 20)
    }
}

/// Mean of a tooth's squared widths and its level at hit 0, 2^-8 ns².
fn level(tooth: &Sums, slope: i128) -> Option<(i128, i128)> {
    let mean = scaled(tooth.width, 256, tooth.count)?;
    // Finer than the slope: heights are counted in feeds per tooth.
    let number = scaled(tooth.number, 1 << 20, tooth.count)?;
    Some((mean, mean - scaled(slope, number, 1 << 20)?))
}

/// The root of a variance in (2^-8 ns²)², as a way: at least 1 pm.
fn in_pm(square: i128, per_tooth_pm: u32, slope: i128) -> Result<u32, TeethError> {
    let doubt = square.max(0).unsigned_abs().isqrt() as i128 + 1;
    let pm = scaled(doubt, i128::from(per_tooth_pm), slope).and_then(|pm| u32::try_from(pm).ok());
    Ok(pm.ok_or(TeethError::Range)?.max(1))
}

/// `a·b/c` without losing high digits; 0 for a `c` of 0.
fn over(a: i128, b: i128, c: i128) -> i128 {
    scaled(a, b, c).unwrap_or(0)
}

/// `a·b/c`; `None` where it has no end. Digits below are given up where the product is too wide.
fn scaled(a: i128, b: i128, c: i128) -> Option<i128> {
    if let Some(product) = a.checked_mul(b) {
        return product.checked_div(c);
    }
    let wide = |x: i128| 128 - x.unsigned_abs().leading_zeros();
    let spare = (wide(a) + wide(b)).saturating_sub(125);
    (a >> spare).checked_mul(b)?.checked_div(c >> spare)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Widths of a cutter of radius R at ω: w = √(8·d/R)/ω, d in m.
    fn width_ns(depth: f64, turn: f64) -> u32 {
        let omega = core::f64::consts::TAU / turn;
        ((8.0 * depth.max(0.0) / 5e-3).sqrt() / omega * 1e9) as u32
    }

    /// 500 turns a minute, f_z 0.25 µm, eight turns and more, heights within 5 µm.
    #[test]
    fn heights_come_back_without_knowing_the_cutter() {
        let below = [-1.2e-6, 0.0, -3.7e-6, -0.4e-6];
        for (turn, per_tooth) in [(0.12, 0.25e-6), (0.06, 1e-6)] {
            let turn_ns = (turn * 1e9) as u64;
            let mut heights = ToothHeights::<4>::new(4, turn_ns).unwrap();
            for number in 0..120_u32 {
                let height = below[number as usize % 4];
                let depth = height + per_tooth * f64::from(number);
                let width = width_ns(depth, turn);
                if width > 20_000 {
                    heights.hit(number, width);
                }
            }
            let found = heights.heights((per_tooth * 1e12) as u32).unwrap();
            for (found, expected) in found.iter().zip(below) {
                let off = f64::from(found.below_pm) * 1e-12 - expected;
                assert!(off.abs() < 2e-9, "{found:?} {expected}");
                assert!(found.doubt_pm < 2_000, "{found:?}");
            }
        }
    }

    /// The first hit seen is that of a lower tooth, 3.3 µm of feed after the circle of the highest.
    /// Two doubts hold after a few turns as after many: of 2000 cutters with noise of a place.
    #[test]
    fn few_turns_are_doubted_for_being_few() {
        let below = [0.0, -3e-6, -1e-6, -2e-6];
        let mut random = crate::drawn::numbers(7);
        // A sum of twelve even numbers is nearly normal.
        let mut normal = || {
            (0..12)
                .map(|_| (random() >> 11) as f64 / 9.007e15)
                .sum::<f64>()
                - 6.0
        };
        for turns in [2_u32, 3, 14] {
            let (mut told, mut beyond) = (0, 0);
            for _ in 0..2_000 {
                let mut heights = ToothHeights::<4>::new(4, 120_000_000).unwrap();
                for i in 0..4 * turns {
                    let depth = below[i as usize % 4] + 1e-6 * f64::from(i + 4);
                    heights.hit(i, width_ns((depth + 0.1e-6 * normal()).max(1e-9), 0.12));
                }
                let Ok(found) = heights.heights(1_000_000) else {
                    continue;
                };
                told += 1;
                let off = f64::from(found[1].below_pm - found[0].below_pm) + 3e6;
                let doubt = f64::from(found[1].doubt_pm).hypot(f64::from(found[0].doubt_pm));
                beyond += u32::from(off.abs() > 2.0 * doubt);
            }
            assert!(
                told > 1_900 && beyond * 100 < told * 8,
                "{turns}: {beyond} of {told}"
            );
        }
    }

    #[test]
    fn the_first_hit_s_lateness_comes_back_too() {
        let below = [-1.2e-6, 0.0, -3.7e-6, -0.4e-6];
        let (turn, per_tooth, fed) = (0.12, 0.25e-6, 3.3e-6);
        let mut heights = ToothHeights::<4>::new(4, (turn * 1e9) as u64).unwrap();
        let mut first_ns = 0;
        for number in 0..120_u32 {
            let width = width_ns(
                below[number as usize % 4] + fed + per_tooth * f64::from(number),
                turn,
            );
            if number == 0 {
                first_ns = width;
            }
            if width > 20_000 {
                heights.hit(number, width);
            }
        }
        let found = heights
            .first_hit((per_tooth * 1e12) as u32, first_ns)
            .unwrap();
        // Fed until the middle of the hit, and a quarter of it taken off.
        let period = turn / 4.0;
        let quarter = per_tooth * f64::from(first_ns) * 1e-9 / 4.0 / period;
        let off = f64::from(found.late_pm) * 1e-12 - (fed - quarter);
        assert!(off.abs() < 2e-9, "{found:?} {off}");
        assert!(f64::from(found.doubt_pm) * 1e-12 < 2e-9 + quarter);
    }

    #[test]
    fn what_cannot_be_told_is_not() {
        assert!(ToothHeights::<4>::new(0, 1).is_err() && ToothHeights::<4>::new(5, 1).is_err());
        let mut heights = ToothHeights::<2>::new(2, 20_000_000).unwrap();
        let error = |heights: &ToothHeights<2>| heights.heights(1_000_000).unwrap_err();
        assert_eq!(error(&heights), TeethError::TooFewHits);
        for number in 0..8 {
            heights.hit(number, 1_000_000);
        }
        assert_eq!(error(&heights), TeethError::NoSlope);
        heights.hit(8, 8_000_000);
        assert_eq!(error(&heights), TeethError::Batted);
    }
}
