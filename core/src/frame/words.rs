//! What the fields of a frame mean.

use crate::flags::Flags;
use crate::onset;

/// A place in the life of a probe: its starts, and the slots since the last one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Mark {
    /// Number of the start, 24 bits.
    pub boot: u32,
    /// Slots since, 40 bits: 34 years of 1 ms.
    pub slot: u64,
}

impl Mark {
    /// The last start there is; a probe that has reached it needs a new key.
    pub const LAST_BOOT: u32 = (1 << 24) - 1;
    /// The last slot there is.
    pub const LAST_SLOT: u64 = (1 << 40) - 1;
}

/// Kind of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Kind {
    /// With the age of the newest edge.
    Normal = 0,
    /// With the age of the edge before the newest.
    Older = 1,
    /// With what a receiver cannot guess: the whole slot and the boot number.
    Hello = 2,
}

/// What the probe sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Contact {
    /// No contact.
    Open = 0,
    /// Contact.
    Touched = 1,
    /// An edge is being confirmed.
    Between = 2,
    /// The probe cannot tell.
    Fault = 3,
}

impl Contact {
    pub(super) const fn of(bits: u64) -> Self {
        match bits & 3 {
            0 => Self::Open,
            1 => Self::Touched,
            2 => Self::Between,
            _ => Self::Fault,
        }
    }
}

/// How clean an edge was.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Quality {
    /// One edge, or chatter as the noise explains it.
    #[default]
    Clean = 0,
    /// It bounced.
    Bounced = 1,
    /// It took long to settle.
    Slow = 2,
    /// Its onset is not to be relied upon.
    Doubtful = 3,
}

impl Quality {
    /// Of a confirmed edge.
    #[must_use]
    pub const fn of_contact(contact: &onset::Contact) -> Self {
        const SLOW: Flags = Flags::ROUGH.union(Flags::VIBRATION);
        if contact.flags.has(Flags::FAULTS) {
            Self::Doubtful
        } else if contact.flags.has(Flags::FLUTTER) {
            Self::Bounced
        } else if contact.flags.has(SLOW) {
            Self::Slow
        } else {
            Self::Clean
        }
    }

    pub(super) const fn of(bits: u64) -> Self {
        match bits & 3 {
            0 => Self::Clean,
            1 => Self::Bounced,
            2 => Self::Slow,
            _ => Self::Doubtful,
        }
    }
}

/// Signs that every frame carries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Signs {
    /// The probe measures; else it stands by, beats are rare and READY stays down.
    pub measuring: bool,
    /// A slow value is out of order: cell low, rest light low.
    pub look: bool,
    /// The light-off self-test failed.
    pub self_test_failed: bool,
}

/// A value that changes slowly; one travels in each frame, in turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum SlowValue {
    /// Voltage of the battery at rest, mV, up to 4095.
    RestMillivolts(u16),
    /// The same under the load of a pulse.
    LoadedMillivolts(u16),
    /// Rest light against that of a clean lens, ‰.
    RestLightPermille(u16),
    /// Temperature, °C + 100, at most 4095.
    TemperatureAbove100C(u16),
    /// Charge used since the battery was new, mAh.
    UsedMilliampHours(u16),
    /// Not known to this version.
    Other(u8, u16),
}

impl SlowValue {
    pub(super) const fn bits(self) -> u16 {
        let (which, value) = match self {
            Self::RestMillivolts(value) => (0, value),
            Self::LoadedMillivolts(value) => (1, value),
            Self::RestLightPermille(value) => (2, value),
            Self::TemperatureAbove100C(value) => (3, value),
            Self::UsedMilliampHours(value) => (4, value),
            Self::Other(which, value) => (which as u16 & 15, value),
        };
        which << 12 | if value > 0xFFF { 0xFFF } else { value }
    }

    pub(super) const fn of(bits: u16) -> Self {
        let value = bits & 0xFFF;
        match bits >> 12 {
            0 => Self::RestMillivolts(value),
            1 => Self::LoadedMillivolts(value),
            2 => Self::RestLightPermille(value),
            3 => Self::TemperatureAbove100C(value),
            4 => Self::UsedMilliampHours(value),
            which => Self::Other(which as u8, value),
        }
    }
}
