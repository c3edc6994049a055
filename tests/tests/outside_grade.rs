//! The grade of a link against air of the simulator, and against the closed form of its losses.
//!
//! Source: chance that beats in a row are lost on a channel of two states (Gilbert 1960), as checked
//! in `outside_burst_loss.rs` against published rows.

use trueonset::frame::Mark;
use trueonset::link::{Grade, Grader, LinkConfig, LinkPlan};
use trueonset::time::TickRate;
use trueonset_sim::model::channel::{Gilbert, Loss, Medium};
use trueonset_sim::model::rng;
use trueonset_sim::study::burst_loss::{drops_per_hour, Beat};

const PLAN: LinkPlan = LinkPlan::INFRARED;
const BEAT: u64 = PLAN.beat_slots as u64;

fn config() -> LinkConfig {
    LinkConfig::new(TickRate::from_hz(16_000_000).unwrap(), PLAN).unwrap()
}

/// Lets `grader` hear the beats that `loss` lets through, from beat `from` on; `each` sees the grade after every one.
fn run(
    grader: &mut Grader,
    loss: Loss,
    seed: u64,
    (from, beats): (u64, u64),
    each: &mut dyn FnMut(u64, Grade),
) {
    let config = config();
    let mut air = Gilbert::new(loss, rng::stream(&[0x0067_7261_6465, seed]));
    for beat in from..from + beats {
        if !air.loses((beat - from) * BEAT) {
            let slot = beat * BEAT;
            grader.heard(&config, Mark { boot: 1, slot });
        }
        each(beat, grader.grade());
    }
}

/// Falls an hour by the closed form.
fn falls_per_h(loss: Loss) -> f64 {
    let beat = Beat {
        slot_ns: PLAN.slot_ns.into(),
        every: BEAT,
        heard_ns: 0,
    };
    drops_per_hour(&Medium::single(loss), beat, PLAN.dead_ns.into())
}

#[test]
fn the_forecast_is_that_of_the_closed_form() {
    for (share, burst) in [
        (0.01, 5.0),
        (0.01, 10.0),
        (0.03, 5.0),
        (0.1, 5.0),
        (0.1, 10.0),
    ] {
        let loss = Loss::new(share, burst).unwrap();
        let truth = falls_per_h(loss);
        let mut told: Vec<f64> = (0..20)
            .map(|seed| {
                let mut grader = Grader::new();
                run(&mut grader, loss, seed, (1, 200_000), &mut |_, _| {});
                f64::from(grader.falls_per_1000_h(&config())) / 1e3
            })
            .collect();
        told.sort_by(f64::total_cmp);
        let middle = told[10] / truth;
        assert!((0.5..2.0).contains(&middle), "{share} {burst}: {middle}");
        let ends = (told[0], told[19]);
        assert!(
            ends.0 > truth / 4.0 && ends.1 < truth * 4.0,
            "{share} {burst}: {ends:?} {truth}"
        );
    }
}

#[test]
fn a_link_that_has_become_poor_is_named_within_seconds() {
    let good = Loss::independent(0.001).unwrap();
    let bad = Loss::new(0.1, 5.0).unwrap();
    let mut seconds: Vec<f64> = (0..300)
        .map(|seed| {
            let mut grader = Grader::new();
            run(&mut grader, good, seed, (1, 200_000), &mut |_, _| {});
            assert!(grader.grade() > Grade::Poor);
            let mut named = None;
            let after = (200_001, 20_000);
            run(&mut grader, bad, 1_000 + seed, after, &mut |beat, grade| {
                if grade == Grade::Poor && named.is_none() {
                    named = Some((beat - 200_000) as f64 * 0.005);
                }
            });
            named.unwrap_or(1e9)
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    println!(
        "poor after {:.1} s, 95 %: {:.1} s",
        seconds[150], seconds[285]
    );
    assert!(seconds[150] <= 10.0 && seconds[285] <= 15.0);
}

/// Links about both thresholds and between.
#[test]
fn a_grade_does_not_flutter_on_its_threshold() {
    for (share, burst) in [
        (0.002, 4.5),
        (0.01, 3.5),
        (0.004, 5.0),
        (0.01, 4.0),
        (0.05, 3.0),
        (0.001, 6.0),
    ] {
        let loss = Loss::new(share, burst).unwrap();
        let (mut changes, hours) = (0, 48);
        for seed in 0..2 {
            let mut grader = Grader::new();
            let settled = 360_000;
            let mut before = None;
            let beats = settled + 720_000 * hours / 2;
            run(&mut grader, loss, seed, (1, beats), &mut |beat, grade| {
                let changed = before.replace(grade).is_some_and(|before| before != grade);
                changes += u64::from(changed && beat > settled);
            });
        }
        let per_h = changes as f64 / hours as f64;
        let truth = falls_per_h(loss);
        println!("{share} {burst}: {truth:.3} falls/h, {per_h:.1} changes/h");
        assert!(per_h <= 4.0, "{share} {burst}: {per_h}");
    }
}
