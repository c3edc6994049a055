//! Laws of the battery gauge: less is never longer, nothing panics, and no yes without sight.

mod common;

use common::cases;
use proptest::prelude::*;
use trueonset::battery::{
    Battery, BatteryConfig, BatteryPlan, Cells, Chemistry, Load, Observation, Pack, Reasons,
    StoredCharge, Verdict,
};

fn chemistries() -> impl Strategy<Value = Chemistry> {
    prop::sample::select(&Chemistry::ALL[..])
}

fn plan(chemistry: Chemistry, cells: u8) -> BatteryPlan {
    BatteryPlan {
        pack: Pack {
            chemistry,
            cells,
            capacity_uah: 2_000_000,
        },
        load: Load {
            base_ua: 250,
            measuring_ua: 9_000,
            least_duty_permille: 100,
            most_duty_permille: 400,
            pulse_ua: 20_000,
            stop_mv: 900 * u32::from(cells),
        },
        reading_mv: 6,
        coldest_decicelsius: 50,
        stale_s: 3_600,
    }
}

fn wild() -> impl Strategy<Value = u32> {
    prop_oneof![
        any::<u32>(),
        0_u32..5_000,
        (0_u32..32).prop_map(|bit| 1 << bit),
        (0_u32..3).prop_map(|below| u32::MAX - below)
    ]
}

fn cells() -> impl Strategy<Value = Cells> {
    prop_oneof![4 => Just(Cells::Same), 1 => Just(Cells::New), 1 => Just(Cells::Unknown)]
}

fn observations() -> impl Strategy<Value = Observation> {
    (
        (wild(), wild(), wild(), wild()),
        (any::<i16>(), wild(), wild(), cells()),
    )
        .prop_map(
            |(
                (at_s, rest_mv, loaded_mv, pulse_ua),
                (decicelsius, counter_uah, rested_s, cells),
            )| {
                Observation {
                    at_s,
                    rest_mv,
                    loaded_mv,
                    pulse_ua,
                    decicelsius,
                    counter_uah,
                    rested_s,
                    cells,
                }
            },
        )
}

/// A pack that rests at a voltage, sags by `sag_mv` and has used a charge since it was new.
fn read(config: &BatteryConfig, rest_mv: u32, sag_mv: u32, used_uah: u32) -> Battery {
    let used = StoredCharge {
        used_uah,
        unseen_uah: 0,
    };
    let mut battery = Battery::new(config, Some(used));
    for at_s in 0..10 {
        battery.observe(
            config,
            &Observation {
                at_s,
                rest_mv,
                loaded_mv: rest_mv.saturating_sub(sag_mv),
                pulse_ua: config.plan().load.pulse_ua,
                decicelsius: 220,
                counter_uah: 0,
                rested_s: 0,
                cells: Cells::Same,
            },
        );
    }
    battery
}

