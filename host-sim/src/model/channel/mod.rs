//! The air between probe and receiver: frames in, what is heard of them out.
//!
//! ```text
//! probe ──▶ gilbert, hopping ──▶ interference ──▶ corrupt ──▶ copies ──▶ stamp ──▶ heard
//! frames    lost in bursts       all lost         bits wrong  twice      when        ▲
//!   │                                                                                │
//!   └──▶ replayed later ──▶ interference ────────────────────────────────────────────┤
//!        foreign, noise ──▶ interference ────────────────────────────────────────────┘
//! ```
//!
//! [`Air`] joins the stages. It takes a frame as its slot, its time and 16
//! bytes, looks at none of them, and gives deliveries in the order of their
//! arrival. A second receiver hears every frame over a medium of its own; both
//! deliver, so most frames then come twice and one lost by one is mostly heard
//! by the other.
//!
//! Same setting and seed, same deliveries. The random numbers of a stage are
//! named by seed, purpose, receiver and slot, so a stage that is switched on
//! changes no draw of another: what is still heard is heard as before.
//!
//! All times are whole nanoseconds of one true clock. Everything but the
//! medium is off by default.

mod air;
pub mod copies;
pub mod corrupt;
pub mod foreign;
pub mod gilbert;
pub mod hopping;
pub mod interference;
pub mod stamp;
mod trials;

pub use air::Air;
pub use copies::Copies;
pub use corrupt::{BitErrors, ErrorBursts};
pub use foreign::Foreign;
pub use gilbert::{Gilbert, Loss};
pub use hopping::{Hopping, Medium};
pub use interference::Interference;
pub use stamp::Timing;

use super::rng::{self, Rng};
use crate::fault::Fault;

/// A frame on the air.
pub type Bytes = [u8; 16];

/// What the air does to frames.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Bursts, channels in turn, receivers.
    pub medium: Medium,
    /// Delay, length and jitter.
    pub timing: Timing,
    /// Times in which nothing is heard.
    pub interference: Interference,
    /// Wrong bits of frames heard.
    pub bit_errors: Option<BitErrors>,
    /// Wrong bits near each other.
    pub error_bursts: Option<ErrorBursts>,
    /// Frames heard twice.
    pub copies: Option<Copies>,
    /// Frames recorded and sent again by someone else.
    pub replays: Option<Copies>,
    /// Frames of others.
    pub foreign: Option<Foreign>,
}

impl Setting {
    /// This medium and these times, nothing else.
    #[must_use]
    pub fn new(medium: Medium, timing: Timing) -> Self {
        Self {
            medium,
            timing,
            interference: Interference::default(),
            bit_errors: None,
            error_bursts: None,
            copies: None,
            replays: None,
            foreign: None,
        }
    }

    fn check(&self) -> Result<(), Fault> {
        self.medium.check()?;
        self.timing.check()?;
        self.bit_errors.map_or(Ok(()), BitErrors::check)?;
        self.error_bursts.map_or(Ok(()), ErrorBursts::check)?;
        let again = |copies: &Option<Copies>, what| match copies {
            Some(copies) => copies.check(what),
            None => Ok(()),
        };
        again(&self.copies, "frames heard twice")?;
        again(&self.replays, "frames replayed")?;
        self.foreign.as_ref().map_or(Ok(()), Foreign::check)
    }
}

/// What happened to a frame on its way. For the study alone: a receiver cannot know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum What {
    /// Heard as sent.
    Clean,
    /// Heard with wrong bits.
    Damaged,
    /// A frame heard before, once more.
    Copy,
    /// A damaged frame heard before, once more.
    DamagedCopy,
    /// A frame of this probe, recorded and sent again.
    Replay,
    /// Of a neighbour with another number.
    Neighbour,
    /// Of a neighbour with the same number and another key.
    SameId,
    /// Random bits.
    Noise,
}

/// A frame as a receiver gets it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Delivery {
    /// When its bytes are there, ns.
    pub arrival_ns: u64,
    /// The captured instant of its begin, ns.
    pub stamp_ns: u64,
    /// Which receiver, from 0.
    pub receiver: u32,
    /// Its bytes.
    pub bytes: Bytes,
    /// What happened to it.
    pub what: What,
}

/// Where the frames went: `sent · receivers = heard + lost + jammed`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Frames sent by the probe.
    pub sent: u64,
    /// Lost by the medium, at each receiver.
    pub lost: u64,
    /// Not lost by the medium but met by interference, at each receiver.
    pub jammed: u64,
    /// Heard by a receiver, with wrong bits or without.
    pub heard: u64,
    /// Of them with wrong bits.
    pub damaged: u64,
    /// Copies heard.
    pub copies: u64,
    /// Replays heard.
    pub replays: u64,
    /// Foreign frames and noise heard.
    pub foreign: u64,
}

/// What random numbers are for; the numbers name streams and never change.
#[derive(Debug, Clone, Copy)]
enum Purpose {
    Medium = 1,
    Interference = 2,
    BitErrors = 3,
    ErrorBursts = 4,
    Copies = 5,
    Replays = 6,
    Foreign = 7,
    Stamp = 8,
}

/// Names the streams of the air among all others.
const NAME: u64 = 0x0061_6972;

/// The stream for one purpose; what `which` and `index` mean is up to it.
fn stream(seed: u64, purpose: Purpose, which: u64, index: u64) -> Rng {
    rng::stream(&[NAME, seed, purpose as u64, which, index])
}

#[cfg(test)]
mod tests;
