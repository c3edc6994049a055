//! Onset: from chattering edges to the true instant of contact and its doubt.
//!
//! [`Config`] is checked once; a [`Line`] takes edges and the passing of time and gives
//! [`Event`]s. See [`Line`] for the estimators and [`Contact`] for what is reported.

mod chatter;
mod class;
mod config;
mod contact;
mod doubt;
mod line;
pub(crate) mod math;
pub(crate) mod soft_clip;
mod zone;

pub use chatter::Chatter;
pub use class::FeedClass;
pub use config::{Config, ConfigError, Touched, Truncation};
pub use contact::{Contact, Doubt, DoubtKind, Event, Glitch, Tally};
pub use line::Line;

pub(crate) use soft_clip::{GUARD_PERMILLE, HALF_PERMILLE};
pub(crate) use zone::{Band, Left, Weigh, Zone};

#[cfg(test)]
mod tests;
