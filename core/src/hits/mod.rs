//! Hits: the interrupted contact of a turning cutter, merged into one touch.
//!
//! ```text
//! onset::Line (hold 20 µs) ─▶ Touch, Release of each hit ─▶ Hits ─▶ one Touch, one Release, Cutter
//! ```
//!
//! A cutter that turns while it touches strikes the plate once a tooth, or once a turn where one
//! tooth reaches furthest. Each hit is shorter than any hold that keeps glitches out, so a
//! [`Line`](crate::onset::Line) with a hold of [`SHORTEST_HIT_NS`] tells hits, and [`Hits`] merges
//! them:
//!
//! * a first hit is confirmed by a second one a whole number of tooth periods later, at most a
//!   turn; its leading edge is the onset;
//! * hits closer than 1.25 turns are one contact; it ends with the last of them;
//! * blocked for 1.25 turns without a break is a contact as well: the cutter stands, or the
//!   plate no longer comes back between two teeth;
//! * hits that nothing confirms are glitches: a chip, a droplet.
//!
//! [`Cutter`] is what the hits tell of the tool: period, hits a turn, widest hit, and which tooth
//! reaches deepest, where the motion of the plate allows telling.
//!
//! # Limits
//!
//! The first hit comes late by up to a turn's feed (of the tooth that reaches furthest), and later
//! by what a hit of 20 µs needs in depth, R·(ω·20 µs)²/8: that is position, not time, and not in
//! the doubt of the onset. A speed more than 12 % of a tooth period off, summed over the teeth
//! between two hits, confirms nothing.

mod config;
mod merge;
mod teeth;

pub use config::{HitsConfig, HitsError, SHORTEST_HIT_NS};
pub use merge::{Hits, HitsEvent};
pub use teeth::{Cutter, Deepest};

#[cfg(test)]
mod tests;