proptest! {
    #![proptest_config(cases(2_000))]

    /// A lower voltage, or more charge used, never means more charge or a later end. The same sag
    /// at a lower voltage is that of a stiffer pack, which may go on longer: the end is compared
    /// without sag.
    #[test]
    fn less_charge_is_never_a_later_end(
        chemistry in chemistries(),
        each in 800_u32..3_700,
        less in 0_u32..300,
        sag in 0_u32..20,
        used in 0_u32..2_500_000,
        more in 0_u32..500_000,
    ) {
        let config = BatteryConfig::new(plan(chemistry, 2)).unwrap();
        let told = |rest, sag, used| read(&config, rest, sag, used).state(&config, 10);
        let (full, lower) = (told(2 * each, sag, used), told(2 * each - less, sag, used));
        prop_assert!(lower.charge_uah.0 <= full.charge_uah.0);
        let (full, lower) = (told(2 * each, 0, used), told(2 * each - less, 0, used));
        prop_assert!(lower.lasts_s.0 <= full.lasts_s.0);
        // Where charge contradicts it, the voltage alone bounds the end from above.
        let odd = lower.reasons.contains(Reasons::ODD_CELL);
        prop_assert!(lower.lasts_s.1 <= full.lasts_s.1 || odd);
        // More charge used may settle a contradiction, which had cut the bound below.
        let (full, emptier) = (told(2 * each, sag, used), told(2 * each, sag, used + more));
        let odd = full.reasons.contains(Reasons::ODD_CELL);
        prop_assert!(emptier.lasts_s.0 <= full.lasts_s.0 || odd);
        prop_assert!(emptier.charge_uah.1 <= full.charge_uah.1 || emptier.reasons.contains(Reasons::ODD_CELL));
    }

    /// More resistance never ends later.
    #[test]
    fn more_resistance_is_never_a_later_end(
        chemistry in chemistries(),
        each in 800_u32..3_700,
        sag in 0_u32..60,
        more in 0_u32..60,
    ) {
        let config = BatteryConfig::new(plan(chemistry, 2)).unwrap();
        let told = |sag| {
            // The same voltage without any load.
            read(&config, 2 * each - sag / 80, sag, 0).state(&config, 10)
        };
        let (soft, stiff) = (told(sag + more), told(sag));
        if soft.milliohms.is_some() {
            prop_assert!(soft.lasts_s.0 <= stiff.lasts_s.0 + 600, "{:?} {:?}", soft, stiff);
        }
    }

    /// Whatever comes in, in any order: no panic, bounds in order, and a yes only with sight.
    #[test]
    fn anything_may_come_in_and_no_yes_is_blind(
        chemistry in chemistries(),
        cells in 1_u8..=4,
        stored in prop::option::of((wild(), wild())),
        seen in prop::collection::vec(observations(), 0..40),
        nows in prop::collection::vec(wild(), 1..10),
        run_s in wild(),
    ) {
        let config = BatteryConfig::new(plan(chemistry, cells)).unwrap();
        let stored = stored.map(|(used_uah, unseen_uah)| StoredCharge { used_uah, unseen_uah });
        let mut battery = Battery::new(&config, stored);
        let mut newest: Option<Observation> = None;
        for one in &seen {
            battery.observe(&config, one);
            newest = Some(*one);
            if let Some(write) = battery.want(&config) {
                battery.stored(write);
                prop_assert_eq!(battery.want(&config), None);
            }
        }
        for now_s in nows.into_iter().chain(newest.map(|one| one.at_s)) {
            let state = battery.state(&config, now_s);
            prop_assert!(state.charge_uah.0 <= state.charge_uah.1);
            prop_assert!(state.usable_uah.0 <= state.usable_uah.1);
            prop_assert!(state.lasts_s.0 <= state.lasts_s.1);
            let fresh = newest.is_some_and(|one| now_s.wrapping_sub(one.at_s) < 3_600);
            let warm = newest.is_some_and(|one| one.decicelsius >= 50);
            let verdict = state.lasts(run_s);
            if !fresh || !warm || seen.len() < 4 {
                prop_assert_eq!(verdict, Verdict::CannotTell);
            }
            if verdict == Verdict::Yes {
                prop_assert!(state.lasts_s.0 >= run_s);
            }
        }
    }

    /// Clock and counter may wrap anywhere: what is told stays the same.
    #[test]
    fn a_wrap_changes_nothing(
        chemistry in chemistries(),
        clock in any::<u32>(),
        counter in any::<u32>(),
        steps in prop::collection::vec((1_u32..2_000, 0_u32..10_000), 5..40),
    ) {
        let config = BatteryConfig::new(plan(chemistry, 2)).unwrap();
        let run = |clock: u32, counter: u32| {
            let mut battery = Battery::new(&config, None);
            let (mut at_s, mut counter_uah, mut cells) = (clock, counter, Cells::New);
            for &(seconds, charge) in &steps {
                let rest_mv = 2 * chemistry.open_mv(7_000);
                let loaded_mv = rest_mv - 10;
                battery.observe(&config, &Observation {
                    at_s, rest_mv, loaded_mv, pulse_ua: 20_000, decicelsius: 220, counter_uah,
                    rested_s: 0, cells,
                });
                cells = Cells::Same;
                at_s = at_s.wrapping_add(seconds);
                counter_uah = counter_uah.wrapping_add(charge);
            }
            battery.state(&config, at_s)
        };
        prop_assert_eq!(run(clock, counter), run(0, 0));
    }

    /// A plan is refused or makes a gauge; neither panics.
    #[test]
    fn any_plan_is_refused_or_works(
        chemistry in chemistries(),
        cells in any::<u8>(),
        (capacity_uah, base_ua, measuring_ua) in (wild(), wild(), wild()),
        (pulse_ua, stop_mv, stale_s) in (wild(), wild(), wild()),
        duties in (0_u16..1_200, 0_u16..1_200),
        (reading_mv, coldest_decicelsius) in (0_u16..600, -500_i16..900),
        one in observations(),
    ) {
        let plan = BatteryPlan {
            pack: Pack { chemistry, cells, capacity_uah },
            load: Load {
                base_ua,
                measuring_ua,
                least_duty_permille: duties.0,
                most_duty_permille: duties.1,
                pulse_ua,
                stop_mv,
            },
            reading_mv,
            coldest_decicelsius,
            stale_s,
        };
        match BatteryConfig::new(plan) {
            Ok(config) => {
                let mut battery = Battery::new(&config, None);
                (0..5).for_each(|_| battery.observe(&config, &one));
                let state = battery.state(&config, one.at_s);
                prop_assert!(state.lasts_s.0 <= state.lasts_s.1);
            }
            Err(why) => prop_assert!(!why.to_string().is_empty()),
        }
    }
}
