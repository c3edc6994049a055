//! What voltages tell: an open voltage, a resistance, and with them how long the cells last.

use super::chemistry::FULL_SHARE;
use super::{BatteryConfig, BatteryState, Cells, Observation, Reasons, StoredCharge};

/// What the capacity of a pack may differ by, %.
const CAPACITY_PERCENT: u64 = 15;
/// What counted charge and stated currents may differ by, %.
const GAIN_PERCENT: u64 = 6;
/// Readings that a resistance is averaged over, as a power of two.
const AVERAGE_BITS: u32 = 3;
/// Readings from which on a resistance counts as learned.
const LEARNED: u8 = 4;
/// Rest after which cells that passivate sag, s.
const PASSIVE_S: u32 = 3_600;
/// A resistance above so many typical ones is none of these cells.
const MOST_TYPICAL: u32 = 16;

/// A reading of the voltage, taken to no load.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Reading {
    at_s: u32,
    open_mv: u32,
    decicelsius: i16,
    low: bool,
    sagged: bool,
    /// The sag makes no resistance of these cells.
    far: bool,
}

/// The resistance at 22 °C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Resistance {
    milliohms_sum: u32,
    readings: u8,
}

/// What readings of the voltage have left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Voltage {
    newest: Option<Reading>,
    resistance: Resistance,
}

impl Voltage {
    /// Before the first reading.
    pub(super) const NONE: Self = Self {
        newest: None,
        resistance: Resistance::NONE,
    };

    /// Takes a pair of readings.
    pub(super) fn observe(&mut self, config: &BatteryConfig, seen: &Observation) {
        let plan = config.plan();
        if seen.cells != Cells::Same {
            self.resistance = Resistance::NONE;
        }
        let chemistry = plan.pack.chemistry;
        let sagged = chemistry.passivates() && seen.rested_s >= PASSIVE_S;
        let far = !sagged && !self.resistance.learn(config, seen);
        if far {
            self.resistance = Resistance::NONE;
        }
        let milliohms = u64::from(self.resistance.mean().unwrap_or(0));
        let now = milliohms * u64::from(chemistry.cold_permille(seen.decicelsius)) / 1_000;
        let base_mv = now * u64::from(plan.load.base_ua) / 1_000_000;
        self.newest = Some(Reading {
            at_s: seen.at_s,
            open_mv: seen.rest_mv.saturating_add(narrow(base_mv)),
            decicelsius: seen.decicelsius,
            low: seen.loaded_mv < plan.load.stop_mv,
            sagged,
            far,
        });
    }

    /// What is known at `now_s`, of the clock of the readings, with what is known of the charge.
    pub(super) fn state(
        &self,
        config: &BatteryConfig,
        charge: Option<StoredCharge>,
        now_s: u32,
    ) -> BatteryState {
        let plan = config.plan();
        let (chemistry, cells) = (plan.pack.chemistry, plan.pack.cells);
        let milliohms = self.resistance.learned();
        let mut reasons = Reasons::NONE;
        reasons.insert_if(Reasons::NO_RESISTANCE, milliohms.is_none());
        reasons.insert_if(Reasons::UNKNOWN_CHARGE, charge.is_none());
        let mut voltage = (0, FULL_SHARE);
        if let Some(reading) = self.newest {
            let doubt = config.error_mv() + u32::from(plan.reading_mv);
            let most = u32::from(chemistry.highest_mv()) * u32::from(cells);
            let (coldest, warmest) = chemistry.between_decicelsius();
            let range = coldest.max(plan.coldest_decicelsius)..=warmest;
            let age_s = now_s.wrapping_sub(reading.at_s);
            reasons.insert_if(Reasons::STALE, age_s >= plan.stale_s);
            reasons.insert_if(Reasons::TEMPERATURE, !range.contains(&reading.decicelsius));
            reasons.insert_if(Reasons::WRONG_CELLS, reading.open_mv > most + doubt);
            reasons.insert_if(Reasons::PASSIVATION, reading.sagged);
            reasons.insert_if(Reasons::LOW_NOW, reading.low && !reading.sagged);
            reasons.insert_if(Reasons::LOW_AFTER_REST, reading.low && reading.sagged);
            reasons.insert_if(Reasons::CONTACT, reading.far);
            voltage = (
                chemistry.share_left(reading.open_mv.saturating_sub(doubt), cells),
                chemistry.share_left(reading.open_mv.saturating_add(doubt), cells),
            );
        } else {
            reasons.insert(Reasons::NO_READING);
        }
        let reserve = milliohms.map_or(0, |milliohms| reserve(config, milliohms, voltage.1));
        let charge_uah = bounds(config, charge, voltage, 0, &mut reasons);
        let least = bounds(config, charge, voltage, reserve, &mut reasons).0;
        let load = &plan.load;
        // Most current by least charge, and the other way round.
        let hungry = load.mean_ua(load.most_duty_permille) * (100 + GAIN_PERCENT) / 100;
        let frugal = load.mean_ua(load.least_duty_permille) * (100 - GAIN_PERCENT) / 100;
        // What may have been used since the reading, and what was at least.
        let age_s = self
            .newest
            .map_or(0, |newest| now_s.wrapping_sub(newest.at_s));
        let since = |ua: u64| ua.saturating_mul(u64::from(age_s));
        let after = |(low, high): (u32, u32)| {
            (
                low.saturating_sub(narrow(since(hungry).div_ceil(3_600))),
                high.saturating_sub(narrow(since(frugal) / 3_600)),
            )
        };
        let usable_uah = after((least, charge_uah.1));
        let charge_uah = after(charge_uah);
        BatteryState {
            charge_uah,
            usable_uah,
            lasts_s: (
                seconds(usable_uah.0, hungry.saturating_add(1)),
                seconds(usable_uah.1.saturating_add(1), frugal),
            ),
            milliohms,
            reasons,
        }
    }
}

