//! Pins: between the hardware of a board and the rooms that never touch any.
//!
//! ```text
//!  capture unit ─ interrupt: Capture::take ─▶ EdgeQueue or SharedQueue ─ main loop: Intake ─▶ Edge
//!  pin ──────────────────────────── Input::poll ─────────────────────────────────────────────▶ Edge
//!  Set::pins ─▶ Stage::write ─▶ pins,  ReadBack::read ─▶ Outputs::read_back
//! ```
//!
//! These are the parts. Put together for the three boards that there are:
//!
//! * `Comparator`: queue, intake and pin before one line, at the probe; `Polled` where a pin has no
//!   capture unit, for slow wires.
//! * `Terminal`: re-arm, output stage and read-back behind a receiver or a wired probe.
//! * [`Records`]: the two places in which a probe counts its starts and a board keeps its slots.
//!
//! embedded-hal 1.0 has neither a clock nor a capture unit, so time is an argument everywhere and
//! [`Capture`] is a trait of this crate. Its pins may fail, also to be read: that is told as
//! [`Level::Unknown`] or as a cause to latch, never as a level. An awaited pin
//! (`embedded_hal_async::digital::Wait`) only wakes: it does not say when the edge was, so it may
//! call for a poll and never stands in for a capture. The stamp comes from [`Capture`], always.
//!
//! | feature | what it brings |
//! |---|---|
//! | none | [`Captured`], [`Capture`], [`Channels`], [`Captures`], [`Intake`], [`Records`], [`Sleep`] |
//! | `embedded-hal` | `Input`, `Polled`, `Comparator`, `Stage`, `ReadBack`, `Terminal`: pins of any board |
//! | `embedded-hal-async` | `serve`: the main loop as a task that a pin wakes |
//! | `heapless` | `EdgeQueue`, lock-free, for one interrupt and one loop; not on RISC-V without atomics |
//! | `critical-section` | `SharedQueue` in a critical section; the image chooses how that is made |
//!
//! First steps on a board and the wiring of comparator, capture and output stage are told in
//! `examples/firmware/README.md`.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.

#[cfg(all(test, feature = "embedded-hal"))]
mod broken;
mod channels;
#[cfg(feature = "embedded-hal")]
mod comparator;
#[cfg(feature = "embedded-hal")]
mod input;
mod intake;
#[cfg(feature = "embedded-hal")]
mod polled;
// heapless has it for cores with compare-and-swap, and of those without for Arm.
#[cfg(all(
    feature = "heapless",
    any(target_has_atomic = "ptr", target_arch = "arm")
))]
mod queue;
mod records;
#[cfg(feature = "critical-section")]
mod shared;
mod sleep;
#[cfg(feature = "embedded-hal")]
mod stage;
#[cfg(feature = "embedded-hal")]
mod terminal;
#[cfg(feature = "embedded-hal-async")]
mod wake;

pub use channels::Channels;
#[cfg(feature = "embedded-hal")]
pub use comparator::Comparator;
#[cfg(feature = "embedded-hal")]
pub use input::Input;
pub use intake::{extended, Intake};
#[cfg(feature = "embedded-hal")]
pub use polled::Polled;
#[cfg(all(
    feature = "heapless",
    any(target_has_atomic = "ptr", target_arch = "arm")
))]
pub use queue::{EdgeQueue, InterruptEnd, LoopEnd};
pub use records::Records;
#[cfg(feature = "critical-section")]
pub use shared::SharedQueue;
pub use sleep::{NoSleep, Sleep};
#[cfg(feature = "embedded-hal")]
pub use stage::{NoPin, ReadBack, Stage};
#[cfg(feature = "embedded-hal")]
pub use terminal::{Decides, Looked, Terminal};
#[cfg(feature = "embedded-hal-async")]
pub use wake::serve;

use crate::edge::Level;

/// What a capture unit holds of one edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Captured {
    /// The counter as stamped, right aligned.
    pub raw: u32,
    /// The level after the edge; [`Level::Unknown`] where the unit cannot tell and the pin could
    /// not be read.
    pub level: Level,
    /// The unit stamped another edge before this one was read, and holds it no more.
    pub over: bool,
}

/// A timer channel that stamps both edges of a pin by hardware.
///
/// A channel that stamps one direction only must not be turned round by firmware: chatter is
/// faster than that. Two [`Channels`] on one pin, one a direction, do it.
pub trait Capture {
    /// The oldest edge that was stamped and not taken yet. Called in the interrupt, until `None`.
    fn take(&mut self) -> Option<Captured>;

    /// The counter at this moment, for the main loop: at least once every half turn.
    fn count(&self) -> u32;
}

/// The main loop's end of a queue of captures.
pub trait Captures {
    /// How many wait.
    fn waiting(&self) -> usize;

    /// The oldest.
    fn take(&mut self) -> Option<Captured>;

    /// How many found no room; wraps.
    fn lost(&self) -> u32;
}
