//! Gauge: from positions at contact to tool data.
//!
//! ```text
//! latch::Latched ─┬▶ check::Check      whole, broken or unproven, with the reasons
//!                 ├▶ Touches, Reference   length: touches that agree, from a known gauge
//!                 ├▶ Quantum              radius: a turning cutter is late by half a tooth's feed,
//!                 │                       or by what its hits say
//!                 ├▶ Study, Spread        repeatability, with days
//!                 └▶ Wear ─▶ Cusum        wear, cycles left, and a change that came to stay
//! hits::Hits ──────▶ ToothHeights         run-out by tooth, and the first hit's lateness
//!                    Sequential           a break so small that single touches do not tell
//!                    Drift                how long a reference holds
//! ```
//!
//! * [`check`] is one cycle of a check for breakage, step by step.
//! * [`Touches`] tests agreement with the known doubt and finds the place; [`Reference`] turns it
//!   into a length or radius, [`Quantum`] takes off what a turning cutter is late by.
//! * [`ToothHeights`] tells the heights of the teeth out of the widths of their hits.
//! * [`Wear`] and [`Cusum`] follow a tool, [`Drift`] bounds an axis, [`Study`] judges a probe.
//!
//! Lengths are nanometres, uncertainties picometres; state is one small value, O(1) a call. How
//! sure a result is comes from [`budget`](crate::budget).
//!
//! A measuring signal, not a safety function; no performance level is claimed; prove each program
//! at reduced feed with the tool clear; guards and emergency stop stay in charge.

mod alarm;
pub mod check;
mod drift;
mod limits;
mod quantum;
mod reference;
mod sequential;
mod spread;
mod study;
mod teeth;
mod touches;
mod wear;

pub use alarm::Cusum;
pub use drift::Drift;
pub use limits::{deviation_limits, DeviationLimits};
pub use quantum::{Quantum, QuantumError};
pub use reference::{Reference, Side};
pub use sequential::{Sequential, SequentialError, Weighed};
pub use spread::Spread;
pub use study::{Found, Holds, MeanSquares, Meaning, Study, StudyError, FEWEST_DAYS};
pub use teeth::{FirstHit, Height, TeethError, ToothHeights};
pub use touches::{Located, Place, Touches, MOST_TOUCHES};
pub use wear::{CyclesLeft, Trend, Wear};
