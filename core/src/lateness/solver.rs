//! Weighted least squares of y = h·(1 − exp(−v/v₀)) + v·L.
//!
//! For a given v₀ the form is linear in h and L, two normal equations. v₀ is found by search on a
//! scale of ratios, coarse and then finer, since the sum of squares has one valley there.

use super::calibrator::{CalibrationError, FeedMean};
use super::fit::{grown_30, Constants, Lateness, FASTEST_NM_S, MOST};
use crate::onset::math::{self, wide_quotient};

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

/// The feeds of a calibration in short.
#[derive(Clone, Copy)]
pub(super) struct Feeds {
    /// Slowest and fastest, nm/s.
    pub(super) slowest: u32,
    pub(super) fastest: u32,
    /// Least and greatest standard uncertainty, pm.
    pub(super) least_doubt: u32,
    pub(super) greatest_doubt: u32,
}

impl Feeds {
    /// Doubts are held to no less.
    fn floor(&self) -> u32 {
        (self.greatest_doubt / MOST_RATIO).max(1)
    }

    /// The doubt of weight 2^12, pm.
    fn unit(&self) -> u32 {
        self.least_doubt.max(self.floor())
    }
}

/// A feed of the calibration.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Point {
    feed: u32,
    /// Half distance, pm.
    half: i32,
    /// Feed as a share of the fastest.
    share: u32,
    /// 2^12 for the least doubt.
    weight: u32,
}

impl Point {
    pub(super) fn of(mean: &FeedMean, feeds: &Feeds) -> Self {
        let doubt = mean.doubt_pm.max(feeds.floor());
        let relative = math::quotient(u64::from(feeds.unit()) << 16, doubt);
        let fastest = feeds.fastest;
        let share = (u64::from(mean.feed_nm_s) << PLACES) + u64::from(fastest / 2);
        Self {
            feed: mean.feed_nm_s,
            // Held to 10^9 pm, so is their mean.
            half: mean.half_pm as i32,
            share: math::quotient(share, fastest) as u32,
            weight: ((relative * relative) >> (32 - WEIGHT_PLACES)).max(1) as u32,
        }
    }
}

/// The turning feeds of a calibration.
pub(super) struct Turns {
    best: u32,
    found: bool,
    /// The slowest and the fastest that fit about as well.
    least: u32,
    most: u32,
    /// Variance of a point of weight 2^12, pm².
    variance: u64,
}

/// The turning feeds of `points`, of which there are two at least, at different feeds.
#[inline(never)]
pub(super) fn turns(points: &[Point], feeds: &Feeds) -> Turns {
    let best = best(points, feeds);
    let margin = best.margin(points, feeds);
    Turns {
        best: best.turn,
        found: best.found,
        least: margin.least(points, feeds, best.turn),
        most: margin.most(points, feeds, best.turn),
        variance: margin.variance,
    }
}

/// The constants for all of them.
#[inline(never)]
#[allow(clippy::unnecessary_wraps)] // A wrap around the call would cost a copy.
pub(super) fn stated_all(
    points: &[Point],
    feeds: &Feeds,
    turns: &Turns,
) -> Result<Lateness, CalibrationError> {
    let stated = |turn: u32| stated(points, feeds, turns.variance, turn);
    Ok(Lateness {
        best: stated(turns.best),
        least: stated(turns.least),
        most: stated(turns.most),
        turn_assumed: !turns.found,
    })
}

/// The best turning feed.
#[derive(Clone, Copy)]
struct Best {
    turn: u32,
    /// Whether it was found, not assumed.
    found: bool,
    /// Σ weight · residual².
    misfit: u128,
}

/// The best turning feed of `points`, of which there are two at least, at different feeds.
#[inline(never)]
fn best(points: &[Point], feeds: &Feeds) -> Best {
    if points.len() < 3 {
        return Best::of(points, (feeds.slowest >> ASSUMED_OCTAVES).max(1));
    }
    // A turn below all feeds is where the search ends, not where the offset turns.
    let mut found = Best::of(points, least_turn(feeds.slowest));
    found.search(points, feeds);
    found.found = found.turn >= feeds.slowest;
    // Where the scatter hides the turn, one in the middle of the fast feeds leaves delay and
    // offset their whole doubt.
    let usual = Best::of(points, (feeds.fastest / 4).max(1));
    if usual.misfit.saturating_sub(found.misfit) < earned(math::square(feeds.unit())) {
        usual
    } else {
        found
    }
}

/// What a turn must lower the misfit by, of a point's `variance`.
fn earned(variance: u64) -> u128 {
    (u128::from(variance) << WEIGHT_PLACES) * u128::from(EARNS)
}

impl Best {
    fn of(points: &[Point], turn: u32) -> Self {
        Self {
            turn,
            found: false,
            misfit: misfit(points, turn),
        }
    }

