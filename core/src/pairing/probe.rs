//! The probe's side.

use super::config::PairingConfig;
use super::message::{Known, Message, MessageError, Offer, Said, Status, MESSAGE};
use super::record::{KeyRecord, KeyWrite, Places, KEY_RECORD};
use super::touches::Touches;
use crate::frame::Mark;
use crate::time::Instant;

/// What is being written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Writing {
    Nothing,
    Storing,
    Confirming(u8),
    Erasing(u8),
}

/// The probe's side of a pairing. No key is in it: the caller's memory holds those.
///
/// At a start: [`start`](Self::start); read the boot records that belong to
/// [`place`](Self::place), and say the number of this start by [`booted`](Self::booted). Boot
/// records belong to a place each: a new key begins with those of
/// [`Waking::paired`](crate::head::Waking::paired), written before its record.
///
/// Whatever [`hear`](Self::hear) or [`want`](Self::want) gives is to be written at once; what both
/// places read then goes to [`written`](Self::written).
///
/// | has | says on the cable | uses from its start on | by what |
/// |---|---|---|---|
/// | nothing | no key | nothing: it is silent | new, or its first pairing was dropped |
/// | old, confirmed | old | old | |
/// | old and new | new, another | new | an offer, stored beside the old |
/// | old and new, confirmed | new confirmed, another | new | two touches by hand under the new key |
/// | new, confirmed | new confirmed | new | the next start, which erases the old |
///
/// A drop takes the new key while the old one is there, whichever is confirmed. It never takes the
/// last confirmed key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct Probe {
    unit: u64,
    places: Places,
    /// Place and check of the key that this start uses.
    using: Option<(u8, u32)>,
    boot: Option<u32>,
    plugged: bool,
    /// The board has said something since the cable was plugged.
    spoken_to: bool,
    /// Turn of the message to be answered.
    turn: Option<u8>,
    writing: Writing,
    touches: Touches,
}

impl Probe {
    /// At a start of the probe with that unit number, out of what both places read. No two probes
    /// have the same unit number: take the one that its processor was made with.
    ///
    /// With a newest key that is confirmed, the one before is to be erased.
    pub fn start(unit: u64, records: [&[u8; KEY_RECORD]; 2]) -> Self {
        let places = Places::read(records);
        let newest = places.newest();
        let using = Self::newest(&places);
        let confirmed = newest.is_some() && newest == places.newest_confirmed();
        let older = newest.map(|place| place ^ 1);
        let writing = match older {
            Some(older) if confirmed && places.sound(older).is_some() => Writing::Erasing(older),
            _ => Writing::Nothing,
        };
        Self {
            unit,
            places,
            using,
            boot: None,
            plugged: false,
            spoken_to: false,
            turn: None,
            writing,
            touches: Touches::NONE,
        }
    }

    /// The place of the key that this start uses; `None`: not paired, nothing may be sent.
    #[must_use]
    pub fn place(&self) -> Option<u8> {
        self.using.map(|(place, _)| place)
    }

    /// The number of this start under that key, once it is durable. A probe whose boot records are
    /// both bad says [`Mark::LAST_BOOT`]: no start is left under that key.
    pub fn booted(&mut self, boot: u32) {
        self.boot = Some(boot.min(Mark::LAST_BOOT));
    }

    /// Whether frames may be sent: the key of this start is still the newest, and no cable is in.
    #[must_use]
    pub fn may_send(&self) -> bool {
        let settled = matches!(self.writing, Writing::Nothing | Writing::Confirming(_))
            || self.erases_older();
        let started = self.boot.is_some_and(|boot| boot < Mark::LAST_BOOT);
        !self.plugged && settled && started && self.uses_newest() && !self.must_restart()
    }

    /// Whether the probe must start anew: it was spoken to, and the cable is out again. So every
    /// pairing goes on under a start number that no frame had before.
    #[must_use]
    pub fn must_restart(&self) -> bool {
        self.spoken_to && !self.plugged && self.writing == Writing::Nothing
    }

    /// Place and check of the newest key.
    fn newest(places: &Places) -> Option<(u8, u32)> {
        let place = places.newest()?;
        Some((place, places.sound(place)?.check))
    }

    fn uses_newest(&self) -> bool {
        self.using.is_some() && self.using == Self::newest(&self.places)
    }

    fn erases_older(&self) -> bool {
        matches!(self.writing, Writing::Erasing(place) if Some(place) != self.places.newest())
    }

    /// Whether the cable is in.
    pub fn cable(&mut self, plugged: bool) {
        if self.plugged != plugged {
            self.turn = None;
        }
        self.plugged = plugged;
    }

