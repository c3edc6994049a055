//! The grade of a link while the air changes: what is told beside what is so.

use trueonset::frame::Mark;
use trueonset::link::{Grade, Grader, LinkConfig, LinkPlan};

use super::burst_loss::{drops_per_hour, Beat};
use crate::model::channel::{Gilbert, Loss, Medium};
use crate::model::rng;

/// Names the air among all random streams.
const NAME: u64 = 0x6772_6164_6564;

/// A stretch of air.
#[derive(Debug, Clone, Copy)]
pub struct Stretch {
    /// What is lost.
    pub loss: Loss,
    /// How long, s.
    pub seconds: u32,
}

/// What is told at an instant, and what is so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graded {
    /// The instant, s.
    pub at_s: f64,
    /// The grade.
    pub grade: Grade,
    /// Falls of READY an hour as forecast.
    pub told_per_h: f64,
    /// By the closed form of the air as it is now.
    pub true_per_h: f64,
}

/// The grade at rest over all `stretches`, one after the other, at every second.
#[must_use]
pub fn course(
    plan: &LinkPlan,
    config: &LinkConfig,
    stretches: &[Stretch],
    seed: u64,
) -> Vec<Graded> {
    let every = u64::from(plan.beat_slots);
    let beat_s = every as f64 * f64::from(plan.slot_ns) * 1e-9;
    let beat = Beat {
        slot_ns: plan.slot_ns.into(),
        every,
        heard_ns: 0,
    };
    let mut grader = Grader::new();
    let mut told = Vec::new();
    let (mut number, mut begin_s) = (1, 0.0);
    for (k, stretch) in (0..).zip(stretches) {
        let mut air = Gilbert::new(stretch.loss, rng::stream(&[NAME, seed, k]));
        let true_per_h = drops_per_hour(&Medium::single(stretch.loss), beat, plan.dead_ns.into());
        let beats = (f64::from(stretch.seconds) / beat_s) as u64;
        let mut next_s = begin_s;
        for within in 0..beats {
            if !air.loses(within * every) {
                let slot = number * every;
                grader.heard(config, Mark { boot: 1, slot });
            }
            number += 1;
            let at_s = begin_s + within as f64 * beat_s;
            if at_s >= next_s {
                told.push(Graded {
                    at_s,
                    grade: grader.grade(),
                    told_per_h: f64::from(grader.falls_per_1000_h(config)) / 1e3,
                    true_per_h,
                });
                next_s += 1.0;
            }
        }
        begin_s += beats as f64 * beat_s;
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use trueonset::time::TickRate;

    #[test]
    fn poor_air_is_told_while_it_lasts_and_left_behind_later() {
        let plan = LinkPlan::INFRARED;
        let config = LinkConfig::new(TickRate::from_hz(16_000_000).unwrap(), plan).unwrap();
        let stretch = |share, burst, seconds| Stretch {
            loss: Loss::new(share, burst).unwrap(),
            seconds,
        };
        let air = [
            stretch(0.01, 2.0, 600),
            stretch(0.1, 8.0, 60),
            stretch(0.01, 2.0, 3_600),
        ];
        let told = course(&plan, &config, &air, 1);
        assert_eq!(told.len(), 4_260);
        let at = |s: usize| told[s].grade;
        assert!(at(599) > Grade::Poor && at(640) == Grade::Poor);
        assert!(told[599].true_per_h < 1e-3 && told[640].true_per_h > 100.0);
        assert!(told.last().unwrap().grade > Grade::Poor);
    }
}
