//! Clock: slots of the probe on the receiver's own time.
//!
//! A frame starts exactly at slot × T on the probe's clock. The probe's clock runs fast or slow,
//! and how fast changes; arrivals scatter. A [`Clock`] follows both and tells when any slot
//! begins on the capture clock of the receiver, and how far that may be off:
//!
//! ```text
//!  arrival ─┬─ Arrivals ───────────▶ line ─┐
//!           ├─ Minima: least of 8 ─▶ line ─┴▶ moment of a slot, period ─▶ Prediction: at, bound U
//!           │           scatter of both: which of the two    └▶ gate, slack, nearest slot
//!           └▶ monitor: intervals and a bounded rate ─▶ clash
//! ```
//!
//! * The line is the fading-memory filter of degree 1 (Morrison 1969, from memory), for unequal
//!   spacing `dt`: with θ = τ/(τ + dt) the offset takes 1 − θ² of a residual and the rate
//!   (1 − θ)² of it over `dt`. At equal spacing that is the least-squares line with weights θ^k.
//! * The memory τ is that of the [`Oscillator`], and half the time since the start before.
//! * [`Source`] says what feeds the line. A captured edge scatters evenly: every arrival counts.
//!   Stamps taken by software have a tail of late ones: then only the earliest of eight counts.
//!   Measured scatter decides, see [`Clock::source`].
//! * The bound U of a prediction is the sum of what scatter does to the line (6.5 standard
//!   deviations, out of the measured size of the residuals and the weights of the frames in
//!   memory), what the stated drift does to its lag, a tick of the capture, and for an edge half
//!   a step of its age.
//! * The monitor knows nothing of the line. It keeps the interval in which the slot start must
//!   lie if every accepted frame is at most a gate off and the oscillator keeps its word. An
//!   empty interval proves that one of both is not so.
//!
//! ```
//! use trueonset::clock::{Clock, ClockConfig, Oscillator};
//! use trueonset::time::{Instant, TickRate};
//!
//! let rate = TickRate::from_hz(16_000_000)?;
//! let config = ClockConfig::new(rate, 1_000_000, Oscillator::CRYSTAL)?; // slots of 1 ms
//! // A frame every five slots; the probe's clock is 25 ppm slow.
//! let arrives = |slot: u64| Instant::from_ticks(7_000 + slot * 16_000 + slot * 2 / 5);
//! let mut clock = Clock::start(&config, 100, arrives(100));
//! for slot in (105..400).step_by(5) {
//!     assert!(clock.fits(&config, slot, arrives(slot)));
//!     clock.update(&config, slot, arrives(slot));
//! }
//! assert!(clock.locked(&config));
//! assert_eq!(clock.nearest(405, arrives(405)), 405);
//! let start = clock.predict(&config, 405);
//! assert_eq!(start.at.nearest(), arrives(405));
//! assert!(start.doubt_ns(rate).is_some_and(|bound| bound < 1_000));
//! // An edge 5 ms (40 000 steps of 125 ns) before slot 405.
//! let edge = clock.predict_before(&config, 405, 40_000);
//! assert_eq!(edge.at.nearest(), arrives(400));
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```
//!
//! # Limits
//!
//! * A constant delay of all frames cannot be seen: it belongs to the calibrated delay. So does
//!   the mean of the scatter, which is another one for each [`Source`]: while the source changes
//!   the clock is not locked.
//! * An oscillator beyond its stated tolerance gets no bound that is too small: some ppm beyond
//!   the intervals [clash](Clock::clash) once in a memory, and farther than the line follows it is
//!   [out of tolerance](Clock::out_of_tolerance), and nothing has a bound. One that *changes* faster than was stated is
//!   not found before it leaves the gate, and until then its bound is too small.
//! * The bound holds for scatter that is independent from frame to frame and an oscillator within
//!   its stated limits. A relay that delays every frame a little more than the one before looks
//!   like a slow oscillator, until that leaves its tolerance.
//! * A frame after a gap weighs as much as those that were lost: where bursts of frames are lost,
//!   the line scatters up to 1.3 times as much as least squares, and the bound says so.

mod config;
mod jitter;
mod line;
mod moment;
mod monitor;
mod tracker;

pub use config::{ClockConfig, ClockConfigError, Oscillator};
pub use jitter::Source;
pub use tracker::{Clock, Prediction, MAX_SLOT};

#[cfg(test)]
mod tests;
