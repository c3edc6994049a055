//! A turning cutter that touches a plane from the side, tooth by tooth.
//!
//! A tooth that is `h` (at most 0) shorter than the longest reaches
//! `x(t) + h − R·(1 − cos ω(t − t_k))` along the feed, its apex at `t_k`; it
//! blocks while that is beyond the trip position. From the feed per tooth
//! `f_z = v/(n·z)` and per turn follow how late the first hit is and how wide
//! hits are: about `√(8d/R)/ω` at depth `d` (textbook kinematics of milling;
//! closed forms and rows of numbers in the outside checks). With a
//! [`Plate`] the hit lasts until the plate is back. Limits: rigid spindle, no
//! material removed, light blocked and free without flanks; teeth that come
//! while the plate is away are taken as meeting it at rest.

use core::f64::consts::TAU;

use rand_distr::{Distribution, StandardUniform, Uniform};

use super::approach::Approach;
use super::plate::Plate;
use super::rng::Rng;

/// The tool and its spindle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cutter {
    /// Turns per second, above 0.
    pub speed: f64,
    /// Number of teeth, at least 1.
    pub teeth: u32,
    /// Radius of the longest tooth, m.
    pub radius: f64,
    /// Range of the tooth heights, m: each tooth is drawn evenly from it.
    pub run_out: f64,
}

/// A cutter as it sits in the spindle.
#[derive(Debug, Clone, PartialEq)]
pub struct Mounted {
    /// Heights of the teeth below the longest, m, none above 0.
    pub heights: Vec<f64>,
    /// Turns (0 to 1) that tooth 0 stands past its apex at time 0.
    pub turn: f64,
}

/// One tooth that blocks the light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// First contact, s.
    pub begin: f64,
    /// Light free again, s.
    pub end: f64,
    /// Number of the tooth.
    pub tooth: usize,
    /// How far the tooth reaches beyond the trip position, m.
    pub depth: f64,
}

impl Cutter {
    /// Draws tooth heights and the angle at time 0.
    pub fn mount(&self, rng: &mut Rng) -> Mounted {
        let mut heights: Vec<f64> = (0..self.teeth.max(1))
            .map(|_| Uniform::new_inclusive(0.0, self.run_out).map_or(0.0, |u| u.sample(rng)))
            .collect();
        let longest = heights.iter().copied().fold(0.0, f64::max);
        for height in &mut heights {
            *height -= longest;
        }
        Mounted {
            heights,
            turn: StandardUniform.sample(rng),
        }
    }

    /// Time from tooth to tooth, s.
    #[must_use]
    pub fn tooth_period(&self) -> f64 {
        1.0 / (self.speed * f64::from(self.teeth.max(1)))
    }

    /// Radius times angular speed squared, m/s²: how the teeth's paths bend.
    #[must_use]
    pub fn bend(&self) -> f64 {
        self.radius * (TAU * self.speed).powi(2)
    }

    /// Hits beyond position `trip` (m) that begin before `to` (s), in the order
    /// of their teeth; with a plate that is thrown they may overlap.
    #[must_use]
    pub fn hits(
        &self,
        mounted: &Mounted,
        approach: &Approach,
        trip: f64,
        plate: Option<&Plate>,
        to: f64,
    ) -> Vec<Hit> {
        let Some(first) = approach.inward(trip) else {
            return Vec::new();
        };
        let last = to.min(approach.outward(trip).unwrap_or(f64::INFINITY));
        let teeth = mounted.heights.len() as i64;
        let period = 1.0 / (self.speed * teeth as f64);
        // A tooth may touch up to a quarter turn before its apex.
        let quarter = 0.25 / self.speed;
        let pass_of = |t: f64| (t / period + mounted.turn * teeth as f64).floor() as i64;
        let mut hits = Vec::new();
        for pass in pass_of(first)..=pass_of(last + quarter) {
            let apex = (pass as f64 - mounted.turn * teeth as f64) * period;
            let tooth = pass.rem_euclid(teeth) as usize;
            let beyond = |t: f64| {
                let angle = TAU * self.speed * (t - apex);
                // 1 − cos without cancellation.
                let drop = 2.0 * self.radius * (0.5 * angle).sin().powi(2);
                approach.position(t) + mounted.heights[tooth] - drop - trip
            };
            // The feed moves the peak a little behind the apex.
            let lag = (approach.velocity(apex) / self.bend()).clamp(-quarter, quarter);
            let peak = apex + lag;
            let depth = beyond(peak);
            if depth > 0.0 {
                let begin = crossing(beyond, peak - quarter, peak);
                let exit = crossing(beyond, peak + quarter, peak);
                if begin < to {
                    let end = plate.map_or(exit, |plate| plate.back(beyond, begin, exit));
                    hits.push(Hit {
                        begin,
                        end,
                        tooth,
                        depth,
                    });
                }
            }
        }
        hits
    }
}

