//! Independent checks of trueonset.

pub mod reference;
