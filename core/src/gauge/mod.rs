//! Gauge: from positions at contact to tool data.
//!
//! ```text
//! latch::Latched ─┬▶ check::Check    whole, broken or unproven, with the reasons
//!                 └▶ …
//! ```
//!
//! * [`check`] is one cycle of a check for breakage, step by step.
//!
//! Lengths are nanometres, uncertainties picometres; state is one small value, O(1) a call.
//!
//! A measuring signal, not a safety function; no performance level is claimed; prove each program
//! at reduced feed with the tool clear; guards and emergency stop stay in charge.

pub mod check;
mod reference;

pub use reference::{Reference, Side};
