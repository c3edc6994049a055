//! Chatter of a comparator, drawn from a seed: at least 50 edges a touch, as slow feeds give.

/// Fewest edges of an episode; always odd, so that the last edge arrives.
const FEWEST: u32 = 51;
const MOST: u32 = 151;
/// Longest dwell between two edges, in ticks (50 µs at 16 MHz).
const DWELL: u32 = 800;
/// One dwell in so many is long: over half a hold, as at both ends of slow chatter.
const LONG_IN: u32 = 32;
const LONG: u32 = 9_000;
/// Rest after the last edge, in ticks: longer than the hold of 1 ms.
const REST: u32 = 20_000;

/// Where the generator stands.
pub struct Chatter {
    random: u32,
    now: u32,
}

impl Chatter {
    /// From `seed`, at the counter value `now`.
    pub const fn new(seed: u32, now: u32) -> Self {
        // The generator stays at zero for ever, so it never starts there.
        Self {
            random: seed.wrapping_mul(2_654_435_761) | 1,
            now,
        }
    }

    /// Edges of the next episode.
    pub fn episode(&mut self) -> u32 {
        FEWEST + 2 * (self.draw() % ((MOST - FEWEST) / 2 + 1))
    }

    /// The counter at the next edge.
    pub fn next_edge(&mut self) -> u32 {
        let long = if self.draw().is_multiple_of(LONG_IN) {
            LONG
        } else {
            0
        };
        self.now = self.now.wrapping_add(1 + long + self.draw() % DWELL);
        self.now
    }

    /// The counter after a rest of one to two holds and more.
    pub fn rest(&mut self) -> u32 {
        self.now = self.now.wrapping_add(REST + self.draw() % REST);
        self.now
    }

    /// The counter now.
    pub const fn now(&self) -> u32 {
        self.now
    }

    /// Xorshift (Marsaglia 2003), 32 bits.
    fn draw(&mut self) -> u32 {
        self.random ^= self.random << 13;
        self.random ^= self.random >> 17;
        self.random ^= self.random << 5;
        self.random
    }
}
