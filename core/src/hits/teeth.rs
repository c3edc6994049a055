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
#[derive(Clone, Copy, Debug)]
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
}

impl Sums {
    const NONE: Self = Self {
        hits: 0,
        latest: 0,
        places: 0,
        squares: 0,
        weights: 0,
        first: 0,
        second: 0,
    };
}

impl<const TEETH: usize> Teeth<TEETH> {
    pub(super) const fn new() -> Self {
        Self {
            sums: [Sums::NONE; TEETH],
            back: true,
            advances: true,
        }
    }

    /// As before any hit, in place.
    pub(super) fn clear(&mut self) {
        self.sums.fill(Sums::NONE);
        self.back = true;
        self.advances = true;
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
    pub(super) fn deepest(&self) -> Deepest {
        if !self.back {
            return Deepest::CannotTell;
        }
        self.line().unwrap_or_default()
    }

    /// Least squares: one slope for all teeth, an intercept for each. Fractions carry 20 or 10
    /// binary places; with at most 2^9 hits all stay below 2^120.
    fn line(&self) -> Option<Deepest> {
        let seen = || {
            let all = self.sums.iter().enumerate();
            all.filter(|(_, sums)| sums.hits > 0)
                .map(|(k, sums)| (k, sums.wide()))
        };
        let (mut free, mut rise_20, mut run, mut missed) = (-1_i128, 0_i128, 0_i128, 0_i128);
        for (_, s) in seen() {
            free += s.hits - 1;
            rise_20 += (s.places << 20) - ((s.first * s.hits) << 20).checked_div(s.weights)?;
            run += s.second - (s.first * s.first).checked_div(s.weights)?;
            missed += s.squares - ((s.hits * s.hits) << WEIGHT_BITS).checked_div(s.weights)?;
        }
        if free < 2 || run <= 0 || rise_20 <= 0 {
            return None;
        }
        let slope_20 = (rise_20 << WEIGHT_BITS).checked_div(run)?;
        missed -= ((rise_20 * rise_20) << (WEIGHT_BITS - 40)).checked_div(run)?;
        let (mut best, mut next) = (None, None);
        for (k, s) in seen() {
            let sloped = (slope_20 * s.first).checked_div(s.weights)? >> 10;
            let height_10 = (s.hits << (WEIGHT_BITS + 10)).checked_div(s.weights)? - sloped;
            let tooth = Some((height_10, k));
            if height(tooth) > height(best) {
                next = best;
                best = tooth;
            } else if height(tooth) > height(next) {
                next = tooth;
            }
        }
        let ((high, tooth), (low, below)) = best.zip(next)?;
        let (one, other) = (self.sums.get(tooth)?.wide(), self.sums.get(below)?.wide());
        let own = |s: &Wide| (1_i128 << WEIGHT_BITS).checked_div(s.weights);
        let mean_12 = |s: &Wide| (s.first << 12).checked_div(s.weights);
        let apart_12 = mean_12(&one)? - mean_12(&other)?;
        let sloped = ((apart_12 * apart_12) << (WEIGHT_BITS - 24)).checked_div(run)?;
        let scatter = missed.max(1).checked_div(free)? + 1;
        let variance = (own(&one)? + own(&other)? + sloped).checked_mul(scatter)?;
        let apart_10 = high - low;
        let sure = apart_10.checked_mul(apart_10)? > variance.checked_mul((SURE * SURE) << 20)?;
        sure.then_some(Deepest::Tooth(tooth as u8))
    }
}

/// Of a tooth, 2^-10.
fn height(tooth: Option<(i128, usize)>) -> Option<i128> {
    tooth.map(|(height, _)| height)
}

/// The sums, wide enough to be multiplied.
#[derive(Clone, Copy)]
struct Wide {
    hits: i128,
    places: i128,
    squares: i128,
    weights: i128,
    first: i128,
    second: i128,
}

impl Sums {
    fn wide(&self) -> Wide {
        Wide {
            hits: i128::from(self.hits),
            places: i128::from(self.places),
            squares: i128::from(self.squares),
            weights: i128::from(self.weights),
            first: i128::from(self.first),
            second: i128::from(self.second),
        }
    }
}
