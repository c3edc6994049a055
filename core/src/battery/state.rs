//! What is known of a battery at an instant.

use super::Reasons;

/// Whether the battery lasts a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Verdict {
    /// It lasts, by everything that bounds it.
    Yes,
    /// It does not last, by everything that bounds it, or has ended.
    No,
    /// Neither is sure: treat it as no.
    CannotTell,
}

/// Bounds of charge and time, what was learned, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct BatteryState {
    /// Charge left at least and at most, µAh; down to the empty end of the table.
    pub charge_uah: (u32, u32),
    /// The part of it that the electronics can use at least and at most, µAh.
    pub usable_uah: (u32, u32),
    /// Time it lasts at least and at most, s; saturates after 136 years.
    pub lasts_s: (u32, u32),
    /// Resistance of the pack at 22 °C, mΩ, once learned.
    pub milliohms: Option<u32>,
    /// What stands behind it.
    pub reasons: Reasons,
}

impl BatteryState {
    /// Hours it lasts at least (rounded down) and at most (rounded up).
    #[must_use]
    pub const fn hours(&self) -> (u32, u32) {
        (self.lasts_s.0 / 3_600, self.lasts_s.1.div_ceil(3_600))
    }

    /// Whether the voltage under load was below what stops the electronics when it was read last:
    /// what they say is not to be relied upon until another reading says otherwise.
    #[must_use]
    pub const fn is_low(&self) -> bool {
        self.reasons
            .has(Reasons::LOW_NOW.union(Reasons::LOW_AFTER_REST))
    }

    /// Whether it lasts a run of so many seconds.
    #[must_use]
    pub const fn lasts(&self, run_s: u32) -> Verdict {
        if self.reasons.has(Reasons::BLIND) {
            Verdict::CannotTell
        } else if self.reasons.contains(Reasons::LOW_NOW) || self.lasts_s.1 < run_s {
            Verdict::No
        } else if self.lasts_s.0 >= run_s {
            Verdict::Yes
        } else {
            Verdict::CannotTell
        }
    }
}
