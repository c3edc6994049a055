use proptest::prelude::*;

use super::*;
use crate::model::rng;
use rand_distr::{Distribution, StandardUniform};

const SLOT_NS: u64 = 1_000_000;
const FRAMES: u64 = 400;
/// After the last frame, its copies and replays.
const END_NS: u64 = 1_000 * SLOT_NS;

/// A frame a slot with bytes that tell it from all others.
fn frame(slot: u64) -> Bytes {
    let mut bytes: Bytes = StandardUniform.sample(&mut rng::stream(&[slot]));
    bytes[..8].copy_from_slice(&slot.to_be_bytes());
    bytes
}

/// Everything heard of [`FRAMES`] frames in slots `every` apart, and the tally.
fn heard(setting: &Setting, seed: u64, every: u64) -> (Vec<Delivery>, Tally) {
    let mut air = Air::new(setting, seed).unwrap();
    let mut all = Vec::new();
    for slot in (0..FRAMES).step_by(every as usize) {
        air.send(slot, slot * SLOT_NS, frame(slot));
        all.extend(std::iter::from_fn(|| {
            air.next((slot + every) * SLOT_NS - 1)
        }));
    }
    all.extend(std::iter::from_fn(|| air.next(END_NS)));
    (all, air.tally())
}

fn quiet(receivers: u32) -> Setting {
    let medium = Medium {
        receivers,
        ..Medium::single(Loss::NONE)
    };
    let timing = Timing {
        delay_ns: 2_000,
        ..Timing::INFRARED
    };
    Setting::new(medium, timing)
}

/// One stage each, switched on.
fn stages(seed: u64) -> Vec<(&'static str, Setting)> {
    let on = |change: &dyn Fn(&mut Setting)| {
        let mut setting = quiet(2);
        change(&mut setting);
        setting
    };
    let again = Some(Copies {
        share: 0.2,
        after_ns: (1_000, 30 * SLOT_NS),
    });
    vec![
        (
            "loss",
            on(&|s| s.medium.loss = Loss::new(0.2, 3.0).unwrap()),
        ),
        (
            "interference",
            on(&|s| {
                s.interference = Interference::random(seed, 20.0, 5 * SLOT_NS, END_NS).unwrap();
            }),
        ),
        (
            "bits",
            on(&|s| s.bit_errors = Some(BitErrors { rate: 2e-3 })),
        ),
        (
            "bursts",
            on(&|s| {
                s.error_bursts = Some(ErrorBursts {
                    share: 0.2,
                    bits: 12,
                });
            }),
        ),
        ("copies", on(&|s| s.copies = again)),
        ("replays", on(&|s| s.replays = again)),
        (
            "foreign",
            on(&|s| {
                s.foreign = Some(Foreign {
                    id: 7,
                    other_id_per_s: 100.0,
                    same_id_per_s: 50.0,
                    noise_per_s: 200.0,
                });
            }),
        ),
    ]
}

/// All stages together.
fn everything(seed: u64) -> Setting {
    let mut all = quiet(2);
    for (_, one) in stages(seed) {
        all.interference = match one.interference.stretches() {
            [] => all.interference,
            _ => one.interference,
        };
        all.bit_errors = all.bit_errors.or(one.bit_errors);
        all.error_bursts = all.error_bursts.or(one.error_bursts);
        all.copies = all.copies.or(one.copies);
        all.replays = all.replays.or(one.replays);
        all.foreign = all.foreign.or(one.foreign);
        if one.medium.loss != Loss::NONE {
            all.medium = one.medium;
        }
    }
    all.medium.channels = 3;
    all
}

fn of(all: &[Delivery], what: &[What]) -> Vec<Delivery> {
    all.iter()
        .filter(|delivery| what.contains(&delivery.what))
        .copied()
        .collect()
}

#[test]
fn a_quiet_air_delivers_every_frame_once_at_each_receiver_as_sent() {
    let (all, tally) = heard(&quiet(2), 1, 1);
    assert_eq!(tally.heard, 2 * FRAMES);
    assert_eq!(all.len() as u64, 2 * FRAMES);
    for (k, pair) in all.chunks(2).enumerate() {
        let slot = k as u64;
        for (receiver, one) in pair.iter().enumerate() {
            assert_eq!(one.receiver as usize, receiver);
            assert_eq!((one.what, one.bytes), (What::Clean, frame(slot)));
            assert_eq!(one.arrival_ns, slot * SLOT_NS + 322_000);
            let off = one.stamp_ns as f64 - (slot * SLOT_NS + 2_000) as f64;
            assert!(off.abs() < 6.0 * 200.0);
        }
        assert_ne!(pair[0].stamp_ns, pair[1].stamp_ns);
    }
}