    /// The best turn on a scale of half octaves from the least on, then ever finer round it.
    #[inline(never)]
    fn search(&mut self, points: &[Point], feeds: &Feeds) {
        let last = feeds.fastest / 2;
        for turn in half_octaves(self.turn, last).skip(1) {
            self.or_better(points, turn);
        }
        // Each finds the valley within its step; 2^-12 is far finer than any data.
        for finer in 2..12 {
            let middle = self.turn;
            let step = (middle >> finer).max(1);
            self.or_better(points, middle.saturating_sub(step).min(last).max(1));
            self.or_better(points, middle.saturating_add(step).min(last).max(1));
        }
    }

    /// Another turn, if it fits better.
    fn or_better(&mut self, points: &[Point], turn: u32) {
        let misfit = misfit(points, turn);
        if misfit < self.misfit {
            (self.turn, self.misfit) = (turn, misfit);
        }
    }

    /// What other turns may miss by to fit about as well: two standard uncertainties.
    #[inline(never)]
    fn margin(&self, points: &[Point], feeds: &Feeds) -> Margin {
        let unknowns = if points.len() < 3 { 2 } else { 3 };
        let free = points.len().saturating_sub(unknowns).max(1);
        // Below 2^100.
        let seen = wide_quotient(self.misfit as i128, free as i128) >> WEIGHT_PLACES;
        let variance = math::square(feeds.unit()).max(u64::try_from(seen).unwrap_or(u64::MAX));
        Margin {
            variance,
            misfit: self.misfit.saturating_add(earned(variance)),
        }
    }
}

/// Share of the offset that acts at `feed`.
#[inline(never)]
fn acting(feed: u32, turn: u32) -> u32 {
    grown_30(math::quotient(u64::from(feed) << 16, turn)) >> (30 - PLACES)
}

/// The normal equations for one turn. Weights reach 2^12, shares 2^18, halves 2^30 and there are at
/// most 2^8 feeds: sums of shares stay below 2^56, those with halves below 2^68, products below
/// 2^125.
struct Normal {
    qq: i64,
    qs: i64,
    ss: i64,
    qy: i128,
    sy: i128,
}

impl Normal {
    #[inline(never)]
    fn of(points: &[Point], turn: u32) -> Self {
        let (mut qq, mut qs, mut ss, mut qy, mut sy) = (0_i64, 0_i64, 0_i64, 0_i128, 0_i128);
        for p in points {
            let q = i64::from(acting(p.feed, turn));
            let (w, s, y) = (i64::from(p.weight), i64::from(p.share), i64::from(p.half));
            qq += w * q * q;
            qs += w * q * s;
            ss += w * s * s;
            qy += i128::from(w * q * y);
            sy += i128::from(w * s * y);
        }
        Self { qq, qs, ss, qy, sy }
    }

    #[inline(never)]
    fn det(&self) -> i128 {
        let product = |x: i64, y: i64| i128::from(x) * i128::from(y);
        product(self.qq, self.ss) - product(self.qs, self.qs)
    }

    /// One of the unknowns times the determinant.
    #[inline(never)]
    fn top(one: i128, by: i64, other: i128, its: i64) -> i128 {
        one * i128::from(by) - other * i128::from(its)
    }

    /// h and v·L at the fastest feed, pm.
    #[inline(never)]
    fn solution(&self) -> (i64, i64) {
        // Shares are 2^18 too large on top, 2^36 below.
        let det = self.det() >> PLACES;
        let offset = narrow(wide_quotient(
            Self::top(self.qy, self.ss, self.sy, self.qs),
            det,
        ));
        if offset < 0 || det == 0 {
            // No hysteresis is below none: a constant delay alone. That the offset is none is not
            // known for that: both doubts stay those of two unknowns.
            let drawn = wide_quotient(self.sy << PLACES, i128::from(self.ss));
            return (0, narrow(drawn));
        }
        let drawn = Self::top(self.sy, self.qq, self.qy, self.qs);
        (offset, narrow(wide_quotient(drawn, det)))
    }

    /// An entry of the inverse of the normal equations, `top/det`, in 2^-16: the 2^12 of the weights
    /// and the 2^36 of the squared shares are taken out.
    #[inline(never)]
    fn variance_16(&self, top: i64) -> u64 {
        let top = i128::from(top) << (2 * PLACES + WEIGHT_PLACES + 16);
        let variance = wide_quotient(top, self.det());
        u64::try_from(variance).unwrap_or(u64::MAX)
    }

    /// Of the two unknowns: −qs/√(qq·ss), ‰.
    #[inline(never)]
    fn correlation(&self) -> i16 {
        // Sums of squares below 2^56.
        let root = (i128::from(self.qq) * i128::from(self.ss)).unsigned_abs();
        let root = root.isqrt() as i128;
        let permille = wide_quotient(-1_000 * i128::from(self.qs), root);
        permille.clamp(-1_000, 1_000) as i16
    }
}

fn narrow(x: i128) -> i64 {
    i64::try_from(x).unwrap_or(if x < 0 { -MOST } else { MOST })
}

