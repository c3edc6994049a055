//! Pins: between the hardware of a board and the rooms that never touch any.
//!
//! ```text
//!  capture unit ─ interrupt: Capture::take ─▶ EdgeQueue or SharedQueue ─ main loop: Intake ─▶ Edge
//!  pin ──────────────────────────── Input::poll ─────────────────────────────────────────────▶ Edge
//!  Set::pins ─▶ Stage::write ─▶ pins,  ReadBack::read ─▶ Outputs::read_back
//! ```
//!
//! embedded-hal 1.0 has neither a clock nor a capture unit, so time is an argument everywhere and
//! [`Capture`] is a trait of this crate. Its pins may fail, also to be read: that is told as
//! [`Level::Unknown`] or as a cause to latch, never as a level. An awaited pin
//! (`embedded_hal_async::digital::Wait`) only wakes: it does not say when the edge was, so it may
//! call for a poll and never stands in for a capture.
//!
//! | feature | what it brings |
//! |---|---|
//! | none | [`Captured`], [`Capture`], [`Intake`] |
//! | `embedded-hal` | `Input`, `Stage`, `ReadBack`: pins of any board |
//! | `heapless` | `EdgeQueue`, lock-free, for one interrupt and one loop; not on RISC-V without atomics |
//! | `critical-section` | `SharedQueue` in a critical section; the image chooses how that is made |
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.

#[cfg(feature = "embedded-hal")]
mod input;
mod intake;
// heapless has it for cores with compare-and-swap, and of those without for Arm.
#[cfg(all(
    feature = "heapless",
    any(target_has_atomic = "ptr", target_arch = "arm")
))]
mod queue;
#[cfg(feature = "critical-section")]
mod shared;
#[cfg(feature = "embedded-hal")]
mod stage;

#[cfg(feature = "embedded-hal")]
pub use input::Input;
pub use intake::Intake;
#[cfg(all(
    feature = "heapless",
    any(target_has_atomic = "ptr", target_arch = "arm")
))]
pub use queue::{EdgeQueue, InterruptEnd, LoopEnd};
#[cfg(feature = "critical-section")]
pub use shared::SharedQueue;
#[cfg(feature = "embedded-hal")]
pub use stage::{NoPin, ReadBack, Stage};

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
/// faster than that. Two channels on one pin, one a direction, do it.
pub trait Capture {
    /// The oldest edge that was stamped and not taken yet. Called in the interrupt, until `None`.
    fn take(&mut self) -> Option<Captured>;

    /// The counter at this moment, for the main loop: at least once every half turn.
    fn count(&self) -> u32;
}
