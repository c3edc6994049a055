use super::*;
use crate::model::channel::{Gilbert, Hopping};
use crate::model::rng;
use crate::study::statistics::Moments;

const MS: u64 = 1_000_000;

fn loss(share: f64, burst: f64) -> Loss {
    Loss::new(share, burst).unwrap()
}

/// A beat of `every` slots of 1 ms, heard 0.32 ms after its begin.
fn beat(every: u64) -> Beat {
    Beat {
        slot_ns: MS,
        every,
        heard_ns: 320_000,
    }
}

/// Share of all places in simulated air at which every slot of `pattern` is
/// lost at all receivers, over independent runs.
fn simulated(medium: &Medium, pattern: &[u64], runs: u64) -> Moments {
    let slots = 100_000;
    let run = |seed: u64| {
        let mut receivers: Vec<Hopping> = (0..u64::from(medium.receivers))
            .map(|receiver| {
                let stream = |c| rng::stream(&[seed, receiver, c]);
                Hopping::new(medium.loss, (0..u64::from(medium.channels)).map(stream))
            })
            .collect();
        let lost: Vec<bool> = (0..slots)
            .map(|slot| {
                let heard = receivers
                    .iter_mut()
                    .filter_map(|r| (!r.loses(slot)).then_some(()));
                heard.count() == 0
            })
            .collect();
        let places = lost.len() - pattern[pattern.len() - 1] as usize;
        let hits = (0..places).filter(|at| pattern.iter().all(|k| lost[at + *k as usize]));
        hits.count() as f64 / places as f64
    };
    (0..runs).map(run).collect()
}

fn assert_near(seen: &Moments, expected: f64, what: &str) {
    let (mean, error) = (seen.mean(), seen.mean_error());
    assert!(
        error < 0.1 * expected,
        "{what}: {error} of {expected} tells nothing"
    );
    assert!(
        (mean - expected).abs() < 4.0 * error,
        "{what}: {mean} {error} {expected}"
    );
}

#[test]
fn a_bad_slot_is_followed_as_the_law_says() {
    for (share, burst) in [(0.01, 3.0), (0.05, 1.0), (0.1, 10.0), (0.3, 1.2)] {
        let loss = loss(share, burst);
        for d in [1, 2, 5, 20] {
            let expected = share * bad_after(loss, d);
            if expected > 0.0 {
                let seen = simulated(&Medium::single(loss), &[0, d], 100);
                assert_near(&seen, expected, &format!("{share} {burst} {d}"));
            }
        }
        assert!((bad_after(loss, 0) - 1.0).abs() < 1e-15);
        assert!((bad_after(loss, u64::MAX) - share).abs() < 1e-12);
    }
    // In bursts of one slot no slot is lost after a lost one.
    assert!(bad_after(loss(0.05, 1.0), 1).abs() < 1e-15);
    let mut single = Gilbert::new(loss(0.05, 1.0), rng::stream(&[1]));
    let lost: Vec<bool> = (0..100_000).map(|slot| single.loses(slot)).collect();
    assert!(lost.windows(2).all(|w| !(w[0] && w[1])));
}

#[test]
fn all_of_some_slots_are_lost_as_often_as_computed() {
    let patterns: [&[u64]; 4] = [&[0], &[0, 1, 2], &[0, 1, 4, 9], &[0, 5, 10, 15]];
    for (channels, receivers) in [(1, 1), (1, 2), (4, 1), (3, 2)] {
        let medium = Medium {
            loss: loss(0.3, 8.0),
            channels,
            receivers,
        };
        for pattern in patterns {
            let expected = all_lost(&medium, pattern);
            let seen = simulated(&medium, pattern, 40);
            assert_near(&seen, expected, &format!("{medium:?} {pattern:?}"));
        }
    }
    assert!((all_lost(&Medium::single(loss(0.3, 8.0)), &[]) - 1.0).abs() < 1e-15);
}

#[test]
fn slots_needed_are_the_fewest_that_simulation_agrees_with() {
    for (share, burst, chance) in [(0.01, 3.0, 1e-3), (0.1, 5.0, 1e-2), (0.3, 2.0, 1e-3)] {
        let medium = Medium::single(loss(share, burst));
        let n = slots_needed(&medium, chance).unwrap();
        let seen = |n| {
            let dense: Vec<u64> = (0..n as u64).collect();
            simulated(&medium, &dense, 100)
        };
        let (enough, short) = (seen(n), seen(n - 1));
        assert!(enough.mean() < chance + 4.0 * enough.mean_error());
        assert!(short.mean() > chance - 4.0 * short.mean_error());
        // Far enough apart that the wrong number would be told.
        assert!(enough.mean() + 4.0 * enough.mean_error() < short.mean());
    }
    let always = Medium::single(loss(0.9, 1e7));
    assert_eq!(slots_needed(&always, 1e-9), None);
    assert_eq!(slots_needed(&Medium::single(Loss::NONE), 1e-9), Some(1));
}

