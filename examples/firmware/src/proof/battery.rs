//! The battery gauge, every entry, with arguments that nobody knows.

use core::fmt::Write;
use core::hint::black_box;

use trueonset::battery::{
    Battery, BatteryConfig, BatteryPlan, CellReading, Cells, Chemistry, Load, Observation, Pack,
    StoredCharge, Watch,
};

use super::{any, instant, rate, Nowhere};

fn plan(chemistry: Chemistry) -> BatteryPlan {
    BatteryPlan {
        pack: Pack {
            chemistry,
            cells: any() as u8,
            capacity_uah: any(),
        },
        load: Load {
            base_ua: any(),
            measuring_ua: any(),
            least_duty_permille: any() as u16,
            most_duty_permille: any() as u16,
            pulse_ua: any(),
            stop_mv: any(),
        },
        reading_mv: any() as u16,
        coldest_decicelsius: any() as i16,
        stale_s: any(),
    }
}

/// All of it.
pub(crate) fn all() {
    let chemistry = Chemistry::ALL[any() as usize % 5];
    black_box((chemistry.nominal_mv(), chemistry.highest_mv()));
    black_box((chemistry.error_mv(), chemistry.typical_milliohms()));
    black_box((chemistry.between_decicelsius(), chemistry.leaks()));
    black_box((chemistry.passivates(), chemistry.open_mv(any())));
    black_box(chemistry.share_left(any(), any() as u8));
    black_box(chemistry.worn_permille(any()));
    black_box(chemistry.cold_permille(any() as i16));
    let read = || CellReading {
        rest_mv: any() as u16,
        loaded_mv: any() as u16,
        decicelsius: any() as i16,
    };
    match BatteryConfig::new(plan(chemistry)) {
        Ok(config) => {
            black_box(Watch::new(rate(), any()).look(&config, instant(), read));
            gauge(&config);
        }
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
}

fn gauge(config: &BatteryConfig) {
    black_box(config.plan().load.mean_ua(any() as u16));
    let stored = (any() == 0).then(|| StoredCharge {
        used_uah: any(),
        unseen_uah: any(),
    });
    let mut battery = Battery::new(config, stored);
    while any() != 0 {
        let seen = Observation {
            at_s: any(),
            rest_mv: any(),
            loaded_mv: any(),
            pulse_ua: any(),
            decicelsius: any() as i16,
            counter_uah: any(),
            rested_s: any(),
            cells: [Cells::Same, Cells::New, Cells::Unknown][any() as usize % 3],
        };
        battery.observe(config, &seen);
        let state = battery.state(config, any());
        black_box((state.hours(), state.lasts(any()), state));
        for word in state.reasons.words() {
            black_box(word);
        }
        if let Some(write) = battery.want(config) {
            battery.stored(write);
        }
    }
}
