//! A barrier on small hand-made lights. Noise, profiles and bounds are checked from outside.

extern crate std;

use super::*;
use crate::flags::Flags;
use crate::onset::{Contact, Event};
use crate::time::{Instant, TickRate};
use std::vec::Vec;

const HZ: u32 = 200_000;
/// Ticks of a nanosecond in a sample.
const SAMPLE: u64 = 5_000;
const REST: u16 = 3_600;
/// Samples of a block of the rest level.
const BLOCK: usize = 16 * 512;

fn config() -> BarrierConfig {
    BarrierConfig::new(TickRate::NANOSECONDS, HZ, 100_000).unwrap()
}

/// A little noise, as any real light has it: the converter's last bits move.
fn noisy(light: u16, k: usize) -> u16 {
    let wobble = [0, 2, 1, 3, 1, 0, 3, 2];
    (light + wobble[(k * 7 + k / 8) % 8]).min(4095)
}

struct Run {
    config: BarrierConfig,
    barrier: Barrier,
    seen: Vec<Seen>,
    k: usize,
}

impl Run {
    fn new(config: BarrierConfig) -> Self {
        let barrier = Barrier::new(Instant::from_ticks(0));
        let mut run = Self {
            config,
            barrier,
            seen: Vec::new(),
            k: 0,
        };
        run.hold(REST, 300 * BLOCK);
        assert_eq!(run.seen, []);
        run
    }

    fn sample(&mut self, light: u16) {
        let light = noisy(light, self.k);
        self.k += 1;
        self.seen.extend(self.barrier.sample(&self.config, light));
    }

    fn hold(&mut self, light: u16, samples: usize) {
        for _ in 0..samples {
            self.sample(light);
        }
    }

    /// A straight ramp; the instant of its middle in samples.
    fn ramp(&mut self, from: u16, to: u16, samples: usize) -> f64 {
        let begin = self.barrier.samples() as f64;
        for k in 0..samples {
            let share = (k as f64 + 0.5) / samples as f64;
            let light = f64::from(from) + (f64::from(to) - f64::from(from)) * share;
            self.sample(light.round() as u16);
        }
        // Sample k is the light at its own instant, half a step into the ramp's k-th piece.
        begin + samples as f64 / 2.0 - 0.5
    }

    fn contacts(&self) -> Vec<(bool, Contact)> {
        let contact = |seen: &Seen| match seen {
            Seen::Event(Event::Touch(contact)) => Some((true, *contact)),
            Seen::Event(Event::Release(contact)) => Some((false, *contact)),
            _ => None,
        };
        self.seen.iter().filter_map(contact).collect()
    }

    fn flags(&self) -> Flags {
        self.barrier.optics(&self.config).flags
    }
}

fn samples(at: crate::time::FineInstant) -> f64 {
    (at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0) / SAMPLE as f64
}

#[test]
fn a_ramp_is_found_at_its_middle_both_ways_and_by_both_methods() {
    for method in [Method::Area, Method::Matched] {
        for length in [300, 3_000, 30_000] {
            let mut run = Run::new(config().method(method).unwrap());
            let down = run.ramp(REST, 0, length);
            run.hold(0, 5_000);
            let up = run.ramp(0, REST, length);
            run.hold(REST, 5_000);
            let contacts = run.contacts();
            assert_eq!(contacts.len(), 2, "{:?}", run.seen);
            // The wobble lifts the light by 1.5 counts of 3600, the trip point by half of that.
            let allowed = 0.02 + length as f64 * 0.0003;
            for ((touched, contact), (wanted, truth)) in
                contacts.iter().zip([(true, down), (false, up)])
            {
                assert_eq!(*touched, wanted);
                let (refined, early) = (samples(contact.onset), samples(contact.causal));
                assert!(
                    (refined - truth).abs() < allowed,
                    "{method:?} {length}: {refined} {truth}"
                );
                assert!(
                    (early - truth).abs() < allowed,
                    "{method:?} {length}: {early} {truth}"
                );
                assert!(
                    contact.doubt.is_some() && contact.flags.is_empty(),
                    "{contact:?}"
                );
                assert!(contact.confirmed > contact.onset.whole());
                assert_eq!(contact.edges % 2, 1);
            }
            // Early comes before refined, in the order of the stream.
            assert!(matches!(run.seen[0], Seen::Hard(hard) if hard.touched));
            assert!(matches!(run.seen[2], Seen::Hard(hard) if !hard.touched));
        }
    }
}

