//! Random numbers for tests, the same on every run.

/// A stream of numbers (Marsaglia's xorshift).
pub(crate) fn numbers(seed: u64) -> impl FnMut() -> u64 {
    let mut state = seed ^ 0x9e37_79b9_7f4a_7c15;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    }
}
