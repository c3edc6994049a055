//! Weighted least squares of y = h·(1 − exp(−v/v₀)) + v·L.
//!
//! For a given v₀ the form is linear in h and L, two normal equations. v₀ is found by search on a
//! scale of ratios, coarse and then finer, since the sum of squares has one valley there.

use super::calibrator::FeedMean;
use super::fit::{grown_30, Lateness, FASTEST_NM_S, MOST};
use crate::onset::math;

/// Places of shares (of the fastest feed, of the offset).
const PLACES: u32 = 18;
/// Places of weights.
const WEIGHT_PLACES: u32 = 12;
/// Doubts are held within this ratio of the greatest, so that no feed is left out and none rules
/// alone: the form itself is no better than that.
const MOST_RATIO: u32 = 64;
/// The turn is looked for from a sixteenth of the slowest feed, in octaves, to half the fastest:
/// an offset that has not become a place by then cannot be told from a delay.
const ROOM_OCTAVES: u32 = 4;
/// Two feeds cannot show a turn: it is assumed an eighth of the slower one, where all but 0.03 % of the
/// offset acts.
const ASSUMED_OCTAVES: u32 = 3;
/// What the form and a turn not quite known miss of the offset in simulated chatter, 1/1024: 6 %.
const FORM_1024: i64 = 64;
/// The end of the turns that fit is found within half an octave over this power of two.
const HALVINGS: u32 = 5;
/// A turn other than the usual one must lower the sum of squares by so many variances.
const EARNS: u32 = 4;

/// A feed of the calibration.
#[derive(Clone, Copy, Default)]
pub(super) struct Point {
    feed: u32,
    /// Half distance, pm.
    half: i64,
    /// Standard uncertainty, pm.
    doubt: u32,
    /// Feed as a share of the fastest.
    share: i64,
    /// 2^12 for the least doubt.
    weight: i64,
}

impl Point {
    pub(super) fn of(mean: &FeedMean) -> Self {
        Self {
            feed: mean.feed_nm_s,
            half: mean.half_pm,
            doubt: mean.doubt_pm,
            share: 0,
            weight: 0,
        }
    }
}

/// A solution for one turning feed.
#[derive(Clone, Copy)]
struct Trial {
    turn: u32,
    /// h and v·L at the fastest feed, pm.
    offset: i64,
    drawn: i64,
    /// Σ weight · residual².
    misfit: u128,
    /// Variances of h and v·L for a variance of 1 at weight 2^12, in 2^-16.
    offset_16: u64,
    drawn_16: u64,
    /// Their correlation, ‰.
    together: i16,
}

/// The constants of `points`, of which there are two at least, at different feeds.
pub(super) fn solve(points: &mut [Point], slowest: u32, fastest: u32) -> Lateness {
    let greatest = points.iter().map(|p| p.doubt).max().unwrap_or(1);
    let least = points.iter().map(|p| p.doubt).min().unwrap_or(1);
    let floor = (greatest / MOST_RATIO).max(1);
    let unit = least.max(floor);
    for point in points.iter_mut() {
        let doubt = u64::from(point.doubt.max(floor));
        let relative = (u64::from(unit) << 16).checked_div(doubt).unwrap_or(0);
        point.weight = ((relative * relative) >> (32 - WEIGHT_PLACES)).max(1) as i64;
        let fastest = u64::from(fastest);
        let share = ((u64::from(point.feed) << PLACES) + fastest / 2).checked_div(fastest);
        point.share = share.unwrap_or(0) as i64;
    }
    let (best, found) = if points.len() < 3 {
        (try_turn(points, (slowest >> ASSUMED_OCTAVES).max(1)), false)
    } else {
        // Where the scatter hides the turn, one in the middle of the fast feeds leaves delay and
        // offset their whole doubt.
        let usual = try_turn(points, (fastest / 4).max(1));
        let found = search(points, slowest, fastest);
        let earned = (u128::from(math::square(unit)) << WEIGHT_PLACES) * u128::from(EARNS);
        if usual.misfit.saturating_sub(found.misfit) < earned {
            (usual, false)
        } else {
            // A turn below all feeds is where the search ends, not where the offset turns.
            (found, found.turn >= slowest)
        }
    };
    let variance = variance(points, &best, unit);
    let [least, most] = fitting(points, &best, variance, (slowest, fastest))
        .map(|other| stated(&other, unit, variance, fastest));
    let lateness = stated(&best, unit, variance, fastest).between(&least, &most);
    if found {
        lateness
    } else {
        lateness.turn_assumed()
    }
}