#[test]
fn light_that_comes_to_nothing_is_a_glitch_or_nothing() {
    let mut run = Run::new(config());
    run.ramp(REST, 1_000, 500);
    run.ramp(1_000, REST, 500);
    run.hold(REST, 100);
    // Ten samples below the narrow zone are shorter than the hold of twenty.
    let told = run.contacts().len();
    assert_eq!(
        told, 2,
        "half a millisecond of shadow is a contact: {:?}",
        run.seen
    );
    let mut run = Run::new(config());
    run.hold(500, 10);
    run.hold(REST, 100);
    assert!(
        matches!(run.seen[..], [Seen::Event(Event::Glitch(glitch))]
            if glitch.edges == 2 && glitch.width.ticks() == 10 * SAMPLE as i64),
        "{:?}",
        run.seen
    );
    let mut run = Run::new(config());
    run.hold(2_500, 1_000);
    run.hold(REST, 100);
    assert_eq!(run.seen, [], "a shade that does not reach the trip point");
}

#[test]
fn a_shallow_contact_is_told_with_its_release_and_flagged() {
    let mut run = Run::new(config());
    run.ramp(REST, 900, 2_000);
    run.hold(900, 2_000);
    run.ramp(900, REST, 2_000);
    run.hold(REST, 2_000);
    let contacts = run.contacts();
    assert_eq!(contacts.len(), 2, "{:?}", run.seen);
    for (_, contact) in &contacts {
        assert!(contact.flags.contains(Flags::SHALLOW), "{contact:?}");
        assert!(contact.first_edge <= contact.last_edge, "{contact:?}");
        assert!(contact.onset.whole() < contact.confirmed, "{contact:?}");
        assert!(contact.last_edge < contact.confirmed, "{contact:?}");
    }
    // Half light on the way down and, 4000 samples after the first ramp began, on the way up.
    let share = f64::from(REST) / 2.0 / f64::from(REST - 900);
    let expected = 4_000.0 + 2_000.0 * (1.0 - share) - 2_000.0 * share;
    let apart = samples(contacts[1].1.onset) - samples(contacts[0].1.onset);
    assert!((apart - expected).abs() < 10.0, "{apart} {expected}");
    assert_eq!(contacts[1].1.doubt, None);
    assert!(!run.barrier.in_contact());
    // The next one is an ordinary one.
    run.ramp(REST, 20, 2_000);
    run.hold(20, 2_000);
    let touch = run.contacts()[2].1;
    assert!(touch.flags.is_empty() && touch.doubt.is_some(), "{touch:?}");
}

#[test]
fn light_that_goes_out_is_no_blade() {
    let mut run = Run::new(config());
    run.hold(0, 1_000);
    let contacts = run.contacts();
    assert_eq!(contacts.len(), 1);
    assert!(contacts[0].1.flags.contains(Flags::DARK), "{contacts:?}");
}

#[test]
fn a_gap_is_on_the_touch_it_could_spoil_and_moves_time_on() {
    let mut run = Run::new(config());
    run.ramp(REST, 2_000, 1_000);
    run.barrier.gap(400);
    let before = run.barrier.samples();
    run.ramp(2_000, 20, 1_000);
    run.hold(20, 100);
    let touch = run.contacts()[0].1;
    assert!(touch.flags.contains(Flags::GAP));
    assert!(samples(touch.onset) > before as f64 - 500.0);
    let mut run = Run::new(config());
    run.barrier.gap(400);
    run.hold(REST, 2 * BLOCK);
    run.ramp(REST, 20, 1_000);
    run.hold(20, 100);
    assert!(
        run.contacts()[0].1.flags.is_empty(),
        "the gap had long passed"
    );
}

