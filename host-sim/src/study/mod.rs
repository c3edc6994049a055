//! What theory says, what a Monte Carlo run finds, and how sure it is.
//!
//! [`closed_form`] holds the formulas, [`statistics`] the summaries with their
//! standard errors, [`baseline`] the simple methods to compare with, and
//! [`runner`] drives the very lines of the core over simulated touches, and
//! [`sweep`] does so over a grid of scenarios.

pub mod advice;
pub mod allan;
pub mod baseline;
pub mod burst_loss;
pub mod checks;
pub mod clocked;
pub mod closed_form;
pub mod cutters;
pub mod false_touches;
pub mod graded;
pub mod judged;
pub mod over_air;
pub mod packs;
pub mod ready_drops;
pub mod replayed;
pub mod runner;
pub mod sampled;
pub mod statistics;
pub mod summary;
pub mod sweep;
pub mod touches;
