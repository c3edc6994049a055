//! Laws of the clock: what may be shifted without changing anything, and that nothing panics.

mod common;

use common::{at, cases};
use proptest::prelude::*;
use trueonset::clock::{Clock, ClockConfig, Oscillator, MAX_SLOT};
use trueonset::time::{Instant, TickRate};

fn oscillators() -> impl Strategy<Value = Oscillator> {
    prop_oneof![Just(Oscillator::CRYSTAL), Just(Oscillator::RC)]
}

/// Slots since the frame before, and scatter in ticks.
fn frames() -> impl Strategy<Value = Vec<(u64, i64)>> {
    prop::collection::vec((1_u64..40, -40_i64..400), 1..120)
}

fn wild() -> impl Strategy<Value = u64> {
    prop_oneof![
        any::<u64>(),
        0_u64..3,
        (0_u32..64).prop_map(|bit| 1 << bit),
        (0_u64..3).prop_map(|below| u64::MAX - below)
    ]
}

proptest! {
    #![proptest_config(cases(1_000))]

    /// The same frames later, and with other slot numbers, are predicted later by as much.
    #[test]
    fn shifted_arrivals_and_slots_shift_the_predictions_alone(
        oscillator in oscillators(),
        frames in frames(),
        ppm in -15_000_i64..15_000,
        later in 0_u64..1 << 50,
        slots_on in 0_u64..1 << 38,
        age in 0_u32..1 << 20,
    ) {
        let rate = TickRate::from_hz(16_000_000).unwrap();
        let config = ClockConfig::new(rate, 1_000_000, oscillator).unwrap();
        let arrives = |slot: u64, scatter: i64| {
            let slots = slot as i64;
            (10_000_000 + slots * 16_000 + slots * 16 * ppm / 1_000 + scatter) as u64
        };
        let mut here = Clock::start(&config, 0, at(arrives(0, 0)));
        let mut there = Clock::start(&config, slots_on, at(arrives(0, 0) + later));
        let mut slot = 0;
        for (gap, scatter) in frames {
            slot += gap;
            let arrival = arrives(slot, scatter);
            prop_assert_eq!(
                here.fits(&config, slot, at(arrival)),
                there.fits(&config, slot + slots_on, at(arrival + later))
            );
            prop_assert!(here.update(&config, slot, at(arrival)));
            prop_assert!(there.update(&config, slot + slots_on, at(arrival + later)));
            let (a, b) = (
                here.predict_before(&config, slot + gap, age),
                there.predict_before(&config, slot + gap + slots_on, age),
            );
            prop_assert_eq!(a.at.whole().ticks() + later, b.at.whole().ticks());
            prop_assert_eq!(a.at.part_256(), b.at.part_256());
            prop_assert_eq!(a.doubt_256, b.doubt_256);
            prop_assert_eq!(
                here.slack(&config, slot + gap),
                there.slack(&config, slot + gap + slots_on)
            );
            prop_assert_eq!(here.source(), there.source());
            prop_assert_eq!(here.clashes(), there.clashes());
        }
    }

    /// Locked and within its bound about the true line, for scatter within a tick and any gaps.
    #[test]
    fn a_quiet_oscillator_stays_within_its_bound(
        oscillator in oscillators(),
        gaps in prop::collection::vec(1_u64..100, 8..200),
        tenth_ppm in -500_i64..500,
        age in 0_u32..1 << 20,
    ) {
        let rate = TickRate::from_hz(16_000_000).unwrap();
        let config = ClockConfig::new(rate, 1_000_000, oscillator).unwrap();
        // 1/256 ticks.
        let starts = |steps: i64| {
            let nominal = 256 * (1 << 33) + steps * 2 * 256;
            nominal + steps * 2 * 256 * tenth_ppm / 10_000_000
        };
        let captured = |slot: u64| at((starts(slot as i64 * 8_000) >> 8) as u64);
        let mut clock = Clock::start(&config, 0, captured(0));
        let mut slot = 0;
        for gap in gaps {
            slot += gap;
            prop_assert!(clock.fits(&config, slot, captured(slot)));
            clock.update(&config, slot, captured(slot));
            prop_assert!(!clock.clash());
            let told = clock.predict_before(&config, slot + gap, age);
            let truth = starts((slot + gap) as i64 * 8_000 - i64::from(age));
            let found = (told.at.whole().ticks() << 8) as i64 + i64::from(told.at.part_256());
            if let Some(doubt) = told.doubt_256 {
                prop_assert!((found - truth).abs() <= i64::from(doubt), "{} {} {}", found, truth, doubt);
            }
        }
        prop_assert_eq!(clock.locked(&config), clock.predict(&config, slot).doubt_256.is_some());
    }

    /// Whatever comes in, nothing panics and slots keep to their 40 bits.
    #[test]
    fn anything_may_come_in(
        hz in 1_u32..,
        slot_steps in 800_u32..800_000,
        oscillator in oscillators(),
        start in (wild(), wild()),
        frames in prop::collection::vec((wild(), wild(), any::<bool>()), 0..60),
        age in any::<u32>(),
    ) {
        let rate = TickRate::from_hz(hz).unwrap();
        let Ok(config) = ClockConfig::new(rate, slot_steps * 125, oscillator) else {
            return Ok(());
        };
        let mut clock = Clock::start(&config, start.0, Instant::from_ticks(start.1));
        let mut slot = start.0;
        for (word, ticks, jumps) in frames {
            slot = if jumps { word } else { slot.wrapping_add(word % 50) };
            let arrival = Instant::from_ticks(ticks);
            let _ = clock.fits(&config, slot, arrival);
            let _ = clock.update(&config, slot, arrival);
            let _ = clock.predict(&config, word).doubt_ns(rate);
            let _ = clock.predict_before(&config, slot, age);
            let _ = (clock.gate(&config, word), clock.rate_ppb(&config), clock.locked(&config));
            prop_assert!(clock.nearest(word as u16, arrival) <= MAX_SLOT);
        }
    }
}
