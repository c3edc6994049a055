//! Cells and their arithmetic against published values.
//!
//! Sources. Nominal and highest open-circuit voltages: IEC 60086-1, table 3,
//! read in its national identical adoption (GOST R IEC 60086-1), letters up to
//! G; letter L from memory, where newer editions have 1.68 V. They stand in
//! `data/reference/battery_iec60086.csv`. Resistance by two steps of current,
//! `R = (V1 - V2)/(I2 - I1)`, and mean current of pulses, `I + Ip·t/T`:
//! textbook formulas; the examples were computed apart from this project's
//! code. A cell of nickel and metal hydride: 1.2 V (IEC 61951-2, from memory).

use trueonset::battery::{
    Battery, BatteryConfig, BatteryPlan, Cells, Chemistry, Load, Observation, Pack, FULL_SHARE,
};

/// Nominal and highest voltage of an IEC letter, mV.
fn published(letter: &str) -> (f64, f64) {
    let table = include_str!("../data/reference/battery_iec60086.csv");
    let row = table
        .lines()
        .find(|line| line.starts_with(&format!("{letter},")))
        .unwrap();
    // Electrolytes may hold a comma: the voltages are counted from the end.
    let mut cells = row.rsplit(',').skip(1);
    let highest: f64 = cells.next().unwrap().parse().unwrap();
    let nominal: f64 = cells.next().unwrap().parse().unwrap();
    (nominal * 1e3, highest * 1e3)
}

#[test]
fn voltages_are_those_of_the_standard() {
    for (chemistry, letter) in [
        (Chemistry::LithiumManganese, "C"),
        (Chemistry::LithiumIron, "F"),
        (Chemistry::Alkaline, "L"),
        (Chemistry::LithiumThionyl, "E"),
    ] {
        let (nominal, highest) = published(letter);
        assert!((f64::from(chemistry.nominal_mv()) - nominal).abs() < 0.5);
        assert!((f64::from(chemistry.highest_mv()) - highest).abs() < 0.5);
        // A new cell does not exceed the standard, and passes its nominal voltage in use.
        let (full, empty) = (chemistry.open_mv(FULL_SHARE), chemistry.open_mv(0));
        assert!(f64::from(full) <= highest);
        assert!((f64::from(empty)..=f64::from(full)).contains(&nominal));
    }
    assert_eq!(Chemistry::Nimh.nominal_mv(), 1_200);
}

/// One cell of 1200 mAh at 22 °C, read exactly.
fn of_one_cell(chemistry: Chemistry, load: Load) -> BatteryConfig {
    BatteryConfig::new(BatteryPlan {
        pack: Pack {
            chemistry,
            cells: 1,
            capacity_uah: 1_200_000,
        },
        load,
        reading_mv: 0,
        coldest_decicelsius: 220,
        stale_s: 60,
    })
    .unwrap()
}

/// A reading at rest and under a pulse of that load, mV.
fn observe(
    battery: &mut Battery,
    config: &BatteryConfig,
    at_s: u32,
    (rest_mv, loaded_mv): (u32, u32),
    cells: Cells,
) {
    let seen = Observation {
        at_s,
        rest_mv,
        loaded_mv,
        pulse_ua: config.plan().load.pulse_ua,
        decicelsius: 220,
        counter_uah: 0,
        rested_s: 0,
        cells,
    };
    battery.observe(config, &seen);
}

/// 3.52 V at 4 mA and 3.34 V at 40 mA: 5 ohms, and 3.54 V without load.
#[test]
fn two_steps_of_current_give_resistance_and_open_voltage() {
    let load = Load {
        base_ua: 4_000,
        measuring_ua: 4_000,
        least_duty_permille: 0,
        most_duty_permille: 0,
        pulse_ua: 36_000,
        stop_mv: 2_000,
    };
    let config = of_one_cell(Chemistry::LithiumThionyl, load);
    let mut battery = Battery::new(&config, None);
    for at_s in 0..8 {
        observe(&mut battery, &config, at_s, (3_520, 3_340), Cells::Unknown);
    }
    // Cells of which nothing is known teach anew each time.
    assert_eq!(battery.state(&config, 8).milliohms, None);
    for at_s in 8..16 {
        observe(&mut battery, &config, at_s, (3_520, 3_340), Cells::Same);
    }
    let state = battery.state(&config, 16);
    assert_eq!(state.milliohms, Some(5_000));
    // The charge told is that of 3.54 V, 20 mV up and down, with 15 % of the capacity.
    let error = u32::from(config.plan().pack.chemistry.error_mv());
    let share = |mv| u64::from(Chemistry::LithiumThionyl.share_left(mv, 1));
    let charge = |mv, percent: u64| share(mv) * 120 * percent / 100;
    let near = |found: u32, expected: u64| u64::from(found).abs_diff(expected) <= 2;
    assert!(
        near(state.charge_uah.0, charge(3_540 - error, 85)),
        "{state:?}"
    );
    assert!(
        near(state.charge_uah.1, charge(3_540 + error, 115)),
        "{state:?}"
    );
}

/// 5 uA asleep and 20 mA for 2 ms each second are 45 uA, and 1200 mAh last 26 667 h of it.
#[test]
fn mean_current_and_life_are_those_of_the_formula() {
    let load = Load {
        base_ua: 5,
        // 2 ms a second are 2 permille of the time; the pulse stands beside the sleep.
        measuring_ua: 20_005,
        least_duty_permille: 2,
        most_duty_permille: 2,
        pulse_ua: 20_000,
        stop_mv: 1_000,
    };
    assert_eq!(load.mean_ua(2), 45);
    let config = of_one_cell(Chemistry::LithiumManganese, load);
    let mut battery = Battery::new(&config, None);
    for at_s in 0..8 {
        let cells = if at_s == 0 { Cells::New } else { Cells::Same };
        observe(&mut battery, &config, at_s, (3_200, 3_190), cells);
    }
    let (least, most) = battery.state(&config, 8).hours();
    // 15 % of the capacity and 6 % of the current about the formula, rounded to uA.
    let formula = 1_200_000.0 / 45.0;
    assert!(f64::from(least) > formula * 0.85 / 1.06 * 0.96, "{least}");
    assert!(f64::from(least) < formula && formula < f64::from(most));
    assert!(f64::from(most) < formula * 1.15 / 0.94 * 1.03, "{most}");
}