#[test]
fn a_second_receiver_hears_what_the_first_does_not() {
    let mut setting = quiet(2);
    setting.medium.loss = Loss::new(0.3, 5.0).unwrap();
    let mut air = Air::new(&setting, 3).unwrap();
    let frames = 200_000;
    let mut heard_by = vec![0_u32; frames as usize];
    for slot in 0..frames {
        air.send(slot, slot * SLOT_NS, frame(slot));
        while let Some(one) = air.next((slot + 1) * SLOT_NS) {
            heard_by[(one.arrival_ns / SLOT_NS) as usize] += 1;
        }
    }
    let missed = heard_by.iter().filter(|&&count| count == 0).count();
    let missed = missed as f64 / frames as f64;
    // Both bad: a chain with memory² and share p²; standard error of its sum.
    let (p, memory) = (0.09, setting.medium.loss.memory());
    let error = (p * (1.0 - p) * (1.0 + memory) / (1.0 - memory) / frames as f64).sqrt();
    assert!((missed - p).abs() < 4.0 * error, "{missed} {error}");
}

#[test]
fn copies_damage_and_replays_come_as_often_as_asked() {
    let mut setting = everything(1);
    setting.medium = Medium::single(Loss::NONE);
    setting.interference = Interference::default();
    setting.bit_errors = Some(BitErrors { rate: 1e-3 });
    setting.error_bursts = None;
    let mut air = Air::new(&setting, 9).unwrap();
    let frames = 100_000;
    for slot in 0..frames {
        air.send(slot, slot * SLOT_NS, frame(slot));
        while air.next(slot * SLOT_NS).is_some() {}
    }
    let tally = air.tally();
    let near = |count: u64, share: f64| {
        let n = frames as f64;
        let error = (share * (1.0 - share) / n).sqrt();
        let seen = count as f64 / n;
        assert!((seen - share).abs() < 4.0 * error, "{seen} {share}");
    };
    near(tally.copies, 0.2);
    near(tally.replays, 0.2);
    near(tally.damaged, 1.0 - (1.0_f64 - 1e-3).powi(128));
}

#[test]
fn interference_silences_everything_on_the_air_in_it() {
    let mut setting = everything(1);
    setting.copies = Some(Copies {
        share: 1.0,
        after_ns: (0, 50 * SLOT_NS),
    });
    setting.interference = Interference::new(vec![(50 * SLOT_NS, 150 * SLOT_NS)]);
    let (all, tally) = heard(&setting, 2, 1);
    let air_ns = setting.timing.air_ns;
    for one in &all {
        let begin = one.arrival_ns - air_ns;
        assert!(begin + air_ns <= 50 * SLOT_NS || begin >= 150 * SLOT_NS);
    }
    assert!(tally.jammed > 100 && all.len() > 500);
}

#[test]
fn one_stage_changes_no_draw_of_another() {
    let all = heard(&everything(5), 5, 1).0;
    for (name, one) in stages(5) {
        let (alone, _) = heard(&one, 5, 1);
        let base = heard(&quiet(2), 5, 1).0;
        // Frames heard clean with the stage on are heard the very same without.
        let clean = of(&alone, &[What::Clean]);
        assert!(clean.iter().all(|d| base.contains(d)), "{name}");
        let rest: Vec<_> = alone.iter().filter(|d| !base.contains(d)).collect();
        let fewer = clean.len() < base.len();
        assert!(fewer || !rest.is_empty(), "{name} does nothing");
        // What is heard in the midst of all stages is heard of its own stage alone.
        let kinds: &[What] = match name {
            "copies" => &[What::Copy],
            "replays" => &[What::Replay],
            "foreign" => &[What::Neighbour, What::SameId, What::Noise],
            _ => continue,
        };
        let with = of(&all, kinds);
        assert!(with.len() > 50, "{name}");
        assert!(with.iter().all(|d| alone.contains(d)), "{name}");
    }
    // Damage leaves the stamp and the arrival.
    let bits = &stages(5)[2].1;
    let times = |setting| -> Vec<_> {
        let all = heard(setting, 5, 1).0;
        all.iter().map(|d| (d.arrival_ns, d.stamp_ns)).collect()
    };
    assert_eq!(times(bits), times(&quiet(2)));
}

/// Two stages that drew from one stream would meet in the same slots.
#[test]
fn stages_strike_independently_of_each_other() {
    let slots = 60_000;
    let struck = |setting: Setting, what: What| -> Vec<bool> {
        let mut air = Air::new(&setting, 4).unwrap();
        let mut struck = vec![false; slots as usize];
        for slot in 0..slots {
            air.send(slot, slot * SLOT_NS, slot_only(slot));
        }
        while let Some(one) = air.next(u64::MAX) {
            if one.what == what && one.receiver == 0 {
                struck[one.bytes[15] as usize | (one.bytes[14] as usize) << 8] = true;
            }
        }
        struck
    };
    let mut all = Vec::new();
    for (name, mut setting) in stages(4) {
        // A damaged frame no longer tells its slot: its clean ones do.
        let what = match name {
            "bits" | "bursts" | "loss" => What::Clean,
            "copies" => What::Copy,
            "replays" => What::Replay,
            _ => continue,
        };
        if name == "loss" {
            setting.medium.loss = Loss::independent(0.2).unwrap();
        }
        all.push((name, struck(setting, what)));
    }
    assert_eq!(all.len(), 5);
    let n = slots as f64;
    let share =
        |hit: &dyn Fn(usize) -> bool| (0..slots as usize).filter(|k| hit(*k)).count() as f64 / n;
    for (i, (name, a)) in all.iter().enumerate() {
        let first = share(&|k| a[k]);
        assert!((0.1..0.9).contains(&first), "{name}");
        for (other, b) in &all[i + 1..] {
            let second = share(&|k| b[k]);
            let both = share(&|k| a[k] && b[k]);
            let error = (first * (1.0 - first) * second * (1.0 - second) / n).sqrt();
            let off = (both - first * second) / error;
            assert!(off.abs() < 4.0, "{name} and {other}: {off}");
        }
    }
}

