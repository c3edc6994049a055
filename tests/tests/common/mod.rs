//! What the laws share.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use trueonset::time::Instant;

/// The same cases on every run.
pub(crate) fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_251),
        ..ProptestConfig::default()
    }
}

#[allow(dead_code)] // Not every room has a time.
pub(crate) fn at(ticks: u64) -> Instant {
    Instant::from_ticks(ticks)
}
