//! Cells: discharged, rested, changed, looked at too late, with readings that cannot be.

use core::fmt::Write;

use trueonset::battery::{
    Battery, BatteryConfig, BatteryConfigError, BatteryPlan, Cells, Chemistry, Load, Observation,
    Pack, StoredCharge,
};

use crate::{tell, Draw};

/// A pack and its gauge.
pub(crate) struct Room {
    config: Option<BatteryConfig>,
    battery: Option<Battery>,
    now_s: u32,
    used_uah: u32,
    rest_mv: u32,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        let config = checked(draw).ok();
        Self {
            battery: config.map(|config| Battery::new(&config, None)),
            config,
            now_s: 0,
            used_uah: 0,
            rest_mv: 3_100,
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        if draw.one_in(16) {
            table(draw, told);
        }
        let (Some(config), Some(battery), false) =
            (&self.config, &mut self.battery, draw.one_in(700))
        else {
            return self.renew(draw, told);
        };
        self.now_s = self.now_s.wrapping_add(draw.of([1, 1, 10, 600, 90_000]));
        self.used_uah = self.used_uah.wrapping_add(draw.below(6_000));
        self.rest_mv = (self.rest_mv - draw.below(4).min(self.rest_mv)).max(1_500);
        let mut seen = Observation {
            at_s: self.now_s,
            rest_mv: self.rest_mv + draw.below(20),
            loaded_mv: self.rest_mv.saturating_sub(draw.below(250)),
            pulse_ua: draw.of([20_000, 60_000, 0]),
            decicelsius: draw.about(400) as i16,
            counter_uah: self.used_uah,
            rested_s: draw.of([0, 0, 60, 40_000]),
            cells: Cells::Same,
        };
        match draw.below(256) {
            0 => (seen.cells, self.rest_mv) = (Cells::New, 3_200),
            1 => seen.cells = Cells::Unknown,
            2 => seen.rest_mv = draw.any32(),
            3 => seen.at_s = draw.any32(),
            4 => seen.counter_uah = draw.any32(),
            5 => seen.loaded_mv = draw.sized32(),
            _ => {}
        }
        battery.observe(config, &seen);
        let state = battery.state(config, self.now_s);
        tell!(told, state, state.hours(), state.lasts(draw.sized32()));
        if let Some(write) = battery.want(config) {
            tell!(told, write);
            battery.stored(write);
        }
    }

    fn renew(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let made = checked(draw);
        tell!(told, made.map(|config| *config.plan()));
        if let Ok(config) = made {
            let stored = draw.yes().then(|| StoredCharge {
                used_uah: draw.below(2_000_000),
                unseen_uah: draw.below(100_000),
            });
            self.battery = Some(Battery::new(&config, stored));
            self.config = Some(config);
            self.now_s = draw.sized32();
        }
    }
}

fn table(draw: &mut Draw, told: &mut impl Write) {
    let chemistry = draw.of(Chemistry::ALL);
    tell!(told, chemistry.open_mv(draw.sized32()));
    tell!(
        told,
        chemistry.share_left(draw.below(8_000), draw.below(5) as u8)
    );
    tell!(told, chemistry.worn_permille(draw.sized32()));
    tell!(told, chemistry.cold_permille(draw.about(800) as i16));
}

fn checked(draw: &mut Draw) -> Result<BatteryConfig, BatteryConfigError> {
    let chemistry = draw.of(Chemistry::ALL);
    let cells = draw.of([1, 2, 2, 3]);
    BatteryConfig::new(BatteryPlan {
        pack: Pack {
            chemistry,
            cells,
            capacity_uah: draw.of([500_000, 2_000_000, 2_500_000, 0]),
        },
        load: Load {
            base_ua: draw.below(2_000) + 1,
            measuring_ua: draw.below(20_000) + 2_000,
            least_duty_permille: draw.below(600) as u16,
            most_duty_permille: draw.of([600, 1_000]),
            pulse_ua: draw.of([60_000, 20_000]),
            stop_mv: draw.of([950, 1_900, 2_400]),
        },
        reading_mv: draw.of([2, 10, 50]),
        coldest_decicelsius: draw.about(200) as i16,
        stale_s: draw.of([60, 3_600]),
    })
}
