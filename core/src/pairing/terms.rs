//! What both sides must agree on besides the key.

use crate::clock::Oscillator;

/// What the probe's slots are timed by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum OscillatorKind {
    /// [`Oscillator::CRYSTAL`].
    Crystal = 1,
    /// [`Oscillator::RC`].
    Rc = 2,
}

impl OscillatorKind {
    /// Its limits.
    #[must_use]
    pub const fn oscillator(self) -> Oscillator {
        match self {
            Self::Crystal => Oscillator::CRYSTAL,
            Self::Rc => Oscillator::RC,
        }
    }

    const fn of(byte: u8) -> Option<Self> {
        match byte {
            1 => Some(Self::Crystal),
            2 => Some(Self::Rc),
            _ => None,
        }
    }
}

/// Number of the probe and shape of its slots.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Terms {
    /// T: from one slot to the next, ns; 0.1 to 100 ms.
    pub slot_ns: u32,
    /// H: from one beat to the next without an edge, slots; not 0.
    pub beat_slots: u16,
    /// The probe's oscillator.
    pub oscillator: OscillatorKind,
}

/// Length of terms in records and messages: slot (4 bytes), beat (2), oscillator (1).
pub(super) const TERMS: usize = 7;

impl Terms {
    pub(super) const fn bytes(self) -> [u8; TERMS] {
        let [a, b, c, d] = self.slot_ns.to_be_bytes();
        let [e, f] = self.beat_slots.to_be_bytes();
        [a, b, c, d, e, f, self.oscillator as u8]
    }

    /// `None` where they are outside their ranges.
    pub(super) fn of(bytes: [u8; TERMS]) -> Option<Self> {
        let [a, b, c, d, e, f, oscillator] = bytes;
        let terms = Self {
            slot_ns: u32::from_be_bytes([a, b, c, d]),
            beat_slots: u16::from_be_bytes([e, f]),
            oscillator: OscillatorKind::of(oscillator)?,
        };
        terms.are_sound().then_some(terms)
    }

    pub(super) const fn are_sound(self) -> bool {
        self.slot_ns >= 100_000 && self.slot_ns <= 100_000_000 && self.beat_slots != 0
    }
}
