//! Replay: a log through the very code the firmware runs.
//!
//! ```text
//! log::LogReader ─▶ Engine (one core Line a line) ─▶ Happening ─▶ Order ─▶ Row
//! light::LightReader ─▶ LightEngine (one core Barrier a line) ──┘
//!                                                          └────▶ Waves
//! ```

mod channel;
pub mod clock;
mod engine;
mod light;
mod light_waves;
mod order;
pub mod row;
mod settings;
mod tally;
mod waves;

pub use engine::{check_names, Engine, Happening};
pub use light::{LightEngine, LightFacts};
pub use light_waves::LightWaves;
pub use order::{Lines, Order};
pub use row::{CutterRow, Row};
pub use settings::{Settings, Spindle};
pub use tally::Tally;
pub use waves::Waves;
