//! Pairing: how a probe and a board get a key, and change it, without a display.
//!
//! ```text
//!  button, lamp ─ Board ══ service cable, at the machine's stop ══ Probe
//!                   │ key record, confirmation                       │ key record, confirmation
//!               two places, the caller's memory               two places, the caller's memory
//! ```
//!
//! The link has one way, so a key cannot be agreed upon over the air. It travels by a cable, and
//! never by air.
//!
//! # Procedure
//!
//! 1. Bring the machine to a stop. Hold the board's button for 5 s: from here on both lines stay at
//!    stop; the lamp flashes slowly; everything below must be done within 60 s. Release the button.
//! 2. Plug the cable into probe and board. The board asks who it is, draws a key and a number,
//!    stores both unconfirmed beside its present key, and hands them to the probe, which stores
//!    them beside its own. Now both have the old key and the new.
//! 3. Unplug it. The probe starts anew, under the new key and the next start number. With 8 good
//!    frames the lamp flashes fast. Touch the element by hand, twice: touch, release, touch, release
//!    must arrive in this order under the new key, each touch held for 40 ms at least, the second
//!    150 ms after the first at least. It is this probe, in this hand; the lamp is steady. The probe, which saw the same, confirms its new key.
//! 4. Press the button once. The board confirms its new key and erases the old one: done, the lines
//!    are the receiver's again. The probe erases its old key at its next start, the second one
//!    under the new key.
//! 5. A press before the lamp is steady, or 60 s over: the board keeps its old key, and the new one
//!    unconfirmed. It stays at stop and says so (two flashes), over losses of power as well. Plug
//!    the cable into the same probe again: it is told to drop the new key, the board erases its
//!    own, both work as before. Or hold the button for a new window; the same probe goes on with
//!    the key that it has.
//!
//! A key change is the same. A lost probe: pair another one, and the old key dies with step 4. Was
//! it lost in the middle of its pairing, the board works again only once the other one's is
//! finished: what the lost probe has left is not known any more.
//!
//! What both sides go through, state by state: [`Board`], [`Probe`]. What they say: [`Message`].
//! What they keep: [`KeyRecord`].
//!
//! # What the caller does
//!
//! * Keeps two places of [`KEY_RECORD`] bytes a side, each erased by itself; beside each place of
//!   the board the two link records of its key ([`Stored`](crate::link::Stored)), beside each place
//!   of the probe the two start records of its key ([`Waking`](crate::head::Waking)).
//! * Writes what it is given and hands back what both places *read* then: a memory that took
//!   nothing, or half of it, is seen so.
//! * Runs a receiver with the key of [`Board::trial`] while there is one, of [`Board::place`]
//!   otherwise, and tells the board what that makes of frames and edges.
//! * Lets the probe send only while [`Probe::may_send`], and starts it anew where
//!   [`Probe::must_restart`]: a reset, so that it is the way of every start.
//! * Tells both sides when the cable is in; by a contact of the plug, or by its supply.
//!
//! # What is promised
//!
//! * Whatever is cut at whatever moment, probe and board have a key in common, or the board is at
//!   stop and says so. Each store is one of: a whole record into the place that is not needed; a
//!   confirmation apart from its record; the erasing of a place that is not needed any more. What
//!   became of it is read back.
//! * The board offers nothing that it has not stored, and forgets nothing that it has offered
//!   before the probe itself says that it does not have it, or a pairing is committed.
//! * The probe never drops its last confirmed key, and never writes over its newest one.
//! * A one-way link cannot tell the probe of the press. It erases its old key at the first start
//!   after two touches under the new key; were the press missing then, the board has the new key
//!   unconfirmed, and a new window goes on with it.
//!
//! # Threats
//!
//! | threat | what closes it | what stays open |
//! |---|---|---|
//! | tapping | the key travels along the cable only | whoever taps the cable itself during step 2 |
//! | wrong probe from the shelf | two touches by hand before the press; a drop by the same cable | until then it is deaf for its own board; two jolts that last as long as touches by hand |
//! | half a pairing | two places a side, confirmed last, unfinished is remembered | a probe given up for another keeps its unconfirmed key until it is paired anew |
//! | roll-back to an old key or old frames | the old key is erased; nothing counts up to the start number read over the cable | |
//! | button stuck or shorted | a rise, 5 s, and a new rise after the touches; at stop meanwhile | one that closes for 5 s in the middle of a program stops the machine for 60 s |
//! | pressed by the wrong person | the lines are at stop, a cable and the probe in the hand are needed | whoever has the cabinet open |
//! | key read out of a stolen unit | one key a pair: one pair is lost | needs the processor's read-out lock |
//! | cloned probe | two senders with one key, or a flood of bad tags, latch at stop | |
//! | same number next door | drawn anew each time, refused where the caller knows it as taken; a flood latches at stop | a neighbour that is off while pairing |
//! | weak random numbers | all bytes alike, and the present key again, are refused | needs a hardware source: nothing here can tell random from chosen |
//! | forged or damaged message | CRC, version, fields that must be 0, turn of the question; the key has to prove itself by frames | whoever holds the cable may write a key into a probe, not read one |
//!
//! # Limits
//!
//! The plan is built into both sides. [`Terms`] tell whether it is the same: ask
//! [`Terms::fits`] at every start, and do not send or listen where it is not. A probe that sends
//! edges nearer together than the board's plan says could lose all of them in one silence.
//!
//! # Cautions
//!
//! * **A measuring signal, not a safety function; no performance level is claimed. Guards and
//!   emergency stop stay in charge.** While [`Board::is_stop`] says so, hold both lines at
//!   [`Decision::STOP`](crate::lines::Decision::STOP), whatever a receiver may say.
//! * Touch the element with the spindle and all axes at rest.
//! * Buffers in which a key was built or sent stay in memory until they are written over.
//! * The confirmation of a record must be programmable apart from the record: see [`KeyRecord`].

mod board;
mod config;
mod fields;
mod lamp;
mod message;
mod probe;
mod record;
mod terms;
mod touches;

pub use board::{Board, DrawRefused, End, Trial, DRAW};
pub use config::{PairingConfig, PairingConfigError};
pub use lamp::Lamp;
pub use message::{Message, MessageError, MESSAGE};
pub use probe::Probe;
pub use record::{KeyRecord, KeyWrite, Paired, CONFIRMATION, CONFIRMATION_AT, KEY_RECORD};
pub use terms::{OscillatorKind, Terms};

#[cfg(test)]
mod tests;
