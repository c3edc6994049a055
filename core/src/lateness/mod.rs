//! Lateness: what comparator and filter add to every onset, and how it is calibrated out.
//!
//! A comparator with hysteresis switches late, and a filter delays. Seen along the path of the
//! blade, at feed `v`, both together move the onset by
//!
//! ```text
//! y(v) = h·(1 − exp(−v/v₀)) + v·L
//! ```
//!
//! `L` is the constant delay of filter and comparator. Half the hysteresis, as a length `h`, is a
//! constant *place* at fast feeds, where the light runs through it once. At slow feeds noise
//! carries the comparator over it, and it becomes a constant *time* `h/v₀`. The form between both
//! was derived for balance points of band-limited noise; it fits simulated chatter within 0.08
//! noise widths for hysteresis up to ±1 σ.
//!
//! A touch (make) and its release (break) at one feed are late by the same time, in opposite
//! directions: half the distance between them is `y`, whatever the place of the trip point. A
//! [`Calibrator`] takes such pairs at two or more feeds and solves for the constants; a
//! [`Lateness`] is what a firmware stores, with its own doubt, and takes off each contact.
//!
//! ```
//! use trueonset::lateness::Calibrator;
//!
//! let mut calibrator = Calibrator::<4>::new();
//! for (feed_nm_s, half_pm) in [
//!     (1_000_000, 5_800), // 60 mm/min: 5.8 nm
//!     (5_000_000, 27_500),
//!     (20_000_000, 103_600),
//!     (80_000_000, 365_100),
//! ] {
//!     for scatter_pm in [-900, 0, 900] {
//!         calibrator.pair(feed_nm_s, half_pm + scatter_pm)?;
//!     }
//! }
//! let lateness = calibrator.solve()?;
//! assert!((3_900_000..4_300_000).contains(&lateness.delay_ps())); // 4.1 µs of filter
//! # Ok::<(), trueonset::lateness::CalibrationError>(())
//! ```

mod calibrator;
mod fit;
mod solver;

pub use calibrator::{CalibrationError, Calibrator, FeedMean};
pub use fit::{Late, Lateness, LatenessError};

#[cfg(test)]
mod tests;
