//! Key records: two places on either side, of which one is kept while the other is written.

use super::fields::{are_alike, get, put};
use super::terms::TERMS;
use super::Terms;
use crate::frame::{crc16, Key};
use crate::link::MOST_ID;

/// Length of a key record, bytes.
pub const KEY_RECORD: usize = 48;
/// Length of its confirmation, bytes from [`CONFIRMATION_AT`] on.
pub const CONFIRMATION: usize = 8;
/// Where the confirmation begins.
pub const CONFIRMATION_AT: usize = 40;

const VERSION: u8 = 1;
const CHECKED: usize = 38;
/// The key, in records.
const KEY_AT: usize = 12;

/// A key record to be stored. Like the key in it, it is neither printed nor compared nor copied.
///
/// ```compile_fail
/// fn show(record: trueonset::pairing::KeyRecord) {
///     println!("{record:?}"); // error: no Debug
/// }
/// ```
///
/// | bytes | of a record |
/// |---|---|
/// | 0 | version, 1 |
/// | 1 | serial: one more than that of the record kept when this was stored, modulo 256 |
/// | 2-3 | number of the probe, 12 bits |
/// | 4-11 | unit number of the probe to which the key was given |
/// | 12-27 | key |
/// | 28-36 | [`Terms`]: slot in ns (4), beat in slots (2), oscillator (1), check of the plan (2) |
/// | 37 | 1: stored over a pairing that was never finished; else 0 |
/// | 38-39 | CRC-16 of bytes 0 to 37, polynomial 0x90D9 from 0xFFFF, as in a frame |
/// | 40-47 | confirmation: blank (0xFF) at first; then C3, the CRC, 3C, and the same again |
///
/// The confirmation is written later and by itself, so that power lost then costs nothing of the
/// key: the caller lays it into a piece of memory that can be programmed alone. Bound to the CRC,
/// what is left of an old one never confirms a new key.
pub struct KeyRecord {
    bytes: [u8; KEY_RECORD],
}

impl KeyRecord {
    /// What to store.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; KEY_RECORD] {
        &self.bytes
    }

    pub(super) fn new(
        serial: u8,
        unit: u64,
        key: &[u8; 16],
        id: u16,
        terms: Terms,
        over_unfinished: bool,
    ) -> Self {
        let mut bytes = [0; KEY_RECORD];
        put(&mut bytes, 0, &[VERSION, serial]);
        put(&mut bytes, 2, &id.to_be_bytes());
        put(&mut bytes, 4, &unit.to_be_bytes());
        put(&mut bytes, KEY_AT, key);
        put(&mut bytes, 28, &terms.bytes());
        put(&mut bytes, 37, &[u8::from(over_unfinished)]);
        let crc = crc16(bytes.get(..CHECKED).unwrap_or_default());
        put(&mut bytes, CHECKED, &crc.to_be_bytes());
        put(&mut bytes, CONFIRMATION_AT, &[0xFF; CONFIRMATION]);
        Self { bytes }
    }
}

/// Something for the caller to do with one of its two places, 0 or 1. Whatever becomes of it, what
/// both places read afterwards is handed back.
pub enum KeyWrite {
    /// Store a record, all its bytes.
    Store {
        /// Where.
        place: u8,
        /// What.
        record: KeyRecord,
    },
    /// Write the confirmation of a record, from byte [`CONFIRMATION_AT`] on, and nothing else.
    Confirm {
        /// Where.
        place: u8,
        /// What.
        word: [u8; CONFIRMATION],
    },
    /// Erase a place: all its bytes alike.
    Erase {
        /// Which.
        place: u8,
    },
}

/// What a sound record holds, for a [`Head`](crate::head::Head) or a
/// [`Receiver`](crate::receiver::Receiver).
pub struct Paired {
    /// The key.
    pub key: Key,
    /// Number of the probe.
    pub id: u16,
    /// Slots, beats and oscillator.
    pub terms: Terms,
}

impl Paired {
    /// Out of the bytes of a place; `None` where they are blank or torn.
    #[must_use]
    pub fn of_record(bytes: &[u8; KEY_RECORD]) -> Option<Self> {
        let Place::Sound(seen) = Place::read(bytes) else {
            return None;
        };
        Some(Self {
            key: Key::new(key_bytes(bytes)).ok()?,
            id: seen.id,
            terms: seen.terms,
        })
    }
}

