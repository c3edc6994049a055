extern crate std;
use super::*;
use crate::drawn::numbers;

fn plan(chemistry: Chemistry, cells: u8) -> BatteryPlan {
    BatteryPlan {
        pack: Pack {
            chemistry,
            cells,
            capacity_uah: 1_450_000,
        },
        load: Load {
            base_ua: 250,
            measuring_ua: 8_000,
            least_duty_permille: 0,
            most_duty_permille: 400,
            pulse_ua: 30_000,
            stop_mv: 1_800,
        },
        reading_mv: 6,
        coldest_decicelsius: 50,
        stale_s: 7_200,
    }
}

fn lithium() -> BatteryConfig {
    BatteryConfig::new(plan(Chemistry::LithiumManganese, 1)).unwrap()
}

fn reading(at_s: u32, rest_mv: u32) -> Observation {
    Observation {
        at_s,
        rest_mv,
        loaded_mv: rest_mv - 15,
        pulse_ua: 30_000,
        decicelsius: 220,
        counter_uah: 0,
        rested_s: 0,
        cells: Cells::Same,
    }
}

fn seen(config: &BatteryConfig, rest_mv: u32) -> Battery {
    let mut battery = Battery::new(config, None);
    (0..8).for_each(|at| battery.observe(config, &reading(at, rest_mv)));
    battery
}

#[test]
fn tables_rise_and_are_turned_back() {
    for chemistry in Chemistry::ALL {
        assert!(chemistry.open_mv(FULL_SHARE) <= u32::from(chemistry.highest_mv()));
        for cells in [1, 2, 4] {
            for share in 0..FULL_SHARE {
                let (mv, next) = (chemistry.open_mv(share), chemistry.open_mv(share + 1));
                assert!(mv <= next);
                let found = chemistry.share_left(mv * u32::from(cells), cells);
                assert!(found <= share + 1, "{chemistry:?} {share} {found}");
                assert!(
                    mv - chemistry.open_mv(found) <= 2,
                    "{chemistry:?} {share} {found}"
                );
            }
        }
        assert_eq!(chemistry.share_left(0, 1), 0);
        assert_eq!(chemistry.share_left(u32::MAX, 1), FULL_SHARE);
    }
}

#[test]
fn every_impossible_plan_has_its_name() {
    use BatteryConfigError as E;
    let refused = |change: fn(&mut BatteryPlan)| {
        let mut plan = plan(Chemistry::Alkaline, 2);
        change(&mut plan);
        BatteryConfig::new(plan).err()
    };
    assert_eq!(refused(|_| {}), None);
    assert_eq!(refused(|p| p.pack.cells = 0), Some(E::Cells));
    assert_eq!(refused(|p| p.pack.cells = 17), Some(E::Cells));
    assert_eq!(refused(|p| p.pack.capacity_uah = 999), Some(E::Capacity));
    assert_eq!(refused(|p| p.load.base_ua = 0), Some(E::Current));
    assert_eq!(refused(|p| p.load.measuring_ua = 249), Some(E::Current));
    assert_eq!(refused(|p| p.load.pulse_ua = 0), Some(E::Pulse));
    assert_eq!(refused(|p| p.load.least_duty_permille = 401), Some(E::Duty));
    assert_eq!(refused(|p| p.reading_mv = 500), Some(E::Reading));
    assert_eq!(
        refused(|p| p.coldest_decicelsius = -101),
        Some(E::Temperature)
    );
    assert_eq!(refused(|p| p.load.stop_mv = 0), Some(E::Stop));
    assert_eq!(refused(|p| p.load.stop_mv = 3_200), Some(E::Stop));
    assert_eq!(refused(|p| p.stale_s = 0), Some(E::Stale));
}

#[test]
fn yes_no_and_cannot_tell() {
    let config = lithium();
    let full = seen(&config, 3_150).state(&config, 10);
    assert_eq!(full.lasts(8 * 3_600), Verdict::Yes);
    assert_eq!(full.milliohms, Some(500));
    assert_eq!(full.lasts(10_000 * 3_600), Verdict::No);
    assert_eq!(full.lasts(2_000 * 3_600), Verdict::CannotTell);
    assert_eq!(
        seen(&config, 2_000).state(&config, 10).lasts(8 * 3_600),
        Verdict::CannotTell
    );
    let low = seen(&config, 1_810).state(&config, 10);
    assert!(low.reasons.contains(Reasons::LOW_NOW));
    assert_eq!(low.lasts(0), Verdict::No);
}

#[test]
fn what_blinds_it_forbids_yes_and_no() {
    let config = lithium();
    let told = |battery: &Battery, now_s| {
        let state = battery.state(&config, now_s);
        (state.reasons, state.lasts(60))
    };
    let blind = |(reasons, verdict): (Reasons, Verdict), reason| {
        assert!(reasons.contains(reason), "{reasons:?}");
        assert_eq!(verdict, Verdict::CannotTell);
    };
    blind(told(&Battery::new(&config, None), 0), Reasons::NO_READING);
    let good = seen(&config, 3_150);
    assert_eq!(told(&good, 7_206).1, Verdict::Yes);
    blind(told(&good, 7_207), Reasons::STALE);
    blind(told(&good, 6), Reasons::STALE);
    blind(told(&seen(&config, 3_750), 10), Reasons::WRONG_CELLS);
    let mut cold = good;
    cold.observe(
        &config,
        &Observation {
            decicelsius: 49,
            ..reading(10, 3_150)
        },
    );
    blind(told(&cold, 10), Reasons::TEMPERATURE);
    let mut once = Battery::new(&config, None);
    once.observe(&config, &reading(10, 3_150));
    blind(told(&once, 10), Reasons::NO_RESISTANCE);
}

