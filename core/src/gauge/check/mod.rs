//! One check of a tool for breakage: whole, broken, or unproven with the reason.
//!
//! ```text
//!        Start        Go           Touch           Back           End
//! idle ───────▶ armed ───▶ approach ───▶ touched ──────▶ retract ───┬─▶ judged
//!                            ▲   │ Limit     held by time   Released, Beat  │
//!                            │   └──────────────────────────────────────────┤
//!                            └────────────── fewer touches than asked for ──┘
//! ```
//!
//! An attempt that proves nothing by what may pass (a droplet, a chip, a gap of the link) may be
//! made again, as often as the plan says: the axis goes back, and the next `Start` begins with
//! nothing kept. Each attempt needs all of its own evidence, so a broken tool is called whole at
//! most as often as one attempt would, times the attempts it takes: one but for the few it spoils.
//!
//! **Whole** needs evidence at every step, and all of it: READY from arming to the verdict, no
//! flag, two touches or more that agree within their doubt, each in the window, each blocked for a
//! hold, each released where it was made, and after each release a sign of life that a dead link
//! could not give. Anything else that is not proof of a break is **unproven**: nothing is ever
//! taken for sound because nothing was said.
//!
//! **Broken** needs one clean touch that is provably short, or the end of the travel without any
//! touch and the probe proven alive since the last verdict.
//!
//! A touch from a false blocking inside the window is why one touch never proves a tool; a chip
//! that lies on the plate, why two on one spot carry the note `same_spot`. The chance of a false
//! `whole` below 1e-9 is derived for different spots, with assumed rates of chips and droplets,
//! not from data: see [`CheckPlan::other_spot`].
//!
//! A measuring signal, not a safety function; no performance level is claimed; prove each program
//! at reduced feed with the tool clear; guards and emergency stop stay in charge.

mod config;
mod machine;
mod reasons;
#[cfg(test)]
mod tests;

pub use config::{Allowance, CheckConfig, CheckError, CheckPlan, CheckTimes};
pub use machine::{Check, Input, Motion, Output, Verdict};
pub use reasons::Reasons;
