//! What travels over the service cable: messages of 32 bytes, the board asks, the probe answers.

use super::fields::{get, put};
use super::record::Seen;
use super::terms::TERMS;
use super::Terms;
use crate::frame::{crc16, Key};
use crate::link::MOST_ID;

/// Length of a message, bytes.
pub const MESSAGE: usize = 32;

const VERSION: u8 = 1;
const CHECKED: usize = 30;

/// Why bytes are no message for this side. Nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum MessageError {
    /// The check sum is wrong: damaged on the way.
    Crc,
    /// Of another version: the other side has other firmware.
    Version,
    /// Not of a kind that this side is told.
    Kind,
    /// A field is outside its range, or what must be 0 is not.
    Field,
}

impl core::fmt::Display for MessageError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Crc => "the check sum is wrong: damaged on the way",
            Self::Version => "another version: bring both sides to the same firmware",
            Self::Kind => {
                "not a message for this side: is a probe on one end, a board on the other?"
            }
            Self::Field => "a field of the message is outside its range",
        })
    }
}

impl core::error::Error for MessageError {}

/// A message on its way out. It may hold a key, so it is neither printed nor compared nor copied.
///
/// ```compile_fail
/// fn show(message: trueonset::pairing::Message) {
///     println!("{message:?}"); // error: no Debug
/// }
/// ```
///
/// | bytes | ask (1) | offer (2) | drop (3) | status (4) |
/// |---|---|---|---|---|
/// | 0 | version 1 in the upper four bits, kind in the lower | same | same | same |
/// | 1 | turn: counts the board's messages, modulo 256 | same | same | turn of the message that it answers |
/// | 2 .. | 0 | 2-17 key | 2-5 check of the key to drop | 2-9 unit number of the probe |
/// | | | 18-19 number of the probe, 12 bits | 0 | 10 records: bit 0 there is a newest one, 1 it is confirmed, 2 there is another |
/// | | | 20-28 [`Terms`]: slot in ns (4), beat in slots (2), oscillator (1), check of the plan (2) | | 11-14 check of the newest key |
/// | | | 0 | | 15-18 check of the other |
/// | | | | | 19-21 greatest start number under the newest key |
/// | .. 29 | 0 | 0 | 0 | 0 |
/// | 30-31 | CRC-16 of bytes 0 to 29, polynomial 0x90D9 from 0xFFFF | same | same | same |
///
/// A *check* tells keys apart without telling them: 32 bits that only the key can make. Only an
/// offer holds a key. The probe answers every message with its status, whatever came of it: both
/// sides may repeat themselves, and a lost message costs a repeat. Where messages begin is told by
/// silence on the wire or by the transport; the turn keeps a late answer from being taken for a new
/// one.
pub struct Message {
    bytes: [u8; MESSAGE],
}

impl Message {
    /// What goes into the cable.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; MESSAGE] {
        &self.bytes
    }

    /// A message as it goes into the cable.
    fn sealed(said: &Said, turn: u8) -> Self {
        let mut bytes = [0; MESSAGE];
        put(&mut bytes, 0, &[VERSION << 4 | said.kind(), turn]);
        match said {
            Said::Ask => {}
            Said::Offer(offer) => {
                put(&mut bytes, 2, &offer.key);
                put(&mut bytes, 18, &offer.id.to_be_bytes());
                put(&mut bytes, 20, &offer.terms.bytes());
            }
            Said::Drop(check) => put(&mut bytes, 2, &check.to_be_bytes()),
            Said::Status(status) => status.put(&mut bytes),
        }
        let crc = crc16(bytes.get(..CHECKED).unwrap_or_default());
        put(&mut bytes, CHECKED, &crc.to_be_bytes());
        Self { bytes }
    }

    /// Reads a message and seals what was read again: for whatever is read, these are the very same
    /// bytes.
    ///
    /// # Errors
    /// [`MessageError`].
    #[cfg(feature = "walk")]
    pub fn again(bytes: &[u8; MESSAGE]) -> Result<Self, MessageError> {
        let (turn, said) = Said::parse(bytes)?;
        Ok(Self::sealed(&said, turn))
    }
}

/// A key and what goes with it.
pub(super) struct Offer {
    pub(super) key: [u8; 16],
    pub(super) id: u16,
    pub(super) terms: Terms,
    /// Of the key.
    pub(super) check: u32,
}

/// A key as a probe has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Known {
    pub(super) check: u32,
    pub(super) confirmed: bool,
}

