//! Independent checks of trueonset.

pub mod noise;
pub mod reference;