impl Resistance {
    const NONE: Self = Self {
        milliohms_sum: 0,
        readings: 0,
    };

    /// Takes a pair of readings; whether it makes a resistance that these cells may have. Without a
    /// pulse it makes none, and says nothing against them.
    fn learn(&mut self, config: &BatteryConfig, seen: &Observation) -> bool {
        let pack = &config.plan().pack;
        let sag = u64::from(seen.rest_mv.saturating_sub(seen.loaded_mv));
        let cold = u64::from(pack.chemistry.cold_permille(seen.decicelsius));
        let now = (sag * 1_000_000).checked_div(u64::from(seen.pulse_ua));
        let warm = now.and_then(|now| (now * 1_000).checked_div(cold));
        let typical = pack.chemistry.typical_milliohms() * u32::from(pack.cells);
        let most = u64::from(typical * MOST_TYPICAL);
        let Some(warm) = warm else { return true };
        if warm > most {
            return false;
        }
        let found = narrow(warm);
        if self.readings == 0 {
            self.milliohms_sum = found << AVERAGE_BITS;
        } else {
            let mean = self.milliohms_sum >> AVERAGE_BITS;
            self.milliohms_sum = self
                .milliohms_sum
                .saturating_sub(mean)
                .saturating_add(found);
        }
        self.readings = self.readings.saturating_add(1);
        true
    }

    /// The mean of what was read, mΩ.
    fn mean(&self) -> Option<u32> {
        (self.readings > 0).then_some(self.milliohms_sum >> AVERAGE_BITS)
    }

    /// The mean once it is one of enough readings.
    fn learned(&self) -> Option<u32> {
        self.mean().filter(|_| self.readings >= LEARNED)
    }
}

/// Charge above a share `floor` of the table, at least and at most, µAh.
fn bounds(
    config: &BatteryConfig,
    charge: Option<StoredCharge>,
    (low, high): (u32, u32),
    floor: u32,
    reasons: &mut Reasons,
) -> (u32, u32) {
    let pack = &config.plan().pack;
    let capacity = u64::from(pack.capacity_uah);
    let of_share = |share: u32, percent: u64| {
        let part = capacity * u64::from(share.saturating_sub(floor));
        part / u64::from(FULL_SHARE) * percent / 100
    };
    let by_voltage = (
        of_share(low, 100 - CAPACITY_PERCENT),
        of_share(high, 100 + CAPACITY_PERCENT).saturating_add(1),
    );
    let Some(used) = charge else {
        return (narrow(by_voltage.0), narrow(by_voltage.1));
    };
    let (counted, unseen) = (u64::from(used.used_uah), u64::from(used.unseen_uah));
    let all = of_share(FULL_SHARE, 100);
    let parts = (all * CAPACITY_PERCENT / 100, counted * GAIN_PERCENT / 100);
    // Added, not by squares: a small pack whose counter shows too little has both at once.
    let doubt = parts.0 + parts.1 + 1;
    let left = |more: u64, less: u64| more.saturating_sub(less);
    let by_charge = (
        left(all, counted + unseen + doubt),
        left(all + doubt, counted),
    );
    let high = by_voltage.1.min(by_charge.1);
    if by_charge.0 > by_voltage.1 || by_voltage.0 > by_charge.1 {
        reasons.insert(Reasons::ODD_CELL);
        let odd = (by_voltage.0.min(by_charge.1), by_voltage.1);
        return (narrow(odd.0), narrow(odd.1));
    }
    let low = if pack.chemistry.leaks() {
        by_voltage.0
    } else {
        by_voltage.0.max(by_charge.0)
    };
    (narrow(low), narrow(high))
}

/// Least share of the charge (0.01 %) at which the electronics still go on in the worst of cases.
fn reserve(config: &BatteryConfig, milliohms: u32, seen: u32) -> u32 {
    // More charge is never worse: halving finds the border.
    let (mut dead, mut alive) = (0, FULL_SHARE);
    if config.bears(milliohms, seen, 0) {
        return 0;
    }
    for _ in 0..14 {
        let middle = dead + (alive - dead) / 2;
        if config.bears(milliohms, seen, middle) {
            alive = middle;
        } else {
            dead = middle;
        }
    }
    alive
}

/// How long a charge lasts, s.
fn seconds(uah: u32, ua: u64) -> u32 {
    (u64::from(uah) * 3_600)
        .checked_div(ua)
        .map_or(u32::MAX, narrow)
}

fn narrow(wide: u64) -> u32 {
    u32::try_from(wide).unwrap_or(u32::MAX)
}
