//! The cells of a probe, looked at once a second.

use super::voltage::Voltage;
use super::{BatteryConfig, Cells, Observation, Verdict};
use crate::frame::SlowValue;
use crate::time::{Instant, TickRate};

/// What a look at the cells reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct CellReading {
    /// Voltage under the base current, mV.
    pub rest_mv: u16,
    /// Voltage at the end of a pulse of the plan's current, mV.
    pub loaded_mv: u16,
    /// Temperature of the cells, 0.1 °C.
    pub decicelsius: i16,
}

/// What a look has found, for the frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct CellLook {
    /// Both voltages by turns.
    pub slow: SlowValue,
    /// The cells do not surely last the run, for [`Signs::look`](crate::frame::Signs).
    pub look: bool,
}

/// A [`Battery`](super::Battery) that only measures voltages: nothing counts the charge used, and
/// nothing is stored.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Watch {
    voltage: Voltage,
    rate: TickRate,
    run_s: u32,
    looked_s: Option<u32>,
}

impl Watch {
    /// For runs of `run_s` that the cells should last, on a clock that counts ticks of `rate`.
    #[must_use]
    pub const fn new(rate: TickRate, run_s: u32) -> Self {
        Self {
            voltage: Voltage::NONE,
            rate,
            run_s,
            looked_s: None,
        }
    }

    /// Once a second calls `read` and tells of it, in between `None`. Call it after a frame was
    /// sent, when the voltage under load was converted.
    #[inline(never)]
    pub fn look(
        &mut self,
        config: &BatteryConfig,
        now: Instant,
        read: impl FnOnce() -> CellReading,
    ) -> Option<CellLook> {
        let now_s = now.ticks().checked_div(u64::from(self.rate.hz()))? as u32;
        if self.looked_s.replace(now_s) == Some(now_s) {
            return None;
        }
        let read = read();
        let slow = if now_s & 1 == 0 {
            SlowValue::RestMillivolts(read.rest_mv)
        } else {
            SlowValue::LoadedMillivolts(read.loaded_mv)
        };
        let seen = Observation {
            at_s: now_s,
            rest_mv: read.rest_mv.into(),
            loaded_mv: read.loaded_mv.into(),
            pulse_ua: config.plan().load.pulse_ua,
            decicelsius: read.decicelsius,
            counter_uah: 0,
            rested_s: 0,
            cells: Cells::Same,
        };
        self.voltage.observe(config, &seen);
        let lasts = self.voltage.state(config, None, now_s).lasts(self.run_s);
        let look = lasts != Verdict::Yes;
        Some(CellLook { slow, look })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{BatteryPlan, Chemistry, Load, Pack};
    use super::*;

    const CELLS: BatteryConfig = crate::checked!(BatteryConfig::new(BatteryPlan {
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

    /// Looks every tenth of a second for `s` seconds; the newest word, and how many there were.
    fn looks(watch: &mut Watch, s: u64, rest_mv: u16, loaded_mv: u16) -> (Option<bool>, u32) {
        let (mut newest, mut count) = (None, 0);
        for tenth in 0..10 * s {
            let now = Instant::from_ticks(tenth * 100);
            let read = || CellReading {
                rest_mv,
                loaded_mv,
                decicelsius: 220,
            };
            if let Some(found) = watch.look(&CELLS, now, read) {
                let told = match found.slow {
                    SlowValue::RestMillivolts(told) => (told == rest_mv, tenth % 20 == 0),
                    SlowValue::LoadedMillivolts(told) => (told == loaded_mv, tenth % 20 == 10),
                    _ => (false, false),
                };
                assert_eq!(told, (true, true), "{tenth}");
                newest = Some(found.look);
                count += 1;
            }
        }
        (newest, count)
    }

    #[test]
    fn fresh_cells_last_a_shift_and_low_ones_are_to_be_looked_at() {
        let rate = TickRate::from_hz(1_000).unwrap();
        let mut watch = Watch::new(rate, 8 * 3_600);
        assert_eq!(looks(&mut watch, 30, 3_180, 3_160), (Some(false), 30));
        let mut watch = Watch::new(rate, 8 * 3_600);
        assert_eq!(looks(&mut watch, 30, 2_300, 2_100), (Some(true), 30));
    }
}
