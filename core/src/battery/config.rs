//! What a user says of pack, load and readings, checked once.

use super::chemistry::Chemistry;

/// Cells in series that a pack may have.
const MOST_CELLS: u8 = 16;

/// The cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Pack {
    /// What they are made of.
    pub chemistry: Chemistry,
    /// How many are in series, 1 to 16.
    pub cells: u8,
    /// Charge of the new pack down to the empty end of the table, µAh.
    pub capacity_uah: u32,
}

/// What the electronics draw, and what they need.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Load {
    /// Mean current while standing by, µA; the voltage at rest is taken under it.
    pub base_ua: u32,
    /// Mean current while measuring, µA.
    pub measuring_ua: u32,
    /// Least share of the time spent measuring, over a run, ‰.
    pub least_duty_permille: u16,
    /// Greatest share of the time spent measuring, over a run, ‰.
    pub most_duty_permille: u16,
    /// Current of a pulse, µA: the greatest the cells must bear.
    pub pulse_ua: u32,
    /// Voltage below which the electronics stop, mV.
    pub stop_mv: u32,
}

impl Load {
    /// Mean current, µA, at a duty in ‰.
    #[must_use]
    pub const fn mean_ua(&self, duty_permille: u16) -> u64 {
        let more = self.measuring_ua.saturating_sub(self.base_ua) as u64;
        self.base_ua as u64 + more * duty_permille as u64 / 1_000
    }
}

/// What else counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct BatteryPlan {
    /// The cells.
    pub pack: Pack,
    /// What they feed.
    pub load: Load,
    /// How far a reading of the voltage may be off, mV: three standard deviations.
    pub reading_mv: u16,
    /// Coldest that the cells get in a run, 0.1 °C.
    pub coldest_decicelsius: i16,
    /// Age from which a reading is stale, s.
    pub stale_s: u32,
}

/// The rule that a plan breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum BatteryConfigError {
    /// Not 1 to 16 cells.
    Cells,
    /// A capacity outside 1 mAh to 100 Ah.
    Capacity,
    /// No current while standing by, less while measuring, or more than 10 A.
    Current,
    /// No pulse, or one above 10 A: nothing would be learned of the resistance.
    Pulse,
    /// The least duty is above the greatest, or that above 1000 ‰.
    Duty,
    /// Readings that tell less than half a volt a cell from the next.
    Reading,
    /// The coldest temperature lies outside the table of the chemistry.
    Temperature,
    /// The electronics need nothing, or more than full cells give at the coldest under a pulse.
    Stop,
    /// Readings stale at once, or only after 30 days.
    Stale,
}

impl core::fmt::Display for BatteryConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Cells => "cells are not 1 to 16 in series",
            Self::Capacity => "capacity is not within 1 mAh to 100 Ah",
            Self::Current => "currents are not 0 < base <= measuring <= 10 A",
            Self::Pulse => "pulse is not above 0 and up to 10 A",
            Self::Duty => "duties are not least <= most <= 1000 permille",
            Self::Reading => "doubt of a reading is half a volt or more",
            Self::Temperature => "coldest is outside the table of the chemistry",
            Self::Stop => "stop is 0, or full cells fall below it under a pulse when coldest",
            Self::Stale => "stale is not within 1 s to 30 days",
        })
    }
}

impl core::error::Error for BatteryConfigError {}

/// A plan that can be told something about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BatteryConfig {
    plan: BatteryPlan,
}

impl BatteryConfig {
    /// Checks a plan.
    ///
    /// # Errors
    /// The first broken rule, [`BatteryConfigError`].
    pub const fn new(plan: BatteryPlan) -> Result<Self, BatteryConfigError> {
        use BatteryConfigError as E;
        const MOST_UA: u32 = 10_000_000;
        let BatteryPlan { pack, load, .. } = plan;
        if pack.cells == 0 || pack.cells > MOST_CELLS {
            return Err(E::Cells);
        }
        if pack.capacity_uah < 1_000 || pack.capacity_uah > 100_000_000 {
            return Err(E::Capacity);
        }
        let falls = load.measuring_ua < load.base_ua;
        if load.base_ua == 0 || falls || load.measuring_ua > MOST_UA {
            return Err(E::Current);
        }
        if load.pulse_ua == 0 || load.pulse_ua > MOST_UA {
            return Err(E::Pulse);
        }
        if load.least_duty_permille > load.most_duty_permille || load.most_duty_permille > 1_000 {
            return Err(E::Duty);
        }
        if plan.reading_mv >= 500 {
            return Err(E::Reading);
        }
        let (coldest, warmest) = pack.chemistry.between_decicelsius();
        if plan.coldest_decicelsius < coldest || plan.coldest_decicelsius > warmest {
            return Err(E::Temperature);
        }
        if plan.stale_s == 0 || plan.stale_s > 30 * 86_400 {
            return Err(E::Stale);
        }
        let config = Self { plan };
        let typical = pack.chemistry.typical_milliohms() * pack.cells as u32;
        let full = super::chemistry::FULL_SHARE;
        if load.stop_mv == 0 || !config.bears(typical, full, full) {
            return Err(E::Stop);
        }
        Ok(config)
    }

    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &BatteryPlan {
        &self.plan
    }

    /// What the pack's voltage may differ from the table by, mV.
    pub(super) const fn error_mv(&self) -> u32 {
        let pack = &self.plan.pack;
        pack.chemistry.error_mv() as u32 * pack.cells as u32
    }

    /// Whether a pulse leaves the electronics enough with `share` of the charge left, when a
    /// resistance of `milliohms` (at 22 °C) was found at `seen`, in the worst of cases.
    pub(super) const fn bears(&self, milliohms: u32, seen: u32, share: u32) -> bool {
        let BatteryPlan { pack, load, .. } = self.plan;
        let chemistry = pack.chemistry;
        // 1.25: what the resistance may differ from what was learned. Worn is 1000 or more.
        let worst = milliohms as u64 * 5 / 4 * chemistry.worn_permille(share) as u64
            / chemistry.worn_permille(seen) as u64
            * chemistry.cold_permille(self.plan.coldest_decicelsius) as u64
            / 1_000;
        let sag = worst * load.pulse_ua as u64 / 1_000_000;
        let open = chemistry.open_mv(share) as u64 * pack.cells as u64;
        open >= sag + self.error_mv() as u64 + load.stop_mv as u64
    }
}