/// The best turn on a scale of half octaves, then ever finer round it.
fn search(points: &[Point], slowest: u32, fastest: u32) -> Trial {
    let last = fastest / 2;
    let mut best = try_turn(points, least_turn(slowest));
    for turn in half_octaves(least_turn(slowest), last).skip(1) {
        best = better(best, try_turn(points, turn));
    }
    // Each finds the valley within its step; 2^-12 is far finer than any data.
    for finer in 2..12 {
        let step = (best.turn >> finer).max(1);
        for turn in [
            best.turn.saturating_sub(step),
            best.turn.saturating_add(step),
        ] {
            best = better(best, try_turn(points, turn.min(last).max(1)));
        }
    }
    best
}

fn better(one: Trial, other: Trial) -> Trial {
    if other.misfit < one.misfit {
        other
    } else {
        one
    }
}

/// Share of the offset that acts at `feed`.
fn acting(feed: u32, turn: u32) -> i64 {
    let ratio_16 = (u64::from(feed) << 16).checked_div(u64::from(turn));
    i64::from(grown_30(ratio_16.unwrap_or(0)) >> (30 - PLACES))
}

/// The normal equations for one turn. Weights reach 2^12, shares 2^18, halves 2^30 and there are at
/// most 2^8 feeds: sums of shares stay below 2^56, those with halves below 2^68, products below
/// 2^125.
fn try_turn(points: &[Point], turn: u32) -> Trial {
    let (mut qq, mut qs, mut ss, mut qy, mut sy) = (0_i128, 0_i128, 0_i128, 0_i128, 0_i128);
    for p in points {
        let q = i128::from(acting(p.feed, turn));
        let (w, s, y) = (
            i128::from(p.weight),
            i128::from(p.share),
            i128::from(p.half),
        );
        qq += w * q * q;
        qs += w * q * s;
        ss += w * s * s;
        qy += w * q * y;
        sy += w * s * y;
    }
    let det = qq * ss - qs * qs;
    // Shares are 2^18 too large on top, 2^36 below.
    let over = |top: i128| top.checked_div(det >> PLACES);
    let both = over(qy * ss - sy * qs).zip(over(sy * qq - qy * qs));
    let (offset, drawn) = both.unwrap_or((-1, 0));
    let mut trial = Trial {
        turn,
        offset: narrow(offset),
        drawn: narrow(drawn),
        misfit: 0,
        offset_16: variance_16(ss, det),
        drawn_16: variance_16(qq, det),
        together: correlation(qq, qs, ss),
    };
    if trial.offset < 0 {
        // No hysteresis is below none: a constant delay alone. That the offset is none is not
        // known for that: both doubts stay those of two unknowns.
        let drawn = (sy << PLACES).checked_div(ss).unwrap_or(0);
        trial.offset = 0;
        trial.drawn = narrow(drawn);
    }
    trial.misfit = points.iter().map(|p| misfit(p, &trial)).sum();
    trial
}

fn narrow(x: i128) -> i64 {
    i64::try_from(x).unwrap_or(if x < 0 { -MOST } else { MOST })
}

/// An entry of the inverse of the normal equations, `top/det`, in 2^-16: the 2^12 of the weights
/// and the 2^36 of the squared shares are taken out.
fn variance_16(top: i128, det: i128) -> u64 {
    let variance = (top << (2 * PLACES + WEIGHT_PLACES + 16))
        .checked_div(det)
        .unwrap_or(0);
    u64::try_from(variance).unwrap_or(u64::MAX)
}

/// Of the two unknowns: −qs/√(qq·ss), ‰.
fn correlation(qq: i128, qs: i128, ss: i128) -> i16 {
    // Sums of squares below 2^56.
    let root = (qq * ss).unsigned_abs().isqrt() as i128;
    let permille = (-1_000 * qs).checked_div(root).unwrap_or(0);
    permille.clamp(-1_000, 1_000) as i16
}

fn misfit(p: &Point, trial: &Trial) -> u128 {
    let fitted = ((i128::from(trial.offset) * i128::from(acting(p.feed, trial.turn)))
        + i128::from(trial.drawn) * i128::from(p.share))
        >> PLACES;
    let off = (i128::from(p.half) - fitted).unsigned_abs().min(1 << 40);
    off * off * u128::from(p.weight.unsigned_abs())
}

