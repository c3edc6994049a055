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
//! that lies on the plate, why two on one spot carry the note `same_spot`.
//!
//! The chance that a broken tool is called whole is below 1e-9, of four causes with 2.5e-10 each:
//! noise (the guard of bounds and 6.3 doubts, as long as these are [known well](crate::budget::guard_milli));
//! droplets and pulses, which neither block for 20 ms (the longest droplet is assumed to pass in 5 ms)
//! nor release where the tool would; and chips: one touch in a thousand is assumed to meet one, of any
//! height up to 1 mm, so two of them lie in a window `W` within `A` of each other (both in mm) with
//! `(10⁻³)²·W·A`, 10⁻¹¹ for 30 µm and 0.35 µm. That wants two [spots](CheckPlan::other_spot), a hold of
//! 20 ms and more, and a release within a part of the window; the rates are assumed, not data. On one
//! spot a chip agrees with itself: `10⁻³·W`.
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