/// One frame is lost with p; of two in a row, `p·(1 − 1/L)`.
#[test]
fn one_receiver_has_the_drops_of_its_own_formula() {
    for (p, burst, every, dead_ms) in [(0.01, 3.0, 5, 42), (0.1, 10.0, 2, 20), (0.3, 1.5, 10, 35)] {
        let loss = loss(p, burst);
        let k = ((dead_ms as f64 - 0.32) / every as f64).floor() as i32;
        let far = loss.memory().powi(every as i32);
        let rate = (1.0 - p) * p * (1.0 - far) * (p + (1.0 - p) * far).powi(k - 1) / every as f64;
        let found = drops_per_hour(&Medium::single(loss), beat(every), dead_ms * MS);
        assert!((found / (rate * 3.6e6) - 1.0).abs() < 1e-12, "{found}");
    }
}

/// Dense slots for 1e-9 and silences (ms, beat of 5) for a touch to meet a drop
/// with 1e-9, of an earlier computation of ours in another language. Its bursts
/// of 1 are losses without memory, its silences whole beats.
#[test]
fn slots_and_silences_are_those_of_an_earlier_computation() {
    let bursts = [0.0, 2.0, 3.0, 5.0, 10.0, 20.0];
    let rows: [(f64, [(usize, u64); 6]); 5] = [
        (
            0.001,
            [
                (4, 25),
                (21, 35),
                (36, 50),
                (63, 85),
                (133, 170),
                (271, 335),
            ],
        ),
        (
            0.01,
            [
                (5, 30),
                (25, 40),
                (41, 60),
                (74, 95),
                (154, 190),
                (316, 385),
            ],
        ),
        (
            0.03,
            [
                (6, 40),
                (26, 45),
                (44, 65),
                (79, 105),
                (165, 205),
                (337, 405),
            ],
        ),
        (
            0.1,
            [
                (10, 55),
                (28, 60),
                (47, 75),
                (84, 115),
                (176, 220),
                (361, 435),
            ],
        ),
        (
            0.3,
            [
                (18, 105),
                (30, 105),
                (50, 110),
                (89, 145),
                (187, 250),
                (382, 475),
            ],
        ),
    ];
    for (share, cells) in rows {
        for (burst, (slots, dead_ms)) in bursts.into_iter().zip(cells) {
            let loss = match burst {
                0.0 => Loss::independent(share).unwrap(),
                burst => loss(share, burst),
            };
            let medium = Medium::single(loss);
            let what = format!("{share} {burst}");
            assert_eq!(slots_needed(&medium, 1e-9), Some(slots), "{what}");
            let meets = |ms: u64| drops_per_hour(&medium, beat(5), ms * MS) / 3.6e6 * ms as f64;
            assert!(
                meets(dead_ms) < 1e-9 && meets(dead_ms - 5) >= 1e-9,
                "{what}"
            );
            // In whole slots it may be shorter, and one slot less is not enough.
            let dead_ns = dead_for_touches(&medium, beat(5), 1e-9).unwrap();
            let shortest = dead_ns / MS;
            assert!(shortest <= dead_ms && shortest * MS == dead_ns, "{what}");
            assert!(
                meets(shortest) < 1e-9 && meets(shortest - 1) >= 1e-9,
                "{what}"
            );
        }
    }
}

/// From the same earlier computation: channels in turn and a second receiver.
#[test]
fn diversity_saves_the_slots_it_did_before() {
    for (burst, channels, receivers, slots) in [
        (5.0, 4, 1, 7),
        (20.0, 4, 1, 16),
        (5.0, 1, 2, 27),
        (20.0, 1, 2, 114),
    ] {
        let medium = Medium {
            loss: loss(0.01, burst),
            channels,
            receivers,
        };
        assert_eq!(
            slots_needed(&medium, 1e-9),
            Some(slots),
            "{burst} {channels}"
        );
    }
}

/// Shortest silences for 1e-3 drops in 8 h, from the same computation.
#[test]
fn silences_for_a_shift_are_those_of_an_earlier_computation() {
    let every = [2, 5, 10, 20];
    for (burst, dead_ms) in [
        (0.0, [14, 30, 60, 120]),
        (3.0, [50, 55, 70, 120]),
        (10.0, [168, 175, 190, 200]),
    ] {
        let loss = match burst {
            0.0 => Loss::independent(0.01).unwrap(),
            burst => loss(0.01, burst),
        };
        let medium = Medium::single(loss);
        for (every, wanted) in every.into_iter().zip(dead_ms) {
            let dead_ns = dead_for_drops(&medium, beat(every), 1e-3, 8.0).unwrap();
            assert_eq!(
                dead_ns.div_ceil(every * MS) * every,
                wanted,
                "{burst} {every}"
            );
            // The shortest in whole slots: enough, and one slot less is not.
            assert!(8.0 * drops_per_hour(&medium, beat(every), dead_ns) < 1e-3);
            assert!(8.0 * drops_per_hour(&medium, beat(every), dead_ns - MS) >= 1e-3);
        }
    }
}

#[test]
fn odd_beats_get_an_answer() {
    let medium = Medium::single(loss(0.01, 3.0));
    let none = Beat {
        slot_ns: 0,
        every: 0,
        heard_ns: u64::MAX,
    };
    assert_eq!(none.in_time(u64::MAX), 0);
    assert!(drops_per_hour(&medium, none, 0).is_finite());
    assert!(drops_per_hour(&medium, beat(1), u64::MAX).abs() < 1e-300);
    assert_eq!(dead_for_drops(&medium, beat(5), 0.0, 8.0), None);
    assert_eq!(dead_for_touches(&medium, beat(u64::MAX), -1.0), None);
}
