//! Random numbers for tests, the same on every run.

/// The number after `state`, which is not 0 (Marsaglia's xorshift).
pub(crate) fn step(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}

/// A stream of numbers that begins after `state`, which is not 0.
pub(crate) fn numbers(mut state: u64) -> impl FnMut() -> u64 {
    move || step(&mut state)
}
