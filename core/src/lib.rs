//! Signal path of a light-barrier touch probe, from trigger edges to the true instant of contact.
//!
//! ```text
//! capture unit ─▶ time::Counter ─▶ edge::Edge ─▶ onset::Line ─▶ Touch · Release · Glitch
//! raw stamp       64-bit instant   level, faults  hold, balance   onset ± doubt, flags
//!                                                                 ├▶ lateness::Lateness
//!                                                                 └▶ hits::Hits (cutter turns)
//!
//! light samples ─▶ barrier::Barrier ─▶ Touch · Release · Glitch, early onset, Optics
//!
//! onset ─▶ head::Head ─▶ frame ══air══▶ receiver::Receiver ─▶ lines::Decision, PlayedEdge
//!          probe's side                 link, clock, playout   contact + D, or stop
//! ```
//!
//! * [`barrier`] finds the onset in samples of the light itself and watches the optics.
//! * [`time`] widens the counter of the capture unit, so that instants never wrap.
//! * [`edge`] says what an edge is and what becomes of each thing that can be wrong with one.
//! * [`onset`] waits out the chatter, finds the instant of contact inside it and states its doubt.
//! * [`hits`] merges the hits of a turning cutter into one touch.
//! * [`lateness`] calibrates out what comparator and filter add.
//! * [`battery`] says how long the cells last, or that it cannot tell.
//! * [`clock`] tells when a slot of the probe begins on the clock of the receiver.
//! * [`head`] is the probe's side of a link, [`receiver`] the board's; [`link`] holds its rules,
//!   [`frame`] the sixteen bytes, [`clock`] the probe's time on the receiver's, [`playout`] the
//!   constant delay, [`lines`] what the control is told.
//! * [`pairing`] gives probe and board a key by cable, and changes it.
//! * [`wired`] is a probe without the air, by the same lines; [`health`] one list of what ails a
//!   probe, most urgent first.
//! * [`latch`] finds where the axis stood at the contact, [`budget`] how sure that is,
//!   [`gauge`] what it says of the tool.
//! * [`pins`] joins them to the hardware of a board, by traits.
//! * [`flags`] are the remarks a touch may carry, in fixed words.
//!
//! Nothing here reads a clock, waits, allocates or panics: time and edges come in as arguments,
//! decisions go out as values, and the same code gives the same bits on a microcontroller and a
//! PC. Configuration is checked once; state is one small value a line.
//!
//! # Limits
//!
//! * **Fast feed, one edge.** With less than one noise cycle while the blade crosses the noise,
//!   there is nothing to balance: the onset scatters by the noise itself, and a single touch can
//!   only state an upper bound (`upper`). More comparator bandwidth helps, no algorithm does.
//! * **A glitch within a hold before the contact** shifts the balance point by its own width.
//!   The causal estimate replaces it where few edges allow telling (`hybrid`); a glitch that
//!   touches the crossing itself cannot be told from contact.
//! * **Flutter** (the tool bouncing off) is averaged like noise: first edge, onset, confirmation
//!   and edge count are all reported, and `flutter` marks it where contact broke up twice or more.
//!   With a short hold, early hits are dropped as glitches.
//! * **Vibration slower than the hold** moves the blade itself: the onset is then that of the
//!   vibrating blade, and no doubt stated here knows it.
//! * **Hysteresis** shifts the onset with the feed: at most its own width. Let the comparator
//!   chatter (half hysteresis up to half a sigma of noise), and calibrate the rest: [`lateness`].
//! * **Short hold**: below ten mean dwells the ends of the chatter are cut (`short_hold`).
//! * **Slow drift and 1/f noise** are not in the doubt, nor is the tolerance of the capture clock,
//!   which belongs to spans.
//! * **A whole turn** of the counter without any call is invisible to the counter alone: see
//!   [`time::Counter`].
//!
//! This is measurement code, not a safety function: guards and emergency stop stay in charge.
//!
//! # Features
//!
//! None by default. `defmt` and `serde` derive their traits on public values, `fixed` converts
//! onsets and doubts into the types of that crate; `embedded-hal`, `embedded-hal-async`, `heapless`
//! and `critical-section` are for [`pins`].
#![no_std]
#![forbid(unsafe_code)]

pub mod barrier;
pub mod battery;
mod bits;
pub mod budget;
mod checked;
pub mod clock;
pub mod edge;
pub mod flags;
pub mod frame;
pub mod gauge;
pub mod head;
pub mod health;
pub mod hits;
pub mod latch;
pub mod lateness;
pub mod lines;
pub mod link;
pub mod onset;
pub mod pairing;
pub mod pins;
pub mod playout;
pub mod receiver;
mod rounded;
pub mod time;
pub mod wired;

/// The README's example is compiled and run with the doc tests.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
struct Readme;

#[cfg(test)]
mod drawn;
