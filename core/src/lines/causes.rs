//! Why the line is held at stop until it is armed again.

use crate::bits::bit_set;

/// Causes of a latch, as bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Causes(u8);

impl Causes {
    /// Nothing latched.
    pub const NONE: Self = Self(0);
    /// Edges out of sequence: one was missed, came without its time, or numbers ran back.
    pub const SEQUENCE: Self = Self(1);
    /// A touch that was late, contradicted itself or stood beyond the bound.
    pub const TIME: Self = Self(2);
    /// The probe reports a fault of its own, or the re-arm wire cannot be read.
    pub const FAULT: Self = Self(4);
    /// Frames with this probe's number and a wrong tag: a second probe of that number, or forgery.
    pub const FLOOD: Self = Self(8);
    /// Genuine frames that do not fit the clock: two senders with one key, or replays.
    pub const TWO_SENDERS: Self = Self(16);
    /// More edges on their way than there is room for.
    pub const FULL: Self = Self(32);
    /// The output stage does not show what it was told, see [`lines`](crate::lines).
    pub const READ_BACK: Self = Self(64);
    /// The board started anew while it had power: what was latched before is not known.
    pub const RESTART: Self = Self(128);

    const WORDS: [&'static str; 8] = [
        "edges out of sequence",
        "touch not in time",
        "fault of the probe",
        "frames with a wrong tag",
        "two senders with one key",
        "too many edges at once",
        "output does not follow",
        "board started anew",
    ];
}

bit_set!(Causes, words);
