extern crate std;

use super::config::Away;
use super::{Clock, ClockConfig, ClockConfigError, Oscillator, Source, MAX_SLOT};
use crate::time::{Instant, TickRate};

const HZ: u32 = 16_000_000;
/// Ticks in a slot of 1 ms.
const SLOT: f64 = 16_000.0;

fn rate() -> TickRate {
    TickRate::from_hz(HZ).unwrap()
}

fn config(oscillator: Oscillator) -> ClockConfig {
    ClockConfig::new(rate(), 1_000_000, oscillator).unwrap()
}

/// Even in -1 to 1.
fn even(seed: &mut u64) -> f64 {
    (crate::drawn::step(seed) >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

/// When a slot begins on a clock off by `ppm` that changes by `drift` ppm/s, ticks.
fn start(slot: u64, ppm: f64, drift: f64) -> f64 {
    let s = slot as f64 / 1_000.0;
    1e6 + SLOT * slot as f64 + f64::from(HZ) * 1e-6 * (ppm * s + 0.5 * drift * s * s)
}

fn captured(ticks: f64) -> Instant {
    Instant::from_ticks(ticks.round() as u64)
}

/// Predicted minus true, ticks.
fn error(clock: &Clock, config: &ClockConfig, slot: u64, truth: f64) -> f64 {
    let at = clock.predict(config, slot).at;
    at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0 - truth
}

#[test]
fn settings_are_refused_by_name() {
    let slow = TickRate::from_hz(32_768).unwrap();
    let of = |slot_ns, oscillator| ClockConfig::new(rate(), slot_ns, oscillator).map(|_| ());
    let crystal = Oscillator::CRYSTAL;
    assert_eq!(of(1_000_000, crystal), Ok(()));
    for slot_ns in [0, 99_875, 100_000_125, 1_000_001, u32::MAX] {
        assert_eq!(
            of(slot_ns, crystal),
            Err(ClockConfigError::Slot),
            "{slot_ns}"
        );
    }
    let refused = ClockConfig::new(slow, 1_000_000, crystal).map(|_| ());
    assert_eq!(refused, Err(ClockConfigError::TicksPerSlot));
    for tolerance_ppm in [0, 50_001] {
        let odd = Oscillator {
            tolerance_ppm,
            ..crystal
        };
        assert_eq!(of(1_000_000, odd), Err(ClockConfigError::Tolerance));
    }
    for memory_ms in [0, 7, 60_001] {
        let odd = Oscillator {
            memory_ms,
            ..crystal
        };
        assert_eq!(of(1_000_000, odd), Err(ClockConfigError::Memory));
    }
    let odd = Oscillator {
        drift_ppb_s: 1_000_001,
        ..crystal
    };
    assert_eq!(of(1_000_000, odd), Err(ClockConfigError::Drift));
}

#[test]
fn bends_are_those_of_the_stated_drift() {
    for (oscillator, drift, wander) in [
        (Oscillator::CRYSTAL, 1e-7, 0.0),
        (Oscillator::RC, 30e-6, 6.0 * 3e-6 / 0.08_f64.sqrt()),
    ] {
        for hz in [1_000_000, HZ, 480_000_000] {
            for slot_ns in [256_000, 1_000_000, 10_000_000] {
                let rate = TickRate::from_hz(hz).unwrap();
                let Ok(config) = ClockConfig::new(rate, slot_ns, oscillator) else {
                    continue;
                };
                for (tau, away) in [
                    (0_u32, 0_u32),
                    (80, 0),
                    (1000, 20),
                    (80, 300),
                    (1000, 60_000),
                ] {
                    let slot = f64::from(slot_ns) * 1e-9;
                    let (t, h) = (f64::from(tau) * slot, f64::from(away) * slot);
                    let exact = ((drift + wander) * (t * t + 2.0 * t * h) + drift * h * h / 2.0)
                        * f64::from(hz)
                        * 256.0;
                    let ahead = Away {
                        ahead: away,
                        behind: 0,
                    };
                    let found = config.bent_256(tau, ahead) as f64;
                    // Rounded up, and the root of the memory down.
                    assert!(
                        found >= exact && found <= exact * 1.005 + 3.0,
                        "{hz} {slot_ns} {tau} {away}: {found} for {exact}"
                    );
                }
            }
        }
        let config = config(oscillator);
        let end = Away {
            ahead: u32::MAX,
            behind: u32::MAX,
        };
        // The longest memory: no sum runs over.
        let longest = (1 << 20) - 1;
        let half = Away {
            behind: u32::MAX / 2,
            ..end
        };
        assert!(config.bent_256(longest, end) >= config.bent_256(longest, half));
    }
}

#[test]
fn a_quiet_clock_is_followed_to_parts_of_a_tick() {
    for (oscillator, ppm, drift) in [
        (Oscillator::CRYSTAL, 40.0, 0.023),
        (Oscillator::CRYSTAL, -58.0, 0.1),
        (Oscillator::RC, 19_600.0, 17.0),
        (Oscillator::RC, -20_000.0, 30.0),
    ] {
        let config = config(oscillator);
        let first = 1_000;
        let at = |slot: u64| start(slot - first, ppm, drift);
        let mut clock = Clock::start(&config, first, captured(at(first)));
        assert!(!clock.locked(&config));
        for slot in (first + 5..first + 20_000).step_by(5) {
            assert!(clock.fits(&config, slot, captured(at(slot))), "{slot}");
            if let Some(doubt) = clock.predict(&config, slot).doubt_256 {
                let off = error(&clock, &config, slot, at(slot));
                assert!(off.abs() * 256.0 <= f64::from(doubt), "{slot}: {off}");
                assert!(slot >= first + 35);
            }
            assert!(clock.update(&config, slot, captured(at(slot))));
            assert!(!clock.clash());
        }
        assert!(clock.locked(&config));
        assert_eq!(clock.source(), Source::Arrivals);
        let off = error(&clock, &config, first + 20_000, at(first + 20_000));
        // A steady lag of a·τ²: 1.6 ticks at 0.1 ppm/s, 3 at 30 ppm/s.
        assert!(off.abs() < 4.5, "{ppm} {drift}: {off}");
        // Slow clocks have long slots.
        let ppb = f64::from(clock.rate_ppb(&config)) + ppm * 1e3 + drift * 20e3;
        assert!(ppb.abs() < 2.2e-3 * drift.abs() * 1e6 + 20.0, "{ppb}");
    }
}

#[test]
fn edges_between_slots_lie_where_the_probe_clock_puts_them() {
    for ppm in [-20_000.0, 0.0, 40.0, 20_000.0] {
        let config = config(Oscillator::RC);
        let mut clock = Clock::start(&config, 0, captured(start(0, ppm, 0.0)));
        for slot in (5..2_000).step_by(5) {
            clock.update(&config, slot, captured(start(slot, ppm, 0.0)));
        }
        for age in [0_u32, 1, 7_999, 8_000, 8_001, 123_456, 1_048_574] {
            let truth = start(1_995, ppm, 0.0) - f64::from(age) * 2.0 * (1.0 + ppm * 1e-6);
            let edge = clock.predict_before(&config, 1_995, age);
            let at = edge.at.whole().ticks() as f64 + f64::from(edge.at.part_256()) / 256.0;
            assert!((at - truth).abs() < 1.0, "{ppm} {age}: {at} {truth}");
            let doubt = f64::from(edge.doubt_256.unwrap()) / 256.0;
            assert!((at - truth).abs() < doubt);
            // Edges need half a step more than slots.
            let slot = clock.predict(&config, 1_995).doubt_256.unwrap();
            assert!(
                edge.doubt_256.unwrap() >= slot + 256,
                "{ppm} {age} {edge:?} {slot}"
            );
        }
    }
}

#[test]
fn low_bits_become_the_nearest_slot() {
    let config = config(Oscillator::CRYSTAL);
    for first in [0, 65_530, 1 << 32, MAX_SLOT - 70_000] {
        let at = |slot: u64| captured(1e9 + SLOT * slot as f64 - SLOT * first as f64);
        let mut clock = Clock::start(&config, first, at(first));
        clock.update(&config, first + 10, at(first + 10));
        for slot in [first, first + 9, first + 11, first + 32_000, first + 60_000] {
            assert_eq!(clock.nearest(slot as u16, at(slot)), slot);
            // Any low bits give a slot within half a turn.
            for low in [0, 1, 0x7fff, 0x8000, 0xffff] {
                let found = clock.nearest(low, at(slot));
                assert_eq!(found as u16, low);
                assert!(found.abs_diff(slot) <= 1 << 16 && found <= MAX_SLOT);
                let low_end = slot < 1 << 15;
                let high_end = slot + (1 << 15) > MAX_SLOT;
                assert!(found.abs_diff(slot) <= 1 << 15 || low_end || high_end);
            }
        }
    }
}

#[test]
fn late_stamps_are_left_for_the_earliest_of_eight_and_capture_is_not() {
    let mut seed = 5;
    for (late, expected) in [(0.0, Source::Arrivals), (600.0, Source::Minima)] {
        let config = config(Oscillator::CRYSTAL);
        let mut clock = Clock::start(&config, 0, captured(start(0, 20.0, 0.0)));
        let mut outside = 0;
        for slot in (10..40_000).step_by(10) {
            let tail = if crate::drawn::step(&mut seed) % 10 < 3 {
                late * crate::drawn::step(&mut seed) as f64 / u64::MAX as f64
            } else {
                0.0
            };
            let scatter = 16.0 * (even(&mut seed) + even(&mut seed));
            let truth = start(slot, 20.0, 0.0);
            let arrival = captured(truth + scatter + tail);
            if slot > 20_000 {
                let doubt = f64::from(clock.predict(&config, slot).doubt_256.unwrap()) / 256.0;
                outside += u32::from(error(&clock, &config, slot, truth).abs() > doubt + 24.0);
            }
            clock.update(&config, slot, arrival);
        }
        assert_eq!(clock.source(), expected);
        assert_eq!((outside, clock.clashes()), (0, 0));
    }
}

#[test]
fn a_clock_outside_its_limits_clashes_and_loses_its_lock() {
    // Twice the tolerance: the gate would follow, the intervals cannot.
    let config = config(Oscillator::CRYSTAL);
    let mut clock = Clock::start(&config, 0, captured(start(0, 30.0, 0.0)));
    let mut clashed = None;
    for slot in (5..20_000).step_by(5) {
        let shift = if slot > 5_000 {
            120e-6 * SLOT * (slot - 5_000) as f64
        } else {
            0.0
        };
        clock.update(&config, slot, captured(start(slot, 30.0, 0.0) + shift));
        if clock.clash() {
            assert!(!clock.locked(&config));
            assert_eq!(clock.predict(&config, slot + 1).doubt_256, None);
            clashed = clashed.or(Some(slot));
        }
    }
    let clashed = clashed.unwrap();
    assert!((5_005..6_000).contains(&clashed), "{clashed}");
    assert!(clock.clashes() > 0);
}

#[test]
fn an_oscillator_beyond_its_tolerance_is_named_and_gets_no_bound_that_is_too_small() {
    let mut seed = 11;
    for (oscillator, drift, within_ppm, beyond_ppm) in [
        (Oscillator::CRYSTAL, 0.1, 60.0, 200.0),
        (Oscillator::CRYSTAL, -0.1, 60.0, 200.0),
        (Oscillator::RC, 30.0, 20_020.0, 60_000.0),
        (Oscillator::RC, -30.0, 20_020.0, 60_000.0),
    ] {
        let config = config(oscillator);
        // From inside to far beyond, and back again.
        let from = f64::copysign(within_ppm - 40.0, drift);
        let turn = ((beyond_ppm - within_ppm + 40.0) / f64::abs(drift) * 1e3) as u64;
        let rate = |slot: u64| from + drift * (turn - slot.abs_diff(turn)) as f64 / 1e3;
        let truth = |slot: u64| {
            let there = slot.min(turn);
            let back = (slot - there) as f64 / 1e3;
            let peak = from + drift * turn as f64 / 1e3;
            let ppm_s = peak * back - 0.5 * drift * back * back;
            start(there, from, drift) + SLOT * back * 1e3 + f64::from(HZ) * 1e-6 * ppm_s
        };
        let mut clock = Clock::start(&config, 0, captured(truth(0)));
        let mut bound = [0, 0];
        for slot in (5..2 * turn).step_by(5) {
            if let Some(doubt) = clock.predict(&config, slot).doubt_256 {
                let off = error(&clock, &config, slot, truth(slot));
                let ppm = rate(slot);
                let said = f64::from(doubt) / 256.0;
                assert!(off.abs() <= said, "{slot}, {ppm} ppm: {off} beyond {said}");
                // Beyond an eighth more, 25 ppm and what drift does meanwhile.
                let most = within_ppm * 1.125 + 25.0 + 2.0 * f64::abs(drift);
                assert!(ppm.abs() < most + 1.0, "{slot}: a bound at {ppm} ppm");
                bound[usize::from(slot > turn)] += 1;
            } else if rate(slot).abs() > within_ppm * 1.2 + 70.0 {
                assert!(clock.out_of_tolerance(&config), "{slot}: not named");
            }
            let scatter = 3.0 * (even(&mut seed) + even(&mut seed));
            clock.update(&config, slot, captured(truth(slot) + scatter));
        }
        // It found back.
        assert!(bound[0] > 200 && bound[1] > 200, "{bound:?}");
        assert!(!clock.out_of_tolerance(&config) && clock.locked(&config));
    }
}

#[test]
fn silence_widens_gate_and_bound_as_the_oscillator_may_drift() {
    for (oscillator, seconds) in [(Oscillator::CRYSTAL, 60), (Oscillator::RC, 3)] {
        let config = config(oscillator);
        let mut clock = Clock::start(&config, 0, captured(start(0, 5.0, 0.0)));
        for slot in (5..10_000).step_by(5) {
            clock.update(&config, slot, captured(start(slot, 5.0, 0.0)));
        }
        let slack = |slot| clock.slack(&config, slot).ticks();
        let mut before = 0;
        for slot in (10_000..10_000 + 1_000 * seconds).step_by(500) {
            assert!(slack(slot) >= before);
            assert!(clock.gate(&config, slot).ticks() > slack(slot));
            before = slack(slot);
        }
        // A quarter slot is reached about then, not long before.
        let quarter = SLOT as i64 / 4;
        let end = 10_000 + 1_000 * seconds;
        assert!(slack(end) < quarter, "{}", slack(end));
        assert!(slack(10_000 + 2_000 * seconds) > quarter);
        // The true clock may have drifted as far as stated, and still fits.
        let drifted = |slot: u64| {
            let away = (slot - 9_995) as f64 / 1e3;
            let drift = f64::from(oscillator.drift_ppb_s) * 1e-9;
            captured(start(slot, 5.0, 0.0) + f64::from(HZ) * 0.5 * drift * away * away)
        };
        for slot in (10_000..end).step_by(700) {
            assert!(clock.fits(&config, slot, drifted(slot)));
        }
    }
}

#[test]
fn what_the_first_two_frames_tell_of_the_rate_is_no_scatter() {
    // An oscillator at the end of its tolerance: 2 % of five slots are 1600 ticks.
    for ppm in [20_000.0, -20_000.0] {
        let config = config(Oscillator::RC);
        let mut clock = Clock::start(&config, 0, captured(start(0, ppm, 0.0)));
        assert!(clock.update(&config, 5, captured(start(5, ppm, 0.0))));
        // From beat to beat a receiver may not lose a fourth of a slot.
        let slack = clock.slack(&config, 11).ticks();
        assert!(slack < 4_000, "{slack}");
        assert!(error(&clock, &config, 11, start(11, ppm, 0.0)).abs() < 4.0);
    }
}

#[test]
fn repeated_and_older_slots_change_nothing() {
    let config = config(Oscillator::CRYSTAL);
    let mut clock = Clock::start(&config, 50, Instant::from_ticks(800_000));
    assert!(!clock.update(&config, 50, Instant::from_ticks(999_999)));
    assert!(clock.update(&config, 60, Instant::from_ticks(960_000)));
    let before = clock.predict(&config, 70);
    assert!(!clock.update(&config, 55, Instant::from_ticks(3)));
    assert_eq!(clock.predict(&config, 70), before);
}

#[test]
fn anything_may_come_in() {
    let mut seed = 77;
    for (hz, slot_ns) in [
        (2_560_000, 100_000),
        (HZ, 1_000_000),
        (480_000_000, 100_000_000),
    ] {
        let rate = TickRate::from_hz(hz).unwrap();
        let config = ClockConfig::new(rate, slot_ns, Oscillator::RC)
            .unwrap_or_else(|_| ClockConfig::new(rate, slot_ns, Oscillator::CRYSTAL).unwrap());
        for _ in 0..2_000 {
            let wild = |seed: &mut u64| match crate::drawn::step(seed) % 4 {
                0 => crate::drawn::step(seed) >> (crate::drawn::step(seed) % 64),
                1 => u64::MAX - crate::drawn::step(seed) % 3,
                2 => crate::drawn::step(seed) % 3,
                _ => 1 << (crate::drawn::step(seed) % 64),
            };
            let mut clock = Clock::start(
                &config,
                wild(&mut seed),
                Instant::from_ticks(wild(&mut seed)),
            );
            let mut slot = 0_u64;
            for _ in 0..40 {
                slot = if crate::drawn::step(&mut seed) % 3 == 0 {
                    wild(&mut seed)
                } else {
                    slot.wrapping_add(crate::drawn::step(&mut seed) % 9)
                };
                let at = Instant::from_ticks(wild(&mut seed));
                let _ = clock.update(&config, slot, at);
                let other = wild(&mut seed);
                let _ = clock.predict(&config, other).doubt_ns(rate);
                let _ = clock.predict_before(&config, other, crate::drawn::step(&mut seed) as u32);
                let _ = (clock.fits(&config, other, at), clock.rate_ppb(&config));
                assert!(clock.nearest(other as u16, at) <= MAX_SLOT);
            }
        }
    }
}

#[test]
fn a_clock_is_small() {
    let size = core::mem::size_of::<Clock>();
    assert!(size <= 320, "{size}");
    assert!(core::mem::size_of::<ClockConfig>() <= 144);
}