impl Known {
    pub(super) const fn of(seen: Seen) -> Self {
        Self {
            check: seen.check,
            confirmed: seen.confirmed,
        }
    }
}

/// What a probe says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Status {
    pub(super) unit: u64,
    pub(super) newest: Option<Known>,
    /// Check of the key beside the newest.
    pub(super) other: Option<u32>,
    /// Greatest start number under the newest key.
    pub(super) boot: u32,
}

impl Status {
    /// Whether the probe has another key to go back to once the newest is dropped, or had none
    /// before it.
    pub(super) fn can_drop(&self) -> bool {
        self.other.is_some() || self.newest.is_some_and(|newest| !newest.confirmed)
    }

    fn put(&self, bytes: &mut [u8]) {
        let confirmed = self.newest.is_some_and(|newest| newest.confirmed);
        let records = u8::from(self.newest.is_some())
            | u8::from(confirmed) << 1
            | u8::from(self.other.is_some()) << 2;
        let newest = self.newest.map_or(0, |newest| newest.check);
        let [_, boot @ ..] = self.boot.to_be_bytes();
        put(bytes, 2, &self.unit.to_be_bytes());
        put(bytes, 10, &[records]);
        put(bytes, 11, &newest.to_be_bytes());
        put(bytes, 15, &self.other.unwrap_or(0).to_be_bytes());
        put(bytes, 19, &boot);
    }

    fn of(bytes: &[u8; MESSAGE]) -> Option<Self> {
        let [records] = get(bytes, 10);
        let [b0, b1, b2] = get(bytes, 19);
        let newest = Known {
            check: u32::from_be_bytes(get(bytes, 11)),
            confirmed: records & 2 != 0,
        };
        let other = u32::from_be_bytes(get(bytes, 15));
        let status = Self {
            unit: u64::from_be_bytes(get(bytes, 2)),
            newest: (records & 1 != 0).then_some(newest),
            other: (records & 4 != 0).then_some(other),
            boot: u32::from_be_bytes([0, b0, b1, b2]),
        };
        // Of what there is not, nothing is told.
        let none = status.newest.is_none() && (newest.check != 0 || records != 0);
        let no_other = status.other.is_none() && other != 0;
        (records < 8 && !none && !no_other).then_some(status)
    }
}

/// What a message says.
pub(super) enum Said {
    /// What do you have?
    Ask,
    /// Store this key.
    Offer(Offer),
    /// Drop the newest key, if it has this check.
    Drop(u32),
    /// What the probe has.
    Status(Status),
}

impl Said {
    const fn kind(&self) -> u8 {
        match self {
            Self::Ask => 1,
            Self::Offer(_) => 2,
            Self::Drop(_) => 3,
            Self::Status(_) => 4,
        }
    }

    pub(super) fn message(&self, turn: u8) -> Message {
        Message::sealed(self, turn)
    }

    /// Reads a message: its turn, and what it says.
    pub(super) fn parse(bytes: &[u8; MESSAGE]) -> Result<(u8, Self), MessageError> {
        let crc = u16::from_be_bytes(get(bytes, CHECKED));
        if crc16(bytes.get(..CHECKED).unwrap_or_default()) != crc {
            return Err(MessageError::Crc);
        }
        let [first, turn] = get(bytes, 0);
        if first >> 4 != VERSION {
            return Err(MessageError::Version);
        }
        let (said, end) = match first & 15 {
            1 => (Self::Ask, 2),
            2 => (Self::Offer(Offer::of(bytes)?), 20 + TERMS),
            3 => (Self::Drop(u32::from_be_bytes(get(bytes, 2))), 6),
            4 => {
                let status = Status::of(bytes).ok_or(MessageError::Field)?;
                (Self::Status(status), 22)
            }
            _ => return Err(MessageError::Kind),
        };
        let mut rest = bytes.iter().take(CHECKED).skip(end);
        if rest.any(|byte| *byte != 0) {
            return Err(MessageError::Field);
        }
        Ok((turn, said))
    }
}

impl Offer {
    fn of(bytes: &[u8; MESSAGE]) -> Result<Self, MessageError> {
        let key = get(bytes, 2);
        let id = u16::from_be_bytes(get(bytes, 18));
        let terms = Terms::of(get(bytes, 20));
        match (Key::new(key), terms) {
            (Ok(checked), Some(terms)) if id <= MOST_ID => Ok(Self {
                key,
                id,
                terms,
                check: checked.check(),
            }),
            _ => Err(MessageError::Field),
        }
    }
}
