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
mod voltage;
mod watch;

pub use chemistry::{Chemistry, FULL_SHARE};
pub use config::{BatteryConfig, BatteryConfigError, BatteryPlan, Load, Pack};
pub use counter::{ChargeWrite, StoredCharge};
pub use reasons::Reasons;
pub use state::{BatteryState, Verdict};
pub use watch::{CellLook, CellReading, Watch};

use counter::Used;
use voltage::Voltage;

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

/// A battery in use. One a pack; O(1) a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Battery {
    voltage: Voltage,
    used: Used,
}

impl Battery {
    /// After a start, with what was stored last; `None`: nothing, or of cells that are not known.
    /// What may have been used between that store and the start is counted as unseen.
    #[must_use]
    pub fn new(config: &BatteryConfig, stored: Option<StoredCharge>) -> Self {
        Self {
            voltage: Voltage::NONE,
            used: Used::new(stored, step_uah(config)),
        }
    }

    /// Takes a pair of readings.
    pub fn observe(&mut self, config: &BatteryConfig, seen: &Observation) {
        self.used.count(seen.counter_uah);
        if seen.cells != Cells::Same {
            self.used.changed(seen.cells == Cells::New);
        }
        self.voltage.observe(config, seen);
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
        self.voltage.state(config, self.used.charge, now_s)
    }
}

/// Charge used from one store to the next, µAh.
fn step_uah(config: &BatteryConfig) -> u32 {
    config.plan().pack.capacity_uah / STORES
}