#[test]
fn optics_tell_what_is_wrong_with_the_light() {
    let mut run = Run::new(config().clean(REST, 300).unwrap());
    assert!(run.barrier.optics(&run.config).is_clear());
    let optics = run.barrier.optics(&run.config);
    assert!((REST..REST + 4).contains(&optics.rest_counts), "{optics:?}");
    assert_eq!(optics.film_permille, Some(0));

    let mut fresh = Run {
        barrier: Barrier::new(Instant::from_ticks(0)),
        seen: Vec::new(),
        k: 0,
        config: config(),
    };
    fresh.hold(REST, 7 * BLOCK);
    assert!(fresh.flags().contains(Flags::NOT_SETTLED));
    fresh.hold(REST, BLOCK);
    assert!(fresh.flags().is_empty());

    // 100 Hz of 2 % ripple.
    for k in 0..40 * BLOCK {
        let ripple = 36.0 * (k as f64 / 2_000.0 * core::f64::consts::TAU).sin();
        run.sample((f64::from(REST) + ripple) as u16);
    }
    assert_eq!(run.flags(), Flags::FLICKER);
    run.hold(REST, 40 * BLOCK);
    assert_eq!(run.flags(), Flags::NONE);

    for _ in 0..30 * BLOCK {
        run.seen.extend(run.barrier.sample(&run.config, REST));
    }
    assert_eq!(run.flags(), Flags::STUCK);

    let mut bright = Run::new(config());
    bright.hold(4_095, 20 * BLOCK);
    assert!(bright.flags().contains(Flags::SATURATED));
}

#[test]
fn film_is_followed_and_told_and_moves_no_onset() {
    // Half of the light an hour, for half an hour; a sixteenth of a block is sixteen samples here.
    let config = BarrierConfig::new(TickRate::NANOSECONDS, 5_000, 1_000_000)
        .and_then(|config| config.clean(REST, 240))
        .unwrap();
    let mut run = Run {
        barrier: Barrier::new(Instant::from_ticks(0)),
        seen: Vec::new(),
        k: 0,
        config,
    };
    run.hold(REST, 300 * 256);
    let mut light = REST;
    while light > 2_700 {
        light -= 1;
        run.hold(light, 2 * 5_000);
    }
    let optics = run.barrier.optics(&run.config);
    assert_eq!(run.seen, []);
    let film = optics.film_permille.unwrap();
    assert!((248..=251).contains(&film), "{optics:?}");
    assert_eq!(optics.flags, Flags::FILM);
    let rate = optics.film_rate_permille_per_h;
    assert!((480..=520).contains(&rate), "{optics:?}");
    let truth = run.ramp(light, 0, 3_000);
    run.hold(0, 100);
    let touch = run.contacts()[0].1;
    assert_eq!(touch.flags, Flags::FILM);
    let onset = touch.onset.whole().ticks() as f64 / 200_000.0;
    // The rest level lags by the rate times its time constant, 5 counts of 2700.
    assert!((onset - truth).abs() < 5.0, "{onset} {truth}");
}

#[test]
fn a_contact_without_end_is_a_stuck_one() {
    let mut run = Run::new(config().longest_contact_ms(50));
    run.ramp(REST, 20, 1_000);
    run.hold(20, 9_000);
    assert!(run.flags().is_empty());
    run.hold(20, 2_000);
    assert_eq!(run.flags(), Flags::STUCK);
}

#[test]
fn impossible_settings_are_refused_with_their_name() {
    let rate = TickRate::NANOSECONDS;
    let error = |result: Result<BarrierConfig, BarrierError>| result.unwrap_err();
    assert_eq!(
        error(BarrierConfig::new(rate, 999, 100_000)),
        BarrierError::SamplingRate
    );
    assert_eq!(
        error(BarrierConfig::new(rate, 16_000_001, 100_000)),
        BarrierError::SamplingRate
    );
    assert_eq!(error(BarrierConfig::new(rate, HZ, 0)), BarrierError::Hold);
    assert_eq!(
        error(BarrierConfig::new(rate, HZ, u64::MAX)),
        BarrierError::Hold
    );
    for bits in [0, 7, 17, 255] {
        assert_eq!(error(config().bits(bits)), BarrierError::Bits);
    }
    for trip in [0, 199, 801, u16::MAX] {
        assert_eq!(error(config().trip_permille(trip)), BarrierError::Trip);
    }
    let matched = config().method(Method::Matched).unwrap();
    assert_eq!(error(matched.trip_permille(400)), BarrierError::MatchedTrip);
    let lower = config().trip_permille(400).unwrap();
    assert_eq!(
        error(lower.method(Method::Matched)),
        BarrierError::MatchedTrip
    );
    for counts in [0, 255, 4_096, u16::MAX] {
        assert_eq!(error(config().clean(counts, 500)), BarrierError::RestLevel);
    }
    for ms in [0, 99, 1_000_001] {
        assert_eq!(error(config().rest_time_ms(ms)), BarrierError::RestTime);
    }
}

