//! The cells: looked at once a second, told in the slow values.

use trueonset::battery::{
    Battery, BatteryConfig, BatteryPlan, Cells, Chemistry, Load, Observation, Pack, Verdict,
};
use trueonset::frame::SlowValue;
use trueonset::time::Instant;

use crate::{machine, HZ};

/// For your cells and your electronics: capacity, currents, duties, the voltage they need.
const PLAN: BatteryPlan = BatteryPlan {
    pack: Pack {
        chemistry: Chemistry::Alkaline,
        cells: 2,
        capacity_uah: 2_000_000,
    },
    load: Load {
        base_ua: 1_000,
        measuring_ua: 15_000,
        least_duty_permille: 500,
        most_duty_permille: 1_000,
        pulse_ua: 60_000,
        stop_mv: 1_900,
    },
    reading_mv: 10,
    coldest_decicelsius: 50,
    stale_s: 60,
};
/// A run that the cells should last, s: a shift of eight hours.
const RUN_S: u32 = 8 * 3_600;
/// Until there is a sensor in the holder, 0.1 °C.
const DECICELSIUS: i16 = 220;

/// The gauge, `None` where the plan does not hold: what cannot tell is to be looked at.
pub struct Power {
    gauge: Option<(BatteryConfig, Battery)>,
    looked_s: Option<u32>,
}

impl Power {
    /// After a start: what was used before is not kept here, so it is not known.
    pub fn new() -> Self {
        let config = BatteryConfig::new(PLAN).ok();
        Self {
            gauge: config.map(|config| (config, Battery::new(&config, None))),
            looked_s: None,
        }
    }

    /// Once a second: a slow value, and whether the cells do not surely last the run. Call it
    /// after a frame was sent, when the voltage under load was converted.
    pub fn look(&mut self, now: Instant) -> Option<(SlowValue, bool)> {
        let now_s = (now.ticks() / u64::from(HZ)) as u32;
        if self.looked_s.replace(now_s) == Some(now_s) {
            return None;
        }
        let (rest_mv, loaded_mv) = machine::millivolts();
        let slow = if now_s & 1 == 0 {
            SlowValue::RestMillivolts(rest_mv)
        } else {
            SlowValue::LoadedMillivolts(loaded_mv)
        };
        let Some((config, battery)) = &mut self.gauge else {
            return Some((slow, true));
        };
        let seen = Observation {
            at_s: now_s,
            rest_mv: rest_mv.into(),
            loaded_mv: loaded_mv.into(),
            pulse_ua: PLAN.load.pulse_ua,
            decicelsius: DECICELSIUS,
            // From the start of time at the current of measuring; 15 mA are 25/6 µAh a second.
            counter_uah: now_s.wrapping_mul(25) / 6,
            rested_s: 0,
            cells: Cells::Same,
        };
        battery.observe(config, &seen);
        let lasts = battery.state(config, now_s).lasts(RUN_S);
        Some((slow, lasts != Verdict::Yes))
    }
}
