//! The board's side.

use super::config::PairingConfig;
use super::lamp::Lamp;
use super::message::{Message, MessageError, Offer, Said, Status, MESSAGE};
use super::record::{key_bytes, KeyRecord, KeyWrite, Place, Places, Seen, KEY_RECORD};
use super::touches::Touches;
use super::Terms;
use crate::frame::{Key, KeyError, Mark};
use crate::link::{Outcome, MOST_ID};
use crate::playout::{EdgeRemarks, PlayedEdge};
use crate::receiver::Taken;
use crate::time::Instant;

/// Random bytes of one draw: 16 for the key, 2 for the number of the probe.
pub const DRAW: usize = 18;
/// Good frames under the new key before touches count.
const GOOD_FRAMES: u8 = 8;

/// Why a draw was refused; draw anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum DrawRefused {
    /// No draw is wanted.
    NotWanted,
    /// The bytes are no key.
    Key(KeyError),
    /// The same key as before: the source of random numbers repeats itself.
    Repeated,
    /// The number is that of the present probe, or the caller knows of another probe that has it.
    NumberTaken,
    /// A slot, beat or oscillator outside its range.
    Terms,
}

impl core::fmt::Display for DrawRefused {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotWanted => f.write_str("no draw is wanted now"),
            Self::Key(why) => why.fmt(f),
            Self::Repeated => {
                f.write_str("the key is the present one: check the source of random numbers")
            }
            Self::NumberTaken => f.write_str("the number of the probe is taken; draw anew"),
            Self::Terms => {
                f.write_str("slot is not within 0.1 to 100 ms in steps of 125 ns, or beat is 0")
            }
        }
    }
}

impl core::error::Error for DrawRefused {}

/// How the last pairing ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum End {
    /// The new key is in use, and the only one.
    Committed,
    /// 60 s were over.
    TimeOver,
    /// The button was pressed before the lamp was steady.
    PressedEarly,
    /// The board's memory did not take what was to be written.
    NotStored,
    /// Another probe answered on the cable than the one that was asked.
    OtherProbe,
}

/// A new key under which the probe is to show itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Trial {
    /// Where its record is.
    pub place: u8,
    /// Nothing up to this may count: the mark for both link records of that place, with which its
    /// receiver starts.
    pub since: Mark,
}

/// Where it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Stage {
    /// At most one key, confirmed.
    Work,
    /// A place is torn: no one knows whether the key in the other one is still the probe's.
    Unsure,
    /// A key was offered and is not confirmed; no window is open.
    Unfinished,
    /// The probe is told to drop it.
    Dropping,
    /// The window is open: a probe is waited for on the cable.
    Asking,
    /// Random bytes are waited for, to make a key for that unit.
    Drawing { unit: u64 },
    /// The board stores the key with that check.
    Storing { check: u32, over_unfinished: bool },
    /// The probe is given the key.
    Offering,
    /// The probe has it: frames with starts above that, then touches.
    Trial {
        boot: u32,
        frames: u8,
        touches: Touches,
    },
    /// The press was seen.
    Confirming,
    /// That place is erased.
    Erasing(u8),
}

/// The board's side of a pairing. No key is in it: the caller's memory holds those.
///
/// Hand in the button, the cable and the time; after each call write what [`want`](Self::want) or
/// [`draw`](Self::draw) gives and hand back to [`written`](Self::written) what both places read
/// then; send what [`say`](Self::say) gives. Hold both lines at stop while [`is_stop`](Self::is_stop)
/// says so, whatever a receiver may say. Time that runs back is taken for the latest seen.
///
/// | state | lines | lamp | leaves by |
/// |---|---|---|---|
/// | work | the receiver's | off | hold: window |
/// | work without a key | stop | two flashes | hold: window |
/// | unsure: the spare place is torn | stop | two flashes | a frame under the key in use: erase the torn place; hold: window |
/// | unfinished: a key was offered, not confirmed | stop | two flashes | that probe on the cable, without the key: erase it; with it and another: dropping; hold: window |
/// | dropping: the probe is told to | stop | two flashes | as unfinished |
/// | window: asking | stop | slow | status of a probe: trial, if it has the offered key; offering, if it is the one; else drawing |
/// | window: drawing | stop | slow | random bytes: storing |
/// | window: storing | stop | slow | read back: offering; not there: erase, ended |
/// | window: offering | stop | slow | status with the key: trial |
/// | window: trial | stop | slow; fast from 8 good frames on; steady from two touches by hand on | press while steady: confirming |
/// | confirming | stop | steady | read back: erase the old key; not there: unfinished |
/// | erasing | stop | steady; three flashes where it fails, again every second | read back: work |
///
/// Out of every window state, 60 s after the hold or by a press before the lamp is steady: work, or
/// unfinished where a key was offered. Pulling the cable goes back to asking, a plugged cable in a
/// trial sets frames and touches to none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct Board {
    places: Places,
    stage: Stage,
    /// End of the window.
    until: Option<Instant>,
    /// Level of the button as last seen; down at power-up, so that a stuck one never begins.
    down: bool,
    /// Since when it is held.
    held: Option<Instant>,
    plugged: bool,
    /// Turn of the last message.
    turn: u8,
    /// It was not answered yet.
    asked: bool,
    /// Not before this is the next message sent, or the next erasing tried.
    again: Instant,
    ended: Option<End>,
    now: Instant,
}

