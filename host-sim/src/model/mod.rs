//! Physics of a light barrier probe, one file per stage, truth known.
//!
//! ```text
//! approach -> blade -> light -> noise -> comparator -> glitches -> capture -> edges
//! (where)    (edge)   (level)  (hiss)    (trip)        (spikes)    (ticks)
//!   ^                    ^        |
//! vibration          film,        +----> adc -> samples
//! flutter,           droplets,           (counts)
//! cutter, plate      flicker, carrier, pink
//! ```
//!
//! [`touch::Scene`] joins the stages and makes the edges or the samples of one
//! touch; [`course`] joins what disturbs it, all of it off by default; [`rng`]
//! gives each touch a random stream of its own, so no result depends on
//! threads or on the order of the work. Source and limits of each stage stand
//! at the head of its file.
//!
//! Units are SI in `f64` (metres, seconds, hertz) up to the capture stage,
//! which turns seconds into whole ticks, and the converter, which turns light
//! into counts. The light is relative to full light of the clean barrier;
//! "blocked" is the level of a shaded receiver. Left out because it is a
//! constant delay: the lag of filter and comparator.

pub mod adc;
pub mod approach;
pub mod battery;
pub mod blade;
pub mod braking;
pub mod buckling;
pub mod bursts;
pub mod capture;
pub mod carrier;
pub mod channel;
pub mod comparator;
pub mod course;
pub mod cutter;
pub mod droplets;
pub mod film;
pub mod flicker;
pub mod flutter;
pub mod fresnel;
pub mod glitches;
pub mod light;
pub mod noise;
pub mod oscillator;
pub mod pink;
pub mod plate;
pub mod ramp;
pub mod ride;
pub mod rng;
pub mod sampling;
mod sine;
pub mod stamp;
pub(crate) mod stretches;
mod table;
pub mod touch;
pub mod vibration;
