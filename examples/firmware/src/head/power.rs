//! The cells.

use trueonset::battery::{BatteryConfig, BatteryPlan, CellReading, Chemistry, Load, Pack};
use trueonset::checked;

use crate::machine;

/// For your cells and your electronics: capacity, currents, duties, the voltage they need.
pub const CELLS: BatteryConfig = checked!(BatteryConfig::new(BatteryPlan {
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
}));
/// A run that the cells should last, s: a shift of eight hours.
pub const RUN_S: u32 = 8 * 3_600;

/// What the converter shows.
pub fn read() -> CellReading {
    let (rest_mv, loaded_mv) = machine::millivolts();
    CellReading {
        rest_mv,
        loaded_mv,
        // Until there is a sensor in the holder.
        decicelsius: 220,
    }
}
