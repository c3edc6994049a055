//! Which tooth reaches deepest, out of how long each hit blocks.
//!
//! A hit of depth d blocks for a time w with w² = g·d, g a constant of cutter, spindle and plate
//! as long as the plate is back before the next tooth (free flight under a constant preload).
//! While the tool advances by f_z a tooth, hit i of tooth k is deep h_k + f_z·i + c: a straight
//! line in i with the same slope for all teeth, whose intercepts are the heights in units of that
//! slope. Once a tooth strikes no wider than a turn before, the tool stands or goes back, and what
//! follows is left out. Neither g nor radius, mass or preload need be known. The error of w² grows as w, so
//! each is weighed by 1/w²: weighted sums of w² are then plain counts.

use super::config::HitsConfig;
use crate::onset::math::wide_quotient;
use crate::time::Span;

/// Widths are measured in 2^-20 of a tooth period.
const WIDTH_BITS: u32 = 20;
/// Weights are 2^56 / w²: 16 bits or more for the widest hit, 37 for the shortest.
const WEIGHT_BITS: u32 = 56;
/// Hits are told apart up to this number of tooth periods after the first.
const MOST_PERIODS: u32 = 1 << 9;
/// The widest hit after which the plate is sure to be back: 0.8 of a tooth period.
const BACK: u32 = (1 << WIDTH_BITS) / 5 * 4;
/// Deeper by so many standard errors than the next: one wrong in 700.
const SURE: i128 = 3;

/// The tooth that reaches deepest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Deepest {
    /// Cannot tell: the plate was not back between two teeth, too few hits, or no difference
    /// beyond their scatter.
    #[default]
    CannotTell,
    /// So many tooth periods after the tooth of the first hit.
    Tooth(u8),
}

/// What the hits of one contact tell of the cutter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Cutter {
    /// Hits; 1 for a contact without a break.
    pub hits: u32,
    /// Mean tooth period between them, 1/256 tick; 0 with a single hit.
    pub tooth_period_256: u64,
    /// Hits a turn, 1/256: 256 where one tooth alone touches.
    pub per_turn_256: u32,
    /// The longest time one hit blocked.
    pub widest: Span,
    /// The deepest tooth.
    pub deepest: Deepest,
}

/// Sums over the hits of one tooth.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    hits: u16,
    /// Width of its latest hit.
    latest: u32,
    /// Σ i, which is Σ i·w²/w² as well.
    places: u32,
    /// Σ w².
    squares: u64,
    /// Σ 1/w², Σ i/w², Σ i²/w².
    weights: u64,
    first: u64,
    second: u64,
}

/// The sums of all teeth.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Teeth<const TEETH: usize> {
    sums: [Sums; TEETH],
    /// The plate was always back before the next tooth.
    back: bool,
    /// Every hit so far was wider than the one before of the same tooth: the tool advances.
    advances: bool,
    /// Room for [`deepest`](Self::deepest).
    fit: Fit,
}

impl<const TEETH: usize> Teeth<TEETH> {
    pub(super) fn new() -> Self {
        Self {
            sums: [Sums::default(); TEETH],
            back: true,
            advances: true,
            fit: Fit::new(),
        }
    }

    /// As at the start.
    pub(super) fn clear(&mut self) {
        for sums in &mut self.sums {
            *sums = Sums::default();
        }
        (self.back, self.advances) = (true, true);
    }

    /// A hit that blocked for `width` ticks, `place` tooth periods after the first.
    pub(super) fn hit(&mut self, config: &HitsConfig, width: u32, place: u32) {
        let relative = (u64::from(width) << WIDTH_BITS).checked_div(u64::from(config.tooth));
        let relative = relative.unwrap_or(0).max(1);
        if relative > u64::from(BACK) {
            self.back = false;
        }
        if place >= MOST_PERIODS || !self.back || !self.advances {
            return;
        }
        let square = relative * relative;
        let weight = (1_u64 << WEIGHT_BITS).checked_div(square).unwrap_or(0);
        let tooth = place.checked_rem(u32::from(config.teeth)).unwrap_or(0);
        let Some(sums) = self.sums.get_mut(tooth as usize) else {
            return;
        };
        // Standing or going back, hits say nothing about heights beyond what they said before.
        self.advances = relative > u64::from(sums.latest);
        if !self.advances {
            return;
        }
        sums.latest = u32::try_from(relative).unwrap_or(u32::MAX);
        // At most 2^9 places below 2^9: every sum holds.
        let place = u64::from(place);
        sums.hits += 1;
        sums.places += place as u32;
        sums.squares = sums.squares.saturating_add(square);
        sums.weights = sums.weights.saturating_add(weight);
        sums.first = sums.first.saturating_add(weight * place);
        sums.second = sums.second.saturating_add(weight * place * place);
    }

    #[inline(never)]
    pub(super) fn deepest(&mut self) -> Deepest {
        if !self.back {
            return Deepest::CannotTell;
        }
        self.line().unwrap_or_default()
    }

