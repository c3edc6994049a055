//! Link: which frames count, what they say of edges, and how long the probe is known to live.
//!
//! ```text
//!  frame, tag checked ─▶ clock fits? ─▶ seen? ─▶ covered by the store? ─▶ edges ─▶ playout
//!                          │ no                                             │
//!                          ▼                                                ▼
//!                     second sender                                 life: last slot up to which
//!                                                                   every edge has its time
//! ```
//!
//! **Why no touch is late while READY is up.** Life `last` is the start of the newest slot up to
//! which every edge is known with its time. A touch whose time is not known lies after `last`.
//! READY falls when `last` is older than `dead`, and `dead + 2 bound < delay`: so it has fallen
//! before the touch is due. Losses cost availability, never a late stop.
//!
//! **What a one-way link cannot close.** A relay that delays all frames alike from the join on
//! looks like distance. Frames recorded while the receiver was off, of slots above the stored
//! mark, can join it. Anyone who can send eight frames with the probe's number and a good CRC in
//! ten seconds stops the machine, as does a jammer. A whole touch inside a silence that drops
//! READY is not latched: the control sees READY fall. A loss of the receiver's power clears the
//! latch.

mod config;
mod grade;
mod machine;
mod slots;
mod store;
mod tally;
mod window;

pub(crate) use config::{is_slot, MOST_ID};
pub use config::{LinkConfig, LinkConfigError, LinkPlan};
pub use grade::{Grade, Grader};
#[cfg(feature = "walk")]
pub use machine::{About, Zero};
pub use machine::{Heard, Link, Outcome, State};
pub use slots::{Placed, ProbeTime, Slots};
pub use store::{Stored, Write, RECORD};
