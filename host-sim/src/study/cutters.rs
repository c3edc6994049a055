//! Cutters that touch while they turn: what the widths of their hits tell of run-out and radius.
//!
//! Each is drawn: radius 2 to 8 mm, 300 to 3000 turns a minute (evenly by ratio), four teeth of even
//! heights within a run-out, an angle, a plate of 15 m/s² (preload over mass) with a restitution of 0
//! to 0.5. Edges are told within 1 µs, and within a place noise of 5 to 50 nm (standard deviations, by
//! ratio) over the speed with which the tooth comes and goes; at most within a quarter of the hit. It
//! feeds on evenly until all teeth have struck for ten turns. All of these are assumed; nothing was
//! measured on a machine.

use core::f64::consts::SQRT_2;

use rand_distr::{Distribution, StandardNormal, StandardUniform};
use rayon::prelude::*;
use trueonset::gauge::{Height, Quantum, Side, TeethError, ToothHeights};

use super::statistics::Moments;
use crate::model::approach::Approach;
use crate::model::cutter::{blocked, Cutter, Mounted};
use crate::model::plate::Plate;
use crate::model::rng::{self, Rng};

/// Names the streams among all others.
const NAME: u64 = 0x6375_7474_6572;
const TEETH: usize = 4;
/// Shortest hit that counts, s.
const SHORTEST: f64 = 20e-6;
/// Standard deviations of an edge: of time, s, of place, m (the least, and the most over it).
const OF_TIME: f64 = 1e-6;
const OF_PLACE: (f64, f64) = (5e-9, 10.0);
/// Turns after the lowest tooth has struck first.
const TURNS: f64 = 10.0;
/// A run-out is told where it is so many doubts, and told wrong where it is off by more.
const SURE: f64 = 3.0;
/// From which run-out on it counts, m.
const LEAST: f64 = 3e-6;

/// What is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Feed a turn, m.
    pub per_turn: f64,
    /// Run-out, m: between these, evenly; both 0 for teeth that are known to be equal.
    pub run_out: (f64, f64),
}

/// What cutters came to.
#[derive(Debug, Clone, Default)]
pub struct Ends {
    /// Drawn.
    pub cutters: u64,
    /// Of these, the plate was batted away: told so, and no run-out.
    pub batted: u64,
    /// Others with a run-out of 3 µm or more.
    pub uneven: u64,
    /// Of these, run-out told within three doubts that are below it.
    pub told: u64,
    /// Of these, told wrong: off by more than three doubts, or another tooth as the longest.
    pub wrong: u64,
    /// Error of the position, corrected by the hits, m.
    pub by_hits: Moments,
    /// Of these, within two of the doubts stated.
    pub inside: u64,
    /// The same corrected by the feed alone.
    pub by_feed: Moments,
}

/// What the hits said of the run-out.
#[derive(Clone, Copy, PartialEq)]
enum RunOut {
    /// Nothing: the plate was batted away.
    Batted,
    /// There is less than counts.
    Small,
    /// Nothing, or less than it is doubted.
    Open,
    Right,
    Wrong,
}

/// One cutter.
struct One {
    run_out: RunOut,
    /// Error and doubt, m.
    by_hits: Option<(f64, f64)>,
    by_feed: f64,
}

/// Draws so many.
#[must_use]
pub fn draw(asked: &Asked, cutters: u64, seed: u64) -> Ends {
    let all: Vec<One> = (0..cutters)
        .into_par_iter()
        .filter_map(|number| one(asked, &mut rng::stream(&[NAME, seed, number])))
        .collect();
    let mut ends = Ends::default();
    for one in all {
        ends.cutters += 1;
        ends.batted += u64::from(one.run_out == RunOut::Batted);
        ends.uneven += u64::from(!matches!(one.run_out, RunOut::Batted | RunOut::Small));
        ends.told += u64::from(matches!(one.run_out, RunOut::Right | RunOut::Wrong));
        ends.wrong += u64::from(one.run_out == RunOut::Wrong);
        if let Some((error, doubt)) = one.by_hits {
            ends.by_hits.add(error);
            ends.inside += u64::from(error.abs() <= 2.0 * doubt);
        }
        ends.by_feed.add(one.by_feed);
    }
    ends
}