/// Where `beyond` becomes positive between `outside` and `inside`, by
/// bisection; `outside` itself when it is positive there already.
fn crossing(beyond: impl Fn(f64) -> f64, mut outside: f64, mut inside: f64) -> f64 {
    if beyond(outside) > 0.0 {
        return outside;
    }
    for _ in 0..60 {
        let middle = 0.5 * (outside + inside);
        if beyond(middle) > 0.0 {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    0.5 * (outside + inside)
}

/// Times in which the light is blocked: hits that overlap or touch become one.
#[must_use]
pub fn blocked(hits: &[Hit]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::with_capacity(hits.len());
    for hit in hits {
        match out.last_mut() {
            Some(last) if hit.begin <= last.1 => last.1 = last.1.max(hit.end),
            _ => out.push((hit.begin, hit.end)),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{blocked, Cutter, Mounted};
    use crate::model::approach::{mm_per_min, Approach};
    use crate::model::plate::Plate;
    use crate::model::rng;

    fn cutter(per_min: f64, run_out: f64) -> Cutter {
        Cutter {
            speed: per_min / 60.0,
            teeth: 4,
            radius: 5e-3,
            run_out,
        }
    }

    /// Mean and spread (µm) of how late the first hit of at least 20 µs is.
    fn lateness(per_min: f64, feed: f64) -> (f64, f64) {
        let (cutter, path) = (cutter(per_min, 5e-6), Approach::endless(mm_per_min(feed)));
        let runs = 4000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for run in 0..runs {
            let mounted = cutter.mount(&mut rng::stream(&[run]));
            // Twenty turns always hold a wide hit at these feeds.
            let hits = cutter.hits(&mounted, &path, 0.0, None, 20.0 / cutter.speed);
            let first = hits
                .iter()
                .find(|hit| hit.end - hit.begin >= 20e-6)
                .unwrap();
            let late = path.position(first.begin) * 1e6;
            sum += late;
            squares += late * late;
        }
        let mean = sum / runs as f64;
        (mean, (squares / runs as f64 - mean * mean).sqrt())
    }

    #[test]
    fn the_first_hit_is_late_by_the_study_s_mean_and_spread() {
        // A drawing of heights and angles alone, 60 000 of them, gave 0.483/0.274,
        // 1.300/0.778, 4.02/2.00 in the first three rows.
        for (per_min, feed, mean, sd) in [
            (3000.0, 3.0, 0.48, 0.274),
            (3000.0, 10.0, 1.30, 0.778),
            (3000.0, 60.0, 4.02, 2.00),
            (3000.0, 12.0, 1.46, 0.89),
            // Here 20 µs are 0.39 µm deep, and the spread is a turn's feed over √12.
            (12_000.0, 3.0, 0.51, 0.0722),
        ] {
            let (found, spread) = lateness(per_min, feed);
            let error = 3.5 * sd / 4000_f64.sqrt() + 0.005 + 0.005 * mean;
            assert!((found - mean).abs() < error, "{per_min} {feed}: {found}");
            assert!((spread - sd).abs() < error, "{per_min} {feed}: {spread}");
        }
    }

    #[test]
    fn hits_have_their_geometric_width_and_their_tooth() {
        let cutter = cutter(3000.0, 0.0);
        let mounted = Mounted {
            heights: vec![0.0, -3e-6, -1e-6, -2e-6],
            turn: 0.3,
        };
        let path = Approach::endless(mm_per_min(10.0));
        let hits = cutter.hits(&mounted, &path, 0.0, None, 0.2);
        assert_eq!(hits[0].tooth, 0);
        for hit in &hits {
            let apex = 0.5 * (hit.begin + hit.end);
            let depth = path.position(apex) + mounted.heights[hit.tooth];
            assert!((hit.depth / depth - 1.0).abs() < 1e-3);
            let width = (8.0 * depth / 5e-3).sqrt() / (core::f64::consts::TAU * 50.0);
            assert!(((hit.end - hit.begin) / width - 1.0).abs() < 2e-3);
        }
        // After 0.05 s the feed has passed all heights: every tooth hits.
        let late = hits.iter().filter(|hit| hit.begin > 0.1).count();
        assert!((19..=21).contains(&late), "{late}");
        assert_eq!(blocked(&hits).len(), hits.len());
    }

    #[test]
    fn a_thrown_plate_blocks_longer_and_fills_the_gaps_at_speed() {
        let plate = Plate {
            mass: 0.1,
            preload: 1.5,
            rate: 0.0,
            restitution: 0.0,
        };
        let path = Approach::endless(mm_per_min(10.0));
        for (per_min, merges) in [(1000.0, false), (12_000.0, true)] {
            let cutter = cutter(per_min, 0.0);
            let mounted = cutter.mount(&mut rng::stream(&[3]));
            let to = 0.5;
            let bare = cutter.hits(&mounted, &path, 0.0, None, to);
            let thrown = cutter.hits(&mounted, &path, 0.0, Some(&plate), to);
            let kappa = plate.kappa(cutter.bend());
            for (a, b) in bare.iter().zip(&thrown) {
                let ratio = (b.end - b.begin) / (a.end - a.begin);
                assert!((ratio / kappa - 1.0).abs() < 0.03, "{ratio} {kappa}");
            }
            assert_eq!(blocked(&thrown).len() < thrown.len(), merges);
        }
    }
}
