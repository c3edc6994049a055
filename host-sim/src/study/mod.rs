//! What theory says, what a Monte Carlo run finds, and how sure it is.
//!
//! [`closed_form`] holds the formulas, [`statistics`] the summaries with their
//! standard errors, [`baseline`] the simple methods to compare with, and
//! [`runner`] drives the very lines of the core over simulated touches.

pub mod baseline;
pub mod closed_form;
pub mod judged;
pub mod runner;
pub mod sampled;
pub mod statistics;
pub mod summary;