#[test]
fn the_sag_after_a_rest_teaches_nothing_where_cells_passivate() {
    let config = BatteryConfig::new(plan(Chemistry::LithiumThionyl, 1)).unwrap();
    let pulse = |at_s, sag: u32, rested_s| Observation {
        loaded_mv: 3_650_u32 - sag,
        rested_s,
        ..reading(at_s, 3_650)
    };
    let mut battery = Battery::new(&config, None);
    (0..8).for_each(|at| battery.observe(&config, &pulse(at, 240, 0)));
    assert_eq!(battery.state(&config, 8).milliohms, Some(8_000));
    battery.observe(&config, &pulse(9, 1_900, 3_600));
    let state = battery.state(&config, 9);
    assert_eq!(state.milliohms, Some(8_000));
    assert!(state.reasons.contains(Reasons::PASSIVATION));
    assert!(!state.reasons.contains(Reasons::LOW_NOW));
}

#[test]
fn charge_is_counted_over_a_wrap_and_a_start() {
    let config = lithium();
    let step = 1_450_000 / 256;
    let write = |charge| {
        Some(ChargeWrite {
            charge: Some(charge),
        })
    };
    let mut battery = Battery::new(&config, None);
    let count = |battery: &mut Battery, counter_uah, cells| {
        battery.observe(
            &config,
            &Observation {
                counter_uah,
                cells,
                ..reading(0, 3_000)
            },
        );
    };
    count(&mut battery, 1 << 31, Cells::Same);
    count(&mut battery, u32::MAX - 4, Cells::New);
    count(&mut battery, step - 6, Cells::Same);
    let fresh = StoredCharge {
        used_uah: step - 1,
        unseen_uah: 0,
    };
    assert_eq!(battery.want(&config), write(fresh));
    battery.stored(ChargeWrite {
        charge: Some(fresh),
    });
    assert_eq!(battery.want(&config), None);
    count(&mut battery, 2 * step - 6, Cells::Same);
    let next = StoredCharge {
        used_uah: 2 * step - 1,
        unseen_uah: 0,
    };
    assert_eq!(battery.want(&config), write(next));
    // Started anew with the older store: up to one step is missing.
    let mut battery = Battery::new(&config, Some(fresh));
    assert_eq!(
        battery.want(&config),
        write(StoredCharge {
            unseen_uah: step,
            ..fresh
        })
    );
    count(&mut battery, 100, Cells::Same);
    count(&mut battery, 50, Cells::Same);
    assert!(battery
        .state(&config, 0)
        .reasons
        .contains(Reasons::UNKNOWN_CHARGE));
}

#[test]
fn an_odd_cell_is_named_and_never_prolongs() {
    let config = lithium();
    let mut battery = seen(&config, 2_600);
    let unknown = battery.state(&config, 8);
    battery.observe(
        &config,
        &Observation {
            cells: Cells::New,
            ..reading(10, 2_600)
        },
    );
    (11..20).for_each(|at| battery.observe(&config, &reading(at, 2_600)));
    let state = battery.state(&config, 20);
    assert!(state.reasons.contains(Reasons::ODD_CELL));
    assert!(state.lasts_s.0 <= unknown.lasts_s.0);
}

#[test]
fn less_voltage_is_never_a_later_end() {
    let mut draw = numbers(7);
    for chemistry in Chemistry::ALL {
        let config = BatteryConfig::new(plan(chemistry, 2)).unwrap();
        for _ in 0..500 {
            let a = 1_900 + draw() as u32 % 2_000;
            let b = a + draw() as u32 % 300;
            let (a, b) = (
                seen(&config, a).state(&config, 9),
                seen(&config, b).state(&config, 9),
            );
            assert!(a.lasts_s.0 <= b.lasts_s.0 && a.lasts_s.1 <= b.lasts_s.1);
        }
    }
}

#[test]
fn a_battery_is_small() {
    assert!(size_of::<Battery>() < 200, "{}", size_of::<Battery>());
    assert!(size_of::<BatteryState>() < 200);
}

/// A low voltage stands from the reading that shows it to the one that shows it gone, however old
/// it gets.
#[test]
fn cells_are_low_until_a_reading_shows_otherwise() {
    let config = lithium();
    let mut battery = seen(&config, 2_900);
    assert!(!battery.state(&config, 8).is_low());
    let sagged = Observation {
        loaded_mv: 1_799,
        ..reading(9, 1_814)
    };
    battery.observe(&config, &sagged);
    for now_s in [9, 10, 1_000_000] {
        assert!(battery.state(&config, now_s).is_low());
    }
    battery.observe(&config, &reading(11, 2_900));
    assert!(!battery.state(&config, 11).is_low());
    // Without a reading nothing is known, and nothing is said.
    assert!(!Battery::new(&config, None).state(&config, 0).is_low());
}