    /// A message out of the cable. A key that is to be stored comes back.
    ///
    /// # Errors
    /// [`MessageError`].
    pub fn hear(&mut self, bytes: &[u8; MESSAGE]) -> Result<Option<KeyWrite>, MessageError> {
        let (turn, said) = Said::parse(bytes)?;
        if matches!(said, Said::Status(_)) {
            return Err(MessageError::Kind);
        }
        let busy = self.writing != Writing::Nothing;
        // Before the start number is known, or in the middle of a write, the board has to repeat.
        if !self.plugged || busy || (self.using.is_some() && self.boot.is_none()) {
            return Ok(None);
        }
        self.spoken_to = true;
        self.turn = Some(turn);
        match said {
            Said::Offer(offer) => Ok(self.offered(&offer)),
            Said::Drop(check) => {
                self.told_to_drop(check);
                Ok(None)
            }
            Said::Ask | Said::Status(_) => Ok(None),
        }
    }

    fn offered(&mut self, offer: &Offer) -> Option<KeyWrite> {
        let newest = self.places.newest();
        let kept = newest.and_then(|place| self.places.sound(place));
        if kept.is_some_and(|kept| kept.check == offer.check) {
            // Heard before, and the answer was lost.
            return None;
        }
        // The newest key is always one that a board still has: the other place is written.
        let place = newest.map_or(0, |newest| newest ^ 1);
        let serial = kept.map_or(0, |kept| kept.serial.wrapping_add(1));
        self.writing = Writing::Storing;
        Some(KeyWrite::Store {
            place,
            record: KeyRecord::new(serial, self.unit, &offer.key, offer.id, offer.terms, false),
        })
    }

    fn told_to_drop(&mut self, check: u32) {
        let Some(newest) = self.places.newest() else {
            return;
        };
        let is_meant = self
            .places
            .sound(newest)
            .is_some_and(|seen| seen.check == check);
        if is_meant && self.status().can_drop() {
            self.writing = Writing::Erasing(newest);
        }
    }

    /// What to write besides a key: call after every other call.
    #[must_use]
    pub fn want(&self) -> Option<KeyWrite> {
        match self.writing {
            Writing::Nothing | Writing::Storing => None,
            Writing::Confirming(place) => {
                let word = self.places.sound(place)?.confirmation();
                Some(KeyWrite::Confirm { place, word })
            }
            Writing::Erasing(place) => Some(KeyWrite::Erase { place }),
        }
    }

    /// What both places read after a write, whatever became of it.
    pub fn written(&mut self, records: [&[u8; KEY_RECORD]; 2]) {
        let before = core::mem::replace(&mut self.writing, Writing::Nothing);
        self.places = Places::read(records);
        if let Writing::Confirming(place) = before {
            if self.places.newest_confirmed() != Some(place) {
                // Two more touches try again.
                self.touches = Touches::NONE;
            }
        }
    }

    /// What goes into the cable now: the answer to the last message.
    #[must_use]
    pub fn say(&mut self) -> Option<Message> {
        if self.writing != Writing::Nothing {
            return None;
        }
        let turn = self.turn.take()?;
        Some(Said::Status(self.status()).message(turn))
    }

    fn status(&self) -> Status {
        let newest = self.places.newest();
        let known = |place: u8| self.places.sound(place).map(Known::of);
        Status {
            unit: self.unit,
            newest: newest.and_then(known),
            other: newest
                .and_then(|place| known(place ^ 1))
                .map(|known| known.check),
            // A key that was just stored had no start yet.
            boot: if self.uses_newest() {
                self.boot.unwrap_or(Mark::LAST_BOOT)
            } else {
                0
            },
        }
    }

    /// An edge that the probe's element saw, with its onset on the probe's clock, as it goes into
    /// the [`Head`](crate::head::Head) as well. Two touches by hand confirm a new key, so that the
    /// next start erases the old one; those of a jolt do not.
    pub fn edge(&mut self, config: &PairingConfig, at: Instant, touched: bool) {
        let newest = self.places.newest();
        if !self.may_send() || newest == self.places.newest_confirmed() {
            return;
        }
        self.touches.edge(config, Some(at), touched);
        if let (true, Some(place), Writing::Nothing) =
            (self.touches.are_two(), newest, self.writing)
        {
            self.writing = Writing::Confirming(place);
        }
    }
}

/// For comparing states of a walk.
#[cfg(feature = "walk")]
impl Probe {
    /// The same probe on a zero of time `ticks` later, where it is `now`.
    pub fn moved(mut self, config: &PairingConfig, ticks: u64, now: Instant) -> Self {
        self.touches = self.touches.moved(config, ticks, now);
        self
    }
}