/// Σ weight · residual² of the best constants for a turn.
#[inline(never)]
fn misfit(points: &[Point], turn: u32) -> u128 {
    let (offset, drawn) = Normal::of(points, turn).solution();
    let mut sum = 0_u128;
    for p in points {
        sum += missed(p, offset, drawn, turn);
    }
    sum
}

#[inline(never)]
fn missed(p: &Point, offset: i64, drawn: i64, turn: u32) -> u128 {
    let fitted = ((i128::from(offset) * i128::from(acting(p.feed, turn)))
        + i128::from(drawn) * i128::from(p.share))
        >> PLACES;
    let off = (i128::from(p.half) - fitted).unsigned_abs().min(1 << 40);
    off * off * u128::from(p.weight)
}

/// What turns may miss by that fit about as well as the best.
struct Margin {
    /// Variance of a point of weight 2^12, pm²: that of its scatter or, where the form misses the
    /// points by more, what is seen.
    variance: u64,
    misfit: u128,
}

impl Margin {
    #[inline(always)]
    fn fits(&self, points: &[Point], turn: u32) -> bool {
        misfit(points, turn) <= self.misfit
    }

    /// The slowest turn that fits.
    #[inline(never)]
    fn least(&self, points: &[Point], feeds: &Feeds, best: u32) -> u32 {
        let mut below = None;
        for turn in candidates(feeds).take_while(|turn| *turn < best) {
            if self.fits(points, turn) {
                return self.edge(points, turn, below);
            }
            below = Some(turn);
        }
        self.edge(points, best, below)
    }

    /// The fastest.
    #[inline(never)]
    fn most(&self, points: &[Point], feeds: &Feeds, best: u32) -> u32 {
        let (mut most, mut above) = (best, None);
        for turn in candidates(feeds).skip_while(|turn| *turn <= best) {
            if self.fits(points, turn) {
                (most, above) = (turn, None);
            } else if above.is_none() {
                above = Some(turn);
            }
        }
        self.edge(points, most, above)
    }

    /// The last turn that fits from `inside`, which does, on to `outside`, which does not.
    #[inline(never)]
    fn edge(&self, points: &[Point], mut inside: u32, outside: Option<u32>) -> u32 {
        let Some(mut outside) = outside else {
            return inside;
        };
        for _ in 0..HALVINGS {
            let middle = (u64::from(inside) * u64::from(outside)).isqrt() as u32;
            let turn = middle.max(1);
            if self.fits(points, turn) {
                inside = turn;
            } else {
                outside = middle;
            }
        }
        inside
    }
}

/// Turns that may fit. Of those above all feeds only the begin of the curve is seen.
fn candidates(feeds: &Feeds) -> impl Iterator<Item = u32> {
    half_octaves(least_turn(feeds.slowest), feeds.fastest.saturating_mul(2))
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

/// The constants for a turn with their doubts, which grow with the variance of a point; what the
/// form misses beyond the scatter joins that of the offset.
#[inline(never)]
fn stated(points: &[Point], feeds: &Feeds, variance: u64, turn: u32) -> Constants {
    let normal = Normal::of(points, turn);
    let (offset, drawn) = normal.solution();
    let form = (offset.clamp(0, MOST) * FORM_1024) >> 10;
    let missed = variance
        .saturating_sub(math::square(feeds.unit()))
        .saturating_add(math::square(form as u32));
    let fitted_doubt = doubt(variance, normal.variance_16(normal.ss));
    let offset_doubt = math::root_up(math::square(fitted_doubt).saturating_add(missed));
    // What is missed is shared with nothing.
    let together = i64::from(normal.correlation()) * i64::from(fitted_doubt);
    let together = together.checked_div(i64::from(offset_doubt)).unwrap_or(0) as i16;
    let delay = at_fastest(i128::from(drawn), feeds.fastest);
    let delay = delay.clamp(-i128::from(MOST), i128::from(MOST)) as i64;
    let drawn_doubt = doubt(variance, normal.variance_16(normal.qq));
    let delay_doubt = at_fastest(i128::from(drawn_doubt), feeds.fastest) + 1;
    Constants {
        delay_ps: delay,
        delay_doubt_ps: u32::try_from(delay_doubt).unwrap_or(u32::MAX),
        offset_pm: offset.clamp(0, MOST) as u32,
        offset_doubt_pm: offset_doubt,
        turn_nm_s: turn.clamp(1, FASTEST_NM_S),
        together_permille: together,
    }
}

/// Of a constant whose variance is `of_one_16`, 2^-16, where that of a point is 1.
#[inline(never)]
fn doubt(variance: u64, of_one_16: u64) -> u32 {
    let square = (u128::from(variance) * u128::from(of_one_16)) >> 16;
    math::root_up(u64::try_from(square).unwrap_or(u64::MAX))
}

/// pm at the fastest feed into time: pm/(nm/s) is 10^9 ps.
#[inline(never)]
fn at_fastest(pm: i128, fastest: u32) -> i128 {
    wide_quotient(pm * i128::from(MOST), i128::from(fastest))
}
