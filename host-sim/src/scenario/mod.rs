//! Scenarios: what a simulation is told, as TOML.
//!
//! ```text
//! file ─▶ Tables (every key checked alone) ─▶ Scenario (checked as a whole) ─▶ Cell, log, sweep
//!            ▲ --vary sets keys
//! ```
//!
//! `keys` is the one list of keys with unit, range, default and allowed words; messages and the manual are made
//! from it. All keys are optional. Quantities carry their unit in quotes; numbers without a unit stand bare:
//!
//! ```
//! use trueonset_sim::scenario::{Scenario, Tables};
//! let tables = Tables::parse("[approach]\nfeed = \"60mm/min\"\n[barrier]\nhysteresis = 0.5\n", "s.toml")?;
//! let scenario = Scenario::of(&tables)?;
//! assert!((scenario.feed - 0.001).abs() < 1e-15);
//! let why = Tables::parse("[barrier]\nspam = \"150um\"\n", "s.toml").unwrap_err();
//! assert!(why.to_string().contains("did you mean span?"));
//! # Ok::<(), trueonset_sim::fault::Fault>(())
//! ```

mod battery;
mod control;
mod drawn;
mod idle;
mod keys;
pub(crate) mod kind;
mod link;
pub(crate) mod nearest;
mod setup;
mod stages;
pub(crate) mod tables;

pub(crate) use battery::unfit;
pub use control::{slim, Control, Latching};
pub use drawn::{draw, Drawn, Light, Touch, LINE};
pub use idle::{idle_in_advice, idle_in_log, idle_in_sweep};
pub use keys::manual;
pub use kind::Value;
pub use link::Link;
pub use setup::{Method, Scenario, Sensing};
pub use tables::Tables;