/// A frame whose last bytes are its slot.
fn slot_only(slot: u64) -> Bytes {
    u128::from(slot).to_be_bytes()
}

#[test]
fn a_sparser_beat_meets_the_same_air() {
    let setting = everything(8);
    let (dense, sparse) = (heard(&setting, 8, 1).0, heard(&setting, 8, 5).0);
    let clean = of(&sparse, &[What::Clean]);
    assert!(clean.len() > 50);
    assert!(clean.iter().all(|d| dense.contains(d)));
}

#[test]
fn a_stage_with_wrong_numbers_is_refused() {
    let wrong: [&dyn Fn(&mut Setting); 7] = [
        &|s| s.medium.channels = 0,
        &|s| s.timing.jitter_ns = -1.0,
        &|s| s.bit_errors = Some(BitErrors { rate: 1.5 }),
        &|s| {
            s.error_bursts = Some(ErrorBursts {
                share: 0.1,
                bits: 0,
            });
        },
        &|s| s.copies.as_mut().unwrap().share = -0.1,
        &|s| s.replays.as_mut().unwrap().after_ns = (9, 8),
        &|s| s.foreign.as_mut().unwrap().id = 4_096,
    ];
    for change in wrong {
        let mut setting = everything(1);
        assert!(Air::new(&setting, 1).is_ok());
        change(&mut setting);
        assert!(Air::new(&setting, 1).is_err());
    }
}

proptest! {
    #[test]
    fn same_seed_same_bytes_and_no_frame_unaccounted(seed: u64, other: u64, every in 1..9_u64) {
        let setting = everything(seed);
        let (all, tally) = heard(&setting, seed, every);
        prop_assert_eq!(&all, &heard(&setting, seed, every).0);
        if seed != other {
            prop_assert_ne!(&all, &heard(&setting, other, every).0);
        }
        prop_assert!(all.windows(2).all(|w| w[0].arrival_ns <= w[1].arrival_ns));
        prop_assert!(all.iter().all(|d| d.stamp_ns <= d.arrival_ns));
        prop_assert_eq!(2 * tally.sent, tally.heard + tally.lost + tally.jammed);
        let count = |what: &[What]| of(&all, what).len() as u64;
        prop_assert_eq!(count(&[What::Clean, What::Damaged]), tally.heard);
        prop_assert_eq!(count(&[What::Damaged]), tally.damaged);
        prop_assert_eq!(count(&[What::Copy, What::DamagedCopy]), tally.copies);
        prop_assert_eq!(count(&[What::Replay]), tally.replays);
        prop_assert_eq!(count(&[What::Neighbour, What::SameId, What::Noise]), tally.foreign);
        for one in of(&all, &[What::Clean, What::Copy, What::Replay]) {
            let [a, b, c, d, e, f, g, h, ..] = one.bytes;
            let slot = u64::from_be_bytes([a, b, c, d, e, f, g, h]);
            prop_assert!(slot < FRAMES && one.bytes == frame(slot));
        }
    }

    #[test]
    fn any_slots_and_times_get_an_answer(
        sent in proptest::collection::vec((any::<u64>(), any::<u64>()), 1..40),
        share in 0.0..1.0_f64,
        burst in 1.0..1e9_f64,
    ) {
        let mut setting = everything(1);
        setting.foreign = None;
        setting.medium.loss = Loss::new(share, burst).unwrap_or(Loss::NONE);
        let mut air = Air::new(&setting, 1).unwrap();
        for (slot, at) in sent {
            air.send(slot, at, frame(slot));
        }
        let mut last = 0;
        while let Some(one) = air.next(u64::MAX) {
            prop_assert!(one.arrival_ns >= last);
            last = one.arrival_ns;
        }
    }

    #[test]
    fn losses_are_possible_or_refused(share in -0.5..1.5_f64, burst in -1.0..30.0_f64) {
        let possible = (0.0..1.0).contains(&share)
            && burst >= 1.0
            && share / (burst * (1.0 - share)) <= 1.0;
        match Loss::new(share, burst) {
            Ok(loss) => {
                prop_assert!(possible);
                let again = loss.enter() / (loss.enter() + loss.leave());
                prop_assert!((again - share).abs() < 1e-12);
                prop_assert!((-1.0..1.0).contains(&loss.memory()));
            }
            Err(fault) => {
                prop_assert!(!possible);
                prop_assert!(!fault.expected().is_empty() && !fault.remedy().is_empty());
            }
        }
    }
}
