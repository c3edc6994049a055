//! How long the cells last: by voltage, by charge used and by the resistance learned.
//!
//! ```text
//! rest mV, loaded mV ─▶ R = (rest − loaded) / pulse ─▶ V0 = rest + base·R ─▶ share of table ± e ─┐
//! counter µAh ─▶ capacity − used ± (15 % + 6 % used) ────────────────────────────────────────────┤
//!                            reserve: share at which a pulse, coldest and worst, stops all ──────┴▶ hours
//! ```
//!
//! * [`Chemistry`] holds the tables, [`BatteryConfig`] what the user decides, checked once.
//! * [`Battery::observe`] takes readings, [`Battery::state`] tells [`BatteryState`] at any time.
//! * [`BatteryState::lasts`] says yes, no or cannot tell. A yes needs a fresh reading, a learned
//!   resistance, known cells in the range of their table, and a lower bound above the run.
//! * [`Watch`] is all of it for a probe that only measures voltages.
//!
//! Both charges are counted from the reserve, not from empty: capacity scales them alike. Where
//! voltage and charge disagree the voltage is taken, and the smaller of both bounds the end.
//! So more charge used may raise a lower bound once, where it settles such a contradiction; and
//! one sag at less charge is that of a stiffer pack, whose reserve is smaller.
//! The charge bounds the end only from above for unknown cells and those that leak at rest.
//! Internal resistance from two loads and mean current are textbook arithmetic; 15 % for the
//! capacity, 6 % for the counter and 25 % for the resistance are typical, from memory.
//!
//! A table of another make of cell is not covered: a flat curve hides most of a part-used pack.
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.

mod chemistry;
mod config;
mod counter;
mod reasons;
mod state;
#[cfg(test)]
mod tests;
mod watch;

pub use chemistry::{Chemistry, FULL_SHARE};
pub use config::{BatteryConfig, BatteryConfigError, BatteryPlan, Load, Pack};
pub use counter::{ChargeWrite, StoredCharge};
pub use reasons::Reasons;
pub use state::{BatteryState, Verdict};
pub use watch::{CellLook, CellReading, Watch};

use counter::Used;

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
/// Stores in one capacity.
const STORES: u32 = 256;

/// What is known of the cells in the holder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Cells {
    /// Those of the reading before.
    Same,
    /// Changed for new ones; freshly charged ones where they can be.
    New,
    /// Changed, or perhaps changed, for any.
    Unknown,
}

/// A pair of readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Observation {
    /// When, s of any clock that may wrap.
    pub at_s: u32,
    /// Voltage under the base current, mV.
    pub rest_mv: u32,
    /// Voltage at the end of a pulse, mV.
    pub loaded_mv: u32,
    /// Current of that pulse beside the base current, µA.
    pub pulse_ua: u32,
    /// Temperature of the cells, 0.1 °C.
    pub decicelsius: i16,
    /// Charge used since the power came, µAh; wraps.
    pub counter_uah: u32,
    /// Time without pulses before this one, s.
    pub rested_s: u32,
    /// What is known of the cells.
    pub cells: Cells,
}

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

/// A battery in use. One a pack; O(1) a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Battery {
    newest: Option<Reading>,
    resistance: Resistance,
    used: Used,
}

impl Battery {
    /// After a start, with what was stored last; `None`: nothing, or of cells that are not known.
    /// What may have been used between that store and the start is counted as unseen.
    #[must_use]
    pub fn new(config: &BatteryConfig, stored: Option<StoredCharge>) -> Self {
        Self {
            newest: None,
            resistance: Resistance::NONE,
            used: Used::new(stored, step_uah(config)),
        }
    }

    /// Takes a pair of readings.
    pub fn observe(&mut self, config: &BatteryConfig, seen: &Observation) {
        let plan = config.plan();
        self.used.count(seen.counter_uah);
        if seen.cells != Cells::Same {
            self.used.changed(seen.cells == Cells::New);
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

    /// What is to be stored, if anything; say so by [`stored`](Self::stored) once it is durable.
    #[must_use]
    pub fn want(&self, config: &BatteryConfig) -> Option<ChargeWrite> {
        self.used.want(step_uah(config))
    }

    /// A store is durable.
    pub fn stored(&mut self, write: ChargeWrite) {
        self.used.stored(write);
    }

    /// What is known at `now_s`, of the clock of the readings.
    #[must_use]
    pub fn state(&self, config: &BatteryConfig, now_s: u32) -> BatteryState {
        let plan = config.plan();
        let (chemistry, cells) = (plan.pack.chemistry, plan.pack.cells);
        let milliohms = self.resistance.learned();
        let mut reasons = Reasons::NONE;
        reasons.insert_if(Reasons::NO_RESISTANCE, milliohms.is_none());
        reasons.insert_if(Reasons::UNKNOWN_CHARGE, self.used.charge.is_none());
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
        let charge_uah = self.bounds(config, voltage, 0, &mut reasons);
        let least = self.bounds(config, voltage, reserve, &mut reasons).0;
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

    /// Charge above a share `floor` of the table, at least and at most, µAh.
    fn bounds(
        &self,
        config: &BatteryConfig,
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
        let Some(used) = self.used.charge else {
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

/// Charge used from one store to the next, µAh.
fn step_uah(config: &BatteryConfig) -> u32 {
    config.plan().pack.capacity_uah / STORES
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
