//! Replay: a log through the very code the firmware runs.
//!
//! ```text
//! log::LogReader ─▶ Engine (one core Line a line) ─▶ Happening ─▶ Order ─▶ Row
//!                                                          └────▶ Waves
//! ```

pub mod clock;
mod engine;
mod order;
pub mod row;
mod settings;
mod tally;
mod waves;

pub use engine::{check_names, Engine, Happening};
pub use order::Order;
pub use row::Row;
pub use settings::Settings;
pub use tally::Tally;
pub use waves::Waves;
