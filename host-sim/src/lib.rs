//! Host side of trueonset.

pub mod model;
pub mod study;

pub mod cli;
pub mod fault;
pub mod gauge;
pub mod light;
pub mod log;
pub(crate) mod named;
pub mod quantity;
pub mod replay;
pub mod report;
pub mod rig;
pub mod scenario;
pub(crate) mod text;
pub mod tune;