#[test]
fn any_light_of_any_configuration_leaves_the_barrier_standing() {
    let mut draw = crate::drawn::numbers(0x2545_f491_4f6c_dd1d);
    for round in 0..60 {
        let hz =
            1_000 + (draw() % 16_000_000) as u32 % if round % 2 == 0 { 20_000 } else { 15_999_001 };
        let Ok(mut config) =
            BarrierConfig::new(TickRate::NANOSECONDS, hz, draw() % 2_000_000 + 1_000_000)
        else {
            continue;
        };
        config = config.bits(8 + (draw() % 9) as u8).unwrap();
        config = config.trip_permille(200 + (draw() % 601) as u16).unwrap();
        if draw() % 2 == 0 {
            config = config
                .trip_permille(500)
                .unwrap()
                .method(Method::Matched)
                .unwrap();
        }
        let mut barrier = Barrier::new(Instant::from_ticks(draw() >> (draw() % 64)))
            .with_rest(&config, draw() as u16);
        let (mut level, mut contacts) = (draw() as u16, 0);
        for _ in 0..20_000 {
            match draw() % 64 {
                0 => level = draw() as u16,
                1 => barrier.gap(draw() >> (draw() % 64)),
                _ => level = level.wrapping_add((draw() % 257) as u16).wrapping_sub(128),
            }
            let before = barrier.in_contact();
            if let Some(Seen::Event(Event::Touch(_) | Event::Release(_))) =
                barrier.sample(&config, level)
            {
                contacts += 1;
                assert_ne!(before, barrier.in_contact());
            } else {
                assert_eq!(before, barrier.in_contact());
            }
            let _told = barrier.optics(&config);
        }
        assert!(contacts < 20_000);
    }
}

#[test]
fn the_state_is_a_small_value() {
    assert!(size_of::<Barrier>() <= 256, "{}", size_of::<Barrier>());
}

/// A rest level that is not that of the light is said to be not settled: at once where it was only
/// stated, within seconds where light was lost; after half a minute it is learned anew.
#[test]
fn a_rest_level_that_the_light_does_not_have_is_flagged_and_learned_anew() {
    let ticks = TickRate::from_hz(16_000_000).unwrap();
    let config = BarrierConfig::new(ticks, 50_000, 16_000 * 1_000).unwrap();
    let config = config.bits(12).unwrap();
    let noisy = |k: u32, level: u16| level + (k * 7 % 3) as u16;
    let settled = |barrier: &Barrier| !barrier.optics(&config).flags.contains(Flags::NOT_SETTLED);
    let run = |barrier: &mut Barrier, ms: u32, level: u16| {
        for k in 0..ms * 50 {
            let _ = barrier.sample(&config, noisy(k, level));
        }
    };
    // Stated 1 % too high.
    let mut barrier = Barrier::new(Instant::from_ticks(0)).with_rest(&config, 3_030);
    run(&mut barrier, 20_000, 3_000);
    assert!(!settled(&barrier));
    run(&mut barrier, 15_000, 3_000);
    assert!(settled(&barrier));
    assert!(barrier.optics(&config).rest_counts.abs_diff(3_001) <= 1);
    // Stated right: settled with the first block.
    let mut barrier = Barrier::new(Instant::from_ticks(0)).with_rest(&config, 3_001);
    assert!(!settled(&barrier));
    run(&mut barrier, 100, 3_000);
    assert!(settled(&barrier));
    // 1 % lost on the way.
    run(&mut barrier, 4_000, 2_970);
    assert!(!settled(&barrier));
}

/// Blocks end at the fastest rate as well.
#[test]
fn the_fastest_rate_goes_through_its_blocks() {
    let ticks = TickRate::from_hz(64_000_000).unwrap();
    let config = BarrierConfig::new(ticks, 16_000_000, 1_000_000)
        .and_then(|config| config.clean(3_000, 100))
        .unwrap();
    let mut barrier = Barrier::new(Instant::from_ticks(0));
    for k in 0..16_000_000_u32 {
        let _ = barrier.sample(&config, 3_000 + (k % 3) as u16);
    }
    assert!(
        barrier.optics(&config).is_clear(),
        "{:?}",
        barrier.optics(&config)
    );
}
