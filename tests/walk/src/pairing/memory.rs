//! What either side keeps: two places, and what a write makes of them.

use trueonset::pairing::{KeyWrite, CONFIRMATION, CONFIRMATION_AT, KEY_RECORD};

/// Bytes of the key in a record.
const KEY: std::ops::Range<usize> = 12..28;
const ERASED: [u8; KEY_RECORD] = [0xFF; KEY_RECORD];
/// What a write that was cut leaves: neither sound nor blank.
const TORN: [u8; KEY_RECORD] = {
    let mut torn = ERASED;
    torn[3] = 0x55;
    torn
};

/// What becomes of a write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Wrote {
    /// It is done, and told.
    Done,
    /// The memory does not take it, and that is told.
    Refused,
    /// Power is lost before it,
    LostBefore,
    /// in the middle,
    Torn,
    /// or after it, untold.
    LostAfter,
}

impl Wrote {
    pub(super) const ALL: [Self; 5] = [
        Self::Done,
        Self::Refused,
        Self::LostBefore,
        Self::Torn,
        Self::LostAfter,
    ];

    pub(super) fn loses_power(self) -> bool {
        matches!(self, Self::LostBefore | Self::Torn | Self::LostAfter)
    }
}

/// A key, as far as a walk tells keys apart: its first byte.
pub(super) type KeyNumber = u8;

/// Two places.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Memory([[u8; KEY_RECORD]; 2]);

impl Memory {
    pub(super) const BLANK: Self = Self([ERASED; 2]);

    pub(super) fn records(&self) -> [&[u8; KEY_RECORD]; 2] {
        let [one, other] = &self.0;
        [one, other]
    }

    pub(super) fn write(&mut self, write: &KeyWrite, wrote: Wrote) {
        if matches!(wrote, Wrote::Refused | Wrote::LostBefore) {
            return;
        }
        let torn = wrote == Wrote::Torn;
        match write {
            KeyWrite::Store { place, record } => {
                self.0[usize::from(*place)] = if torn { TORN } else { *record.bytes() };
            }
            KeyWrite::Confirm { place, word } => {
                let done = if torn { CONFIRMATION / 2 } else { CONFIRMATION };
                let end = CONFIRMATION_AT + done;
                self.0[usize::from(*place)][CONFIRMATION_AT..end].copy_from_slice(&word[..done]);
            }
            KeyWrite::Erase { place } => {
                self.0[usize::from(*place)] = if torn { TORN } else { ERASED };
            }
        }
    }

    /// The key in each place, and whether it is confirmed.
    pub(super) fn keys(&self) -> [Option<(KeyNumber, bool)>; 2] {
        [0, 1].map(|place| {
            let record = &self.0[place];
            let sound = *record != ERASED && *record != TORN;
            // Blank, or the half of a word, is no confirmation.
            sound.then(|| (record[KEY.start], record[KEY_RECORD - 2..] != [0xFF; 2]))
        })
    }

    pub(super) fn key(&self, place: u8) -> Option<KeyNumber> {
        self.keys()[usize::from(place)].map(|key| key.0)
    }

    pub(super) fn all(&self) -> impl Iterator<Item = KeyNumber> {
        self.keys().into_iter().flatten().map(|key| key.0)
    }

    pub(super) fn has(&self, key: KeyNumber) -> bool {
        self.all().any(|one| one == key)
    }

    /// The key that is confirmed, where one alone is.
    pub(super) fn confirmed(&self) -> impl Iterator<Item = KeyNumber> {
        let keys = self.keys().into_iter().flatten();
        keys.filter(|key| key.1).map(|key| key.0)
    }

    /// The keys that are not.
    pub(super) fn open(&self) -> impl Iterator<Item = KeyNumber> {
        let keys = self.keys().into_iter().flatten();
        keys.filter(|key| !key.1).map(|key| key.0)
    }
}
