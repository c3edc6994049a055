//! Physics of a light barrier probe, one file per stage, truth known.
//!
//! ```text
//! approach -> blade -> light -> noise -> comparator -> glitches -> capture -> edges
//! (where)    (edge)   (level)  (hiss)    (trip)        (spikes)    (ticks)
//! ```
//!
//! [`touch::Scene`] joins the stages and makes the edges of one touch;
//! [`rng`] gives each touch a random stream of its own, so no result depends
//! on threads or on the order of the work.
//!
//! Units are SI in `f64` (metres, seconds, hertz) up to the capture stage,
//! which turns seconds into whole ticks. The light is relative to full light;
//! "blocked" is the level of a shaded receiver. Left out because it is a
//! constant delay: the lag of filter and comparator.

pub mod approach;
pub mod blade;
pub mod capture;
pub mod comparator;
pub mod glitches;
pub mod light;
pub mod noise;
pub mod rng;
pub mod touch;