impl Board {
    /// At power-up, out of what both places read.
    pub fn start(records: [&[u8; KEY_RECORD]; 2]) -> Self {
        let mut board = Self {
            places: Places::read(records),
            stage: Stage::Work,
            until: None,
            down: true,
            held: None,
            plugged: false,
            turn: 0,
            asked: false,
            again: Instant::default(),
            ended: None,
            now: Instant::default(),
        };
        board.settle();
        board
    }

    /// The place of the key in use; `None`: no probe is paired.
    #[must_use]
    pub fn place(&self) -> Option<u8> {
        self.places.newest_confirmed()
    }

    /// The place that is not in use.
    fn spare(&self) -> u8 {
        match (self.places.newest_confirmed(), self.places.newest()) {
            (Some(place), _) => place ^ 1,
            (None, newest) => newest.unwrap_or(0),
        }
    }

    /// The key that was offered, and is not confirmed.
    fn offered(&self) -> Option<Seen> {
        let seen = self.places.sound(self.spare());
        seen.filter(|seen| !seen.confirmed)
    }

    /// The key on trial: build a receiver of its record and of [`Trial::since`], hand it every
    /// frame, and hand its outcomes and edges in here. Once committed it is the board's receiver.
    /// The probe measures meanwhile: one that stands by tells no edges.
    #[must_use]
    pub fn trial(&self) -> Option<Trial> {
        match self.stage {
            Stage::Trial { boot, .. } => Some(Trial {
                place: self.spare(),
                since: Mark {
                    boot,
                    slot: Mark::LAST_SLOT,
                },
            }),
            _ => None,
        }
    }