fn one(asked: &Asked, rng: &mut Rng) -> Option<One> {
    let mut even = |from: f64, to: f64| -> f64 {
        let share: f64 = StandardUniform.sample(rng);
        from + share * (to - from)
    };
    let speed = 5.0 * 10_f64.powf(even(0.0, 1.0));
    let cutter = Cutter {
        speed,
        teeth: TEETH as u32,
        radius: even(2e-3, 8e-3),
        run_out: even(asked.run_out.0, asked.run_out.1),
    };
    let plate = Plate {
        mass: 0.1,
        preload: 1.5,
        rate: 0.0,
        restitution: even(0.0, 0.5),
    };
    let noise = OF_PLACE.0 * OF_PLACE.1.powf(even(0.0, 1.0));
    let mounted = cutter.mount(rng);
    let path = Approach::endless(asked.per_turn * speed);
    let lowest = mounted.heights.iter().copied().fold(0.0, f64::min);
    let to = (TURNS - lowest / asked.per_turn) / speed;
    let hits = cutter.hits(&mounted, &path, 0.0, Some(&plate), to);
    // As they are told: both edges within their jitter, at the speed of a tooth that dips so deep.
    let mut off = |(begin, end): (f64, f64)| -> f64 {
        let depth = hits
            .iter()
            .find(|hit| hit.begin >= begin)
            .map_or(0.0, |hit| hit.depth);
        let speed = (2.0 * depth * cutter.bend()).sqrt();
        let jitter = OF_TIME.hypot(noise / speed).min(0.25 * (end - begin));
        let normal: f64 = StandardNormal.sample(rng);
        jitter * normal
    };
    let told: Vec<(f64, f64)> = blocked(&hits)
        .into_iter()
        .map(|hit| (hit.0 + off(hit), hit.1 + off(hit)))
        .filter(|(begin, end)| end - begin >= SHORTEST)
        .collect();
    let &(first, end) = told.first()?;
    let tooth = hits
        .iter()
        .min_by(|a, b| (a.begin - first).abs().total_cmp(&(b.begin - first).abs()))?
        .tooth;
    let period = cutter.tooth_period();
    let mut heights = ToothHeights::<TEETH>::new(TEETH as u8, (1e9 / speed) as u64).ok()?;
    for (begin, end) in &told {
        let number = ((begin - first) / period).round();
        heights.hit(number as u32, ((end - begin) * 1e9) as u32);
    }
    let per_tooth_pm = (asked.per_turn / TEETH as f64 * 1e12) as u32;
    let (feed_nm_s, mhz) = ((path.velocity(0.0) * 1e9) as i64, (speed * 1e3) as u32);
    let by_feed = if asked.run_out.1 > 0.0 {
        Quantum::any_teeth(feed_nm_s, mhz)
    } else {
        Quantum::known_teeth(feed_nm_s, mhz, TEETH as u8, 0)
    };
    let by_feed = by_feed.ok()?;
    // The circle of the longest tooth touches at 0: what is left is the error.
    let at_nm = (path.position(first) * 1e9).round() as i64;
    let error = |quantum: &Quantum| quantum.corrected(Side::Growing, at_nm) as f64 * 1e-9;
    let width_ns = ((end - first) * 1e9) as u32;
    let by_hits = heights.first_hit(per_tooth_pm, width_ns).map(|first| {
        let quantum = by_feed.by_hits(first);
        (error(&quantum), f64::from(quantum.doubt_pm) * 1e-12)
    });
    let run_out = if matches!(by_hits, Err(TeethError::Batted)) {
        RunOut::Batted
    } else if -lowest < LEAST {
        RunOut::Small
    } else {
        heights
            .heights(per_tooth_pm)
            .map_or(RunOut::Open, |found| judged(&found, &mounted, tooth))
    };
    Some(One {
        run_out,
        by_hits: by_hits.ok(),
        by_feed: error(&by_feed),
    })
}

/// Heights as they were told, from the tooth on that struck first, against the truth.
fn judged(found: &[Height; TEETH], mounted: &Mounted, tooth: usize) -> RunOut {
    let truth = |k: usize| mounted.heights[(tooth + k) % TEETH];
    // Of a difference of two.
    let doubt = |k: usize| SURE * SQRT_2 * f64::from(found[k].doubt_pm) * 1e-12;
    let by_height = |a: &usize, b: &usize| found[*a].below_pm.cmp(&found[*b].below_pm);
    let (Some(low), Some(high)) = ((0..TEETH).min_by(by_height), (0..TEETH).max_by(by_height))
    else {
        return RunOut::Open;
    };
    let told = -f64::from(found[low].below_pm) * 1e-12;
    let lowest = (0..TEETH).map(truth).fold(0.0, f64::min);
    if told <= doubt(low) {
        RunOut::Open
    } else if (told + lowest).abs() > doubt(low) || -truth(high) > doubt(high) {
        RunOut::Wrong
    } else {
        RunOut::Right
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 µm a turn: the hits take the bias off whatever the teeth are, and tell most run-outs.
    #[test]
    fn hits_tell_radius_and_run_out() {
        let asked = Asked {
            per_turn: 1e-6,
            run_out: (3e-6, 10e-6),
        };
        let ends = draw(&asked, 400, 1);
        println!("{ends:?}");
        assert!(ends.batted > 50 && ends.batted < 350, "{ends:?}");
        assert!(ends.by_hits.mean().abs() <= 0.1e-6, "{ends:?}");
        assert!(ends.told * 10 >= ends.uneven * 3, "{ends:?}");
        assert!(ends.wrong * 100 <= ends.told, "{ends:?}");
    }
}
