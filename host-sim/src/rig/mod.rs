//! A device under test that runs the library: a log goes to it, its touches come back and are
//! compared bit for bit with those of the same code here.
//!
//! ```text
//! LogReader ─▶ Feed ─▶ items ─┬─▶ Session ─▶ Port ══ serial line, TCP ══ device
//!                             │        └─▶ its reports ─┐
//!                             └─▶ Machine here ─────────┴─▶ equal? ─▶ Tested
//! ```
//!
//! The bytes on the line are described in the crate `trueonset_rig`.

mod difference;
mod feed;
mod port;
mod rows;
mod run;
mod session;

pub use difference::Difference;
pub use port::{open, Port};
pub use run::{run, Tested};
pub use session::{Counts, Session};