/// The bytes of the key in a record.
pub(super) fn key_bytes(record: &[u8; KEY_RECORD]) -> [u8; 16] {
    get(record, KEY_AT)
}

/// All of a sound record but the key. Printed without its check sums: beside the rest they would
/// tell bits of the key.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Seen {
    pub(super) serial: u8,
    pub(super) id: u16,
    pub(super) unit: u64,
    pub(super) terms: Terms,
    /// Tells the key from others.
    pub(super) check: u32,
    crc: u16,
    pub(super) confirmed: bool,
    pub(super) over_unfinished: bool,
}

impl core::fmt::Debug for Seen {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Seen")
            .field("serial", &self.serial)
            .field("id", &self.id)
            .field("unit", &self.unit)
            .field("terms", &self.terms)
            .field("confirmed", &self.confirmed)
            .field("over_unfinished", &self.over_unfinished)
            .finish_non_exhaustive()
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Seen {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "Seen {{ serial: {}, id: {}, unit: {}, terms: {}, confirmed: {}, over_unfinished: {}, .. }}",
            self.serial,
            self.id,
            self.unit,
            self.terms,
            self.confirmed,
            self.over_unfinished
        );
    }
}

impl Seen {
    /// The bytes that confirm it.
    pub(super) const fn confirmation(&self) -> [u8; CONFIRMATION] {
        let [a, b] = self.crc.to_be_bytes();
        // Two bytes of its own: no CRC makes it blank.
        [0xC3, a, b, 0x3C, 0xC3, a, b, 0x3C]
    }
}

/// What one place reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Place {
    Blank,
    /// Torn or worn.
    Bad,
    Sound(Seen),
}

impl Place {
    fn read(bytes: &[u8; KEY_RECORD]) -> Self {
        if are_alike(bytes) {
            return Self::Blank;
        }
        Self::sound(bytes).map_or(Self::Bad, Self::Sound)
    }

    fn sound(bytes: &[u8; KEY_RECORD]) -> Option<Seen> {
        let [version, serial] = get(bytes, 0);
        let crc = u16::from_be_bytes(get(bytes, CHECKED));
        let id = u16::from_be_bytes(get(bytes, 2));
        let [over_unfinished] = get(bytes, 37);
        let whole = crc16(bytes.get(..CHECKED)?) == crc && version == VERSION;
        if !whole || id > MOST_ID || over_unfinished > 1 {
            return None;
        }
        let seen = Seen {
            serial,
            id,
            unit: u64::from_be_bytes(get(bytes, 4)),
            terms: Terms::of(get::<TERMS>(bytes, 28))?,
            check: Key::new(key_bytes(bytes)).ok()?.check(),
            crc,
            confirmed: false,
            over_unfinished: over_unfinished == 1,
        };
        let confirmed = get(bytes, CONFIRMATION_AT) == seen.confirmation();
        Some(Seen { confirmed, ..seen })
    }
}

/// What both places read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Places([Place; 2]);

impl Places {
    pub(super) fn read(records: [&[u8; KEY_RECORD]; 2]) -> Self {
        Self(records.map(Place::read))
    }

    pub(super) fn at(&self, place: u8) -> Place {
        let [one, other] = self.0;
        if place == 0 {
            one
        } else {
            other
        }
    }

    pub(super) fn sound(&self, place: u8) -> Option<Seen> {
        match self.at(place) {
            Place::Sound(seen) => Some(seen),
            Place::Blank | Place::Bad => None,
        }
    }

    /// Of the sound records that `may`, the place of the newest.
    fn newest_of(&self, may: impl Fn(Seen) -> bool) -> Option<u8> {
        let [one, other] = [0, 1].map(|place| self.sound(place).filter(|seen| may(*seen)));
        match (one, other) {
            (Some(one), Some(other)) => {
                // The shorter way round 256.
                Some(u8::from(other.serial.wrapping_sub(one.serial) as i8 > 0))
            }
            (Some(_), None) => Some(0),
            (None, Some(_)) => Some(1),
            (None, None) => None,
        }
    }

    pub(super) fn newest(&self) -> Option<u8> {
        self.newest_of(|_| true)
    }

    pub(super) fn newest_confirmed(&self) -> Option<u8> {
        self.newest_of(|seen| seen.confirmed)
    }
}