/// The solutions with the slowest and the fastest turn that fit about as well as the best one:
/// within two standard uncertainties.
fn fitting(points: &[Point], best: &Trial, variance: u64, ends: (u32, u32)) -> [Trial; 2] {
    let (slowest, fastest) = ends;
    let limit = best
        .misfit
        .saturating_add((u128::from(variance) << WEIGHT_PLACES) * u128::from(EARNS));
    let (mut least, mut below) = (*best, None);
    let (mut most, mut above) = (*best, None);
    // Of turns above all feeds only the begin of the curve is seen.
    for turn in half_octaves(least_turn(slowest), fastest.saturating_mul(2)) {
        let trial = try_turn(points, turn);
        let fits = trial.misfit <= limit;
        if fits && turn < least.turn {
            least = trial;
        } else if !fits && turn < least.turn {
            below = Some(turn);
        }
        if fits && turn > most.turn {
            (most, above) = (trial, None);
        } else if !fits && turn > most.turn && above.is_none() {
            above = Some(turn);
        }
    }
    let edge = |inside: Trial, outside: Option<u32>| {
        let (mut inside, Some(mut outside)) = (inside, outside) else {
            return inside;
        };
        for _ in 0..HALVINGS {
            let middle = (u64::from(inside.turn) * u64::from(outside)).isqrt() as u32;
            let trial = try_turn(points, middle.max(1));
            if trial.misfit <= limit {
                inside = trial;
            } else {
                outside = middle;
            }
        }
        inside
    };
    [edge(least, below), edge(most, above)]
}

/// Where turns are looked for first.
fn least_turn(slowest: u32) -> u32 {
    (slowest >> ROOM_OCTAVES).max(1)
}

/// `from`, and on in half octaves up to `to`.
fn half_octaves(from: u32, to: u32) -> impl Iterator<Item = u32> {
    core::iter::successors(Some(from), move |&at| {
        (at < to).then(|| at.saturating_add((at / 2).max(1)).min(to))
    })
}

/// Variance of a point of weight 2^12, pm²: that of its scatter or, where the form misses the points
/// by more, what is seen.
fn variance(points: &[Point], best: &Trial, unit: u32) -> u64 {
    let unknowns = if points.len() < 3 { 2 } else { 3 };
    let free = points.len().saturating_sub(unknowns).max(1) as u128;
    let seen = u64::try_from((best.misfit / free) >> WEIGHT_PLACES).unwrap_or(u64::MAX);
    math::square(unit).max(seen)
}

/// The constants of a solution with their doubts, which grow with the variance of a point; what the
/// form misses beyond the scatter joins that of the offset.
fn stated(best: &Trial, unit: u32, variance: u64, fastest: u32) -> Lateness {
    let doubt = |of_one_16: u64| {
        let square = (u128::from(variance) * u128::from(of_one_16)) >> 16;
        math::root_up(u64::try_from(square).unwrap_or(u64::MAX))
    };
    let form = (best.offset.clamp(0, MOST) * FORM_1024) >> 10;
    let missed = variance
        .saturating_sub(math::square(unit))
        .saturating_add(math::square(form as u32));
    let fitted_doubt = doubt(best.offset_16);
    let offset_doubt = math::root_up(math::square(fitted_doubt).saturating_add(missed));
    // What is missed is shared with nothing.
    let together = i64::from(best.together) * i64::from(fitted_doubt);
    let together = together.checked_div(i64::from(offset_doubt)).unwrap_or(0) as i16;
    // pm at the fastest feed into time: pm/(nm/s) is 10^9 ps.
    let ps = |pm: i128| {
        (pm * i128::from(MOST))
            .checked_div(i128::from(fastest))
            .unwrap_or(0)
    };
    let delay = ps(i128::from(best.drawn)).clamp(-i128::from(MOST), i128::from(MOST)) as i64;
    let delay_doubt = u32::try_from(ps(i128::from(doubt(best.drawn_16))) + 1).unwrap_or(u32::MAX);
    let offset = best.offset.clamp(0, MOST) as u32;
    Lateness::delay(delay, delay_doubt)
        .and_then(|late| late.offset(offset, offset_doubt, best.turn.clamp(1, FASTEST_NM_S)))
        .and_then(|late| late.together(together))
        .unwrap_or_default()
}
