//! Barrier: from raw light to the instant of contact.
//!
//! ```text
//! ADC count ─▶ scale ─▶ rest level ─▶ zones round the trip point ─▶ hard onset · refined Contact
//!              16 bit    noise, film   narrow (early) and wide (exact)      Optics: what light says
//! ```
//!
//! A [`Barrier`] takes one sample of the light after another, at a steady rate, and knows from
//! the count alone when each was taken. [`BarrierConfig`] is checked once. The trip point is a
//! share of the *rest level*, the light with no blade near, so that film on the lens moves
//! nothing; the rest level is followed slowly and only while nothing approaches. [`Optics`] tells
//! what the light says about the sensor itself, and puts its doubts on every touch as flags.
//! [`LightTest`] is the self-test: light off, and 'touched' must be seen.
//!
//! Idle samples cost an addition or two; a sample in a zone a few more, and no multiplication
//! with [`Method::Area`]. Levels are worked out anew a few times a second, never per sample.

mod config;
mod optics;
mod rest;
mod selftest;
mod sensor;

pub use config::{BarrierConfig, BarrierError, Method};
pub use optics::{Levels, Optics};
pub use selftest::{Lamp, LightTest, TestResult};

#[cfg(test)]
mod tests;
pub use sensor::{Barrier, Hard, Seen};