    /// Whether both lines must be held at stop: from the end of the hold to the end of the
    /// pairing, also over losses of power; and where there is no key.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        self.stage != Stage::Work || self.place().is_none()
    }

    /// What the lamp shows.
    #[must_use]
    pub fn lamp(&self) -> Lamp {
        match self.stage {
            Stage::Work if self.place().is_some() => Lamp::Off,
            Stage::Work | Stage::Unsure | Stage::Unfinished | Stage::Dropping => Lamp::Unfinished,
            Stage::Asking | Stage::Drawing { .. } | Stage::Storing { .. } | Stage::Offering => {
                Lamp::Slow
            }
            Stage::Trial { frames, .. } if frames < GOOD_FRAMES => Lamp::Slow,
            Stage::Trial { touches, .. } if !touches.are_two() => Lamp::Fast,
            Stage::Erasing(_) if self.again > self.now => Lamp::Fault,
            Stage::Trial { .. } | Stage::Confirming | Stage::Erasing(_) => Lamp::Steady,
        }
    }

    /// How the last pairing ended, since power-up.
    #[must_use]
    pub const fn ended(&self) -> Option<End> {
        self.ended
    }

    /// Call again by then.
    #[must_use]
    pub fn deadline(&self, config: &PairingConfig) -> Option<Instant> {
        let says = self.plugged && self.said().is_some();
        let again = (says || matches!(self.stage, Stage::Erasing(_))).then_some(self.again);
        let held = self.held.map(|since| after(since, config.hold));
        [again, held, self.until].into_iter().flatten().min()
    }

    /// Time has reached `now`.
    pub fn poll(&mut self, config: &PairingConfig, now: Instant) {
        self.now = self.now.max(now);
        if let Some(begin) = self.held.map(|since| after(since, config.hold)) {
            if self.now >= begin {
                self.held = None;
                self.open(after(begin, config.window));
            }
        }
        if self.until.is_some_and(|until| self.now >= until) {
            self.end(End::TimeOver);
        }
    }

    fn open(&mut self, until: Instant) {
        if matches!(
            self.stage,
            Stage::Work | Stage::Unsure | Stage::Unfinished | Stage::Dropping
        ) {
            self.until = Some(until);
            self.ended = None;
            self.turn_to(Stage::Asking);
        }
    }

    /// The window closes.
    fn end(&mut self, end: End) {
        self.until = None;
        self.ended = Some(end);
        // What is being stored comes back first.
        if !matches!(self.stage, Stage::Storing { .. }) {
            self.settle();
        }
    }

    /// What the places make of it where no window is open.
    fn settle(&mut self) {
        let stage = match (self.place(), self.places.at(self.spare())) {
            (Some(_), Place::Sound(seen)) if seen.confirmed => Stage::Erasing(self.spare()),
            (_, Place::Sound(seen)) if !seen.confirmed => Stage::Unfinished,
            (Some(_), Place::Bad) => Stage::Unsure,
            _ => Stage::Work,
        };
        self.turn_to(stage);
    }

    fn turn_to(&mut self, stage: Stage) {
        self.stage = stage;
        self.asked = false;
        self.again = self.now;
    }

    /// Level of the button, debounced; `true` is pressed. Both a hold and a press begin with a
    /// rise that was seen.
    pub fn button(&mut self, config: &PairingConfig, now: Instant, down: bool) {
        self.poll(config, now);
        let rose = down && !self.down;
        self.down = down;
        if !down {
            self.held = None;
        } else if rose && self.until.is_some() {
            self.pressed();
        } else if rose {
            self.held = Some(self.now);
        }
    }

    fn pressed(&mut self) {
        match self.stage {
            Stage::Trial { touches, .. } if touches.are_two() && !self.plugged => {
                self.until = None;
                self.turn_to(Stage::Confirming);
            }
            _ => self.end(End::PressedEarly),
        }
    }

    /// Whether the cable is in.
    pub fn cable(&mut self, config: &PairingConfig, now: Instant, plugged: bool) {
        self.poll(config, now);
        if self.plugged == plugged {
            return;
        }
        self.plugged = plugged;
        self.asked = false;
        match self.stage {
            // Another probe may come next: ask who it is.
            Stage::Drawing { .. } | Stage::Offering => self.turn_to(Stage::Asking),
            Stage::Dropping => self.turn_to(Stage::Unfinished),
            Stage::Trial { boot, .. } => self.turn_to(Stage::Trial {
                boot,
                frames: 0,
                touches: Touches::NONE,
            }),
            _ => {}
        }
    }

    /// What the board has to say, without the key.
    fn said(&self) -> Option<Saying> {
        match self.stage {
            Stage::Asking | Stage::Unfinished => Some(Saying::Ask),
            Stage::Offering => Some(Saying::Offer),
            Stage::Dropping => Some(Saying::Drop),
            _ => None,
        }
    }

    /// What goes into the cable at `now`, with what both places read.
    #[must_use]
    pub fn say(
        &mut self,
        config: &PairingConfig,
        now: Instant,
        records: [&[u8; KEY_RECORD]; 2],
    ) -> Option<Message> {
        self.poll(config, now);
        if !self.plugged || self.now < self.again {
            return None;
        }
        let said = match self.said()? {
            Saying::Ask => Said::Ask,
            Saying::Offer => Said::Offer(self.offer(records)?),
            Saying::Drop => Said::Drop(self.offered()?.check),
        };
        self.turn = self.turn.wrapping_add(1);
        self.asked = true;
        self.again = after(self.now, config.again);
        Some(said.message(self.turn))
    }

    fn offer(&self, records: [&[u8; KEY_RECORD]; 2]) -> Option<Offer> {
        let seen = self.offered()?;
        let [one, other] = records;
        let key = key_bytes(if self.spare() == 0 { one } else { other });
        let offer = Offer {
            key,
            id: seen.id,
            terms: seen.terms,
            check: Key::new(key).ok()?.check(),
        };
        (offer.check == seen.check).then_some(offer)
    }

    /// A message out of the cable.
    ///
    /// # Errors
    /// [`MessageError`].
    pub fn hear(
        &mut self,
        config: &PairingConfig,
        now: Instant,
        bytes: &[u8; MESSAGE],
    ) -> Result<(), MessageError> {
        self.poll(config, now);
        let (turn, said) = Said::parse(bytes)?;
        let Said::Status(status) = said else {
            return Err(MessageError::Kind);
        };
        // An answer to an earlier message may be out of date.
        if self.plugged && self.asked && turn == self.turn {
            self.asked = false;
            self.answered(&status);
        }
        Ok(())
    }

    fn answered(&mut self, status: &Status) {
        let offered = self.offered();
        let has = offered
            .zip(status.newest)
            .is_some_and(|(offered, newest)| offered.check == newest.check);
        let is_its = offered.is_some_and(|offered| offered.unit == status.unit);
        match self.stage {
            // Under a key with no start left the probe could not show itself.
            Stage::Asking | Stage::Offering if is_its && has && status.boot < Mark::LAST_BOOT => {
                self.turn_to(Stage::Trial {
                    boot: status.boot,
                    frames: 0,
                    touches: Touches::NONE,
                });
            }
            Stage::Asking if is_its && !has => self.turn_to(Stage::Offering),
            Stage::Asking => self.turn_to(Stage::Drawing { unit: status.unit }),
            Stage::Offering if !is_its => self.end(End::OtherProbe),
            Stage::Unfinished | Stage::Dropping if is_its => self.resolve(status, has),
            _ => {}
        }
    }

    /// The probe that was offered a key, on the cable without a window.
    fn resolve(&mut self, status: &Status, has: bool) {
        let over_unfinished = self.offered().is_some_and(|seen| seen.over_unfinished);
        if has && status.can_drop() {
            self.turn_to(Stage::Dropping);
        } else if !has && !over_unfinished {
            self.turn_to(Stage::Erasing(self.spare()));
        }
        // Else only a new window helps: the probe has nothing else any more, or the probe before
        // it may have nothing that this board still has.
    }

    /// Whether random bytes are wanted.
    #[must_use]
    pub fn wants_draw(&self) -> bool {
        matches!(self.stage, Stage::Drawing { .. })
    }

    /// Makes a key of `random`, which comes from a hardware source of random numbers: never from a
    /// counter, a clock, a serial number or a seeded formula. `is_free` says whether no probe
    /// nearby is known to have that number.
    ///
    /// # Errors
    /// [`DrawRefused`]; it never says what was drawn.
    pub fn draw(
        &mut self,
        random: &[u8; DRAW],
        terms: Terms,
        is_free: impl Fn(u16) -> bool,
    ) -> Result<KeyWrite, DrawRefused> {
        let Stage::Drawing { unit } = self.stage else {
            return Err(DrawRefused::NotWanted);
        };
        if !terms.are_sound() {
            return Err(DrawRefused::Terms);
        }
        let [key @ .., high, low] = *random;
        let check = Key::new(key).map_err(DrawRefused::Key)?.check();
        let id = u16::from_be_bytes([high, low]) & MOST_ID;
        let all = [0, 1].map(|place| self.places.sound(place));
        if all.iter().flatten().any(|seen| seen.check == check) {
            return Err(DrawRefused::Repeated);
        }
        if all.iter().flatten().any(|seen| seen.id == id) || !is_free(id) {
            return Err(DrawRefused::NumberTaken);
        }
        let place = self.spare();
        let in_use = self.place().and_then(|place| self.places.sound(place));
        let over_unfinished = self.places.at(place) != Place::Blank;
        let serial = in_use.map_or(0, |seen| seen.serial.wrapping_add(1));
        self.turn_to(Stage::Storing {
            check,
            over_unfinished,
        });
        Ok(KeyWrite::Store {
            place,
            record: KeyRecord::new(serial, unit, &key, id, terms, over_unfinished),
        })
    }

    /// What to write besides a key.
    #[must_use]
    pub fn want(&self) -> Option<KeyWrite> {
        match self.stage {
            Stage::Confirming => Some(KeyWrite::Confirm {
                place: self.spare(),
                word: self.offered()?.confirmation(),
            }),
            Stage::Erasing(place) if self.now >= self.again => Some(KeyWrite::Erase { place }),
            _ => None,
        }
    }

    /// What both places read after a write, whatever became of it.
    pub fn written(
        &mut self,
        config: &PairingConfig,
        now: Instant,
        records: [&[u8; KEY_RECORD]; 2],
    ) {
        self.poll(config, now);
        let spare = self.spare();
        self.places = Places::read(records);
        match self.stage {
            Stage::Storing {
                check,
                over_unfinished,
            } => self.stored(check, over_unfinished),
            Stage::Confirming => {
                let confirmed = self.place() == Some(spare);
                self.end(if confirmed {
                    End::Committed
                } else {
                    End::NotStored
                });
            }
            Stage::Erasing(place) => {
                self.settle();
                if self.stage == Stage::Erasing(place) {
                    self.again = after(self.now, config.erase_again);
                }
            }
            _ => {}
        }
    }

    fn stored(&mut self, check: u32, over_unfinished: bool) {
        let is_there = self.offered().is_some_and(|seen| seen.check == check);
        if is_there && self.until.is_some() {
            self.turn_to(if self.plugged {
                Stage::Offering
            } else {
                Stage::Asking
            });
            return;
        }
        if self.until.take().is_some() {
            self.ended = Some(End::NotStored);
        }
        let spare = self.spare();
        if over_unfinished || self.places.at(spare) == Place::Blank {
            self.settle();
        } else {
            // Nobody was given this key.
            self.turn_to(Stage::Erasing(spare));
        }
    }

    /// What a receiver made of a frame, and the place of the key that it works with.
    pub fn frame(&mut self, config: &PairingConfig, now: Instant, place: u8, taken: Taken) {
        self.poll(config, now);
        let Taken::Genuine(outcome) = taken else {
            return;
        };
        let measures = matches!(outcome, Outcome::Life | Outcome::Held | Outcome::Joining);
        let (spare, in_use) = (self.spare(), self.place());
        match &mut self.stage {
            Stage::Trial { frames, .. } if place == spare && !self.plugged && measures => {
                *frames = frames.saturating_add(1).min(GOOD_FRAMES);
            }
            // A probe speaks under the key in use: what is torn was nothing.
            Stage::Unsure if in_use == Some(place) && (measures || outcome == Outcome::Standby) => {
                self.turn_to(Stage::Erasing(spare));
            }
            _ => {}
        }
    }

    /// An edge that a receiver played out, and the place of the key that it works with. Touches by
    /// hand are told from a jolt by their onsets.
    pub fn edge(&mut self, config: &PairingConfig, now: Instant, place: u8, edge: &PlayedEdge) {
        self.poll(config, now);
        let spare = self.spare();
        match &mut self.stage {
            Stage::Trial {
                frames, touches, ..
            } if place == spare && !self.plugged && *frames >= GOOD_FRAMES => {
                let sure = !edge.remarks.has(EdgeRemarks::CLASH);
                touches.edge(config, edge.onset.filter(|_| sure), edge.touched);
            }
            _ => {}
        }
    }
}

/// What to say, before it is put into words.
enum Saying {
    Ask,
    Offer,
    Drop,
}

fn after(at: Instant, ticks: u64) -> Instant {
    at.later(ticks)
}

/// For comparing states of a walk.
#[cfg(feature = "walk")]
impl Board {
    /// Turn of the last message.
    #[must_use]
    pub const fn turn(&self) -> u8 {
        self.turn
    }

    /// The same board on a zero of time `ticks` later, its messages counted from 0 on, and how the
    /// last pairing ended forgotten.
    pub fn moved(mut self, config: &PairingConfig, ticks: u64) -> Self {
        if let Stage::Trial { touches, .. } = &mut self.stage {
            *touches = touches.moved(config, ticks, self.now);
        }
        let back = |at: Instant| at.earlier(ticks);
        self.until = self.until.map(back);
        self.held = self.held.map(back);
        self.again = back(self.again.max(self.now));
        self.now = back(self.now);
        self.turn = 0;
        self.ended = None;
        self
    }
}