    /// Least squares: one slope for all teeth, an intercept for each. Fractions carry 20 or 10
    /// binary places; with at most 2^9 hits all stay below 2^120. Its parts stand apart, for less of
    /// the stack.
    fn line(&mut self) -> Option<Deepest> {
        let Self { sums, fit, .. } = self;
        fit.clear();
        let seen = || sums.iter().enumerate().filter(|(_, sums)| sums.hits > 0);
        for (_, sums) in seen() {
            fit.add(sums);
        }
        fit.finish()?;
        for (k, sums) in seen() {
            fit.rank(k, sums);
        }
        let (deepest, next) = fit.deepest.zip(fit.next)?;
        fit.vary(sums.get(deepest)?, sums.get(next)?);
        fit.is_sure()?.then_some(Deepest::Tooth(deepest as u8))
    }
}

/// The line through all teeth: sums at first, then what they come to.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Fit {
    /// Hits beyond the unknowns.
    free: i32,
    rise_20: i128,
    run: i128,
    /// What the line misses, at last of one hit.
    missed: i128,
    slope_20: i128,
    /// The two teeth that reach deepest, with their heights, 2^-10.
    deepest: Option<usize>,
    high_10: i128,
    next: Option<usize>,
    low_10: i128,
    /// Variance of the difference between their heights, where a hit misses by 1.
    variance: i128,
}

impl Fit {
    const fn new() -> Self {
        Self {
            free: -1,
            rise_20: 0,
            run: 0,
            missed: 0,
            slope_20: 0,
            deepest: None,
            high_10: 0,
            next: None,
            low_10: 0,
            variance: 0,
        }
    }

    fn clear(&mut self) {
        self.free = -1;
        (self.rise_20, self.run, self.missed) = (0, 0, 0);
        (self.deepest, self.next) = (None, None);
    }

    /// Takes in the hits of a tooth.
    #[inline(never)]
    fn add(&mut self, s: &Sums) {
        let (hits, first) = (i128::from(s.hits), i128::from(s.first));
        self.free += i32::from(s.hits) - 1;
        self.rise_20 += (i128::from(s.places) << 20) - s.mean((first * hits) << 20);
        self.run += i128::from(s.second) - s.mean(first * first);
        self.missed += i128::from(s.squares) - s.mean((hits * hits) << WEIGHT_BITS);
    }

    /// All teeth were added.
    #[inline(never)]
    fn finish(&mut self) -> Option<()> {
        let (rise_20, run) = (self.rise_20, self.run);
        if self.free < 2 || run <= 0 || rise_20 <= 0 {
            return None;
        }
        self.slope_20 = wide_quotient(rise_20 << WEIGHT_BITS, run);
        let missed = self.missed - wide_quotient((rise_20 * rise_20) << (WEIGHT_BITS - 40), run);
        self.missed = wide_quotient(missed.max(1), i128::from(self.free)) + 1;
        Some(())
    }

    /// How deep a tooth reaches.
    #[inline(never)]
    fn rank(&mut self, k: usize, s: &Sums) {
        let sloped = s.mean(self.slope_20 * i128::from(s.first)) >> 10;
        let height_10 = s.mean(i128::from(s.hits) << (WEIGHT_BITS + 10)) - sloped;
        if self.deepest.is_none() || height_10 > self.high_10 {
            (self.next, self.low_10) = (self.deepest, self.high_10);
            (self.deepest, self.high_10) = (Some(k), height_10);
        } else if self.next.is_none() || height_10 > self.low_10 {
            (self.next, self.low_10) = (Some(k), height_10);
        }
    }

    #[inline(never)]
    fn vary(&mut self, one: &Sums, other: &Sums) {
        let apart_12 = one.middle_12() - other.middle_12();
        let sloped = wide_quotient((apart_12 * apart_12) << (WEIGHT_BITS - 24), self.run);
        self.variance = one.own() + other.own() + sloped;
    }

    /// Whether the two are sure to differ.
    #[inline(never)]
    fn is_sure(&self) -> Option<bool> {
        let variance = self.variance.checked_mul(self.missed)?;
        let apart_10 = self.high_10 - self.low_10;
        let apart = apart_10.checked_mul(apart_10)?;
        Some(apart > variance.checked_mul((SURE * SURE) << 20)?)
    }
}

impl Sums {
    /// `sum` over the weights; a hit has some.
    #[inline(always)]
    fn mean(&self, sum: i128) -> i128 {
        wide_quotient(sum, i128::from(self.weights))
    }

    /// Mean place, 2^-12.
    #[inline(always)]
    fn middle_12(&self) -> i128 {
        self.mean(i128::from(self.first) << 12)
    }

    /// Variance of the height.
    #[inline(always)]
    fn own(&self) -> i128 {
        self.mean(1 << WEIGHT_BITS)
    }
}
