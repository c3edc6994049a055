//! What stands behind a verdict.

use crate::bits::bit_set;

/// Remarks on a battery, as bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Reasons(u16);

impl Reasons {
    /// Nothing to remark.
    pub const NONE: Self = Self(0);
    /// There is no reading of the voltage.
    pub const NO_READING: Self = Self(1);
    /// The newest reading is too old, or stamped after now.
    pub const STALE: Self = Self(2);
    /// The cells are colder or warmer than their table, or colder than planned.
    pub const TEMPERATURE: Self = Self(4);
    /// A voltage that cells of this kind and number do not have.
    pub const WRONG_CELLS: Self = Self(8);
    /// No resistance has been learned yet.
    pub const NO_RESISTANCE: Self = Self(16);
    /// Voltage and charge used disagree: an odd cell, or another table.
    pub const ODD_CELL: Self = Self(32);
    /// The charge used is not known: nobody said that the cells were new, or the counter ran back.
    pub const UNKNOWN_CHARGE: Self = Self(64);
    /// The sag of the first pulses after a rest is not counted.
    pub const PASSIVATION: Self = Self(128);
    /// The voltage under load has reached what stops the electronics.
    pub const LOW_NOW: Self = Self(256);

    /// A pulse sagged far more than these cells can: a bad contact in the holder, or other cells.
    pub const CONTACT: Self = Self(512);
    /// The first pulse after a rest fell below what stops the electronics: whether the next ones
    /// will is not known.
    pub const LOW_AFTER_REST: Self = Self(1024);

    /// Those that forbid any yes and any no.
    pub(super) const BLIND: Self = Self::NO_READING
        .union(Self::STALE)
        .union(Self::TEMPERATURE)
        .union(Self::WRONG_CELLS)
        .union(Self::NO_RESISTANCE)
        .union(Self::CONTACT)
        .union(Self::LOW_AFTER_REST);

    const WORDS: [&'static str; 11] = [
        "no reading",
        "reading is stale",
        "temperature outside the table or below the plan",
        "wrong cells for this table",
        "resistance not learned yet",
        "odd cell: voltage and charge disagree",
        "charge used is not known",
        "sag after a rest not counted",
        "voltage under load is too low now",
        "sag far beyond these cells: contacts, or other cells",
        "voltage under load too low after a rest",
    ];
}

bit_set!(Reasons, words);
