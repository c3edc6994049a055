//! A feed class: touches that the host promises to make at one feed.

use super::math;

/// What touches at one declared feed have in common.
///
/// A single clean edge cannot tell how much noise it had: at every noise it looks the same. Many
/// touches at one feed can, by how often one of them chatters. The promise is the host's: two
/// feeds mixed in one class understate the doubt of the slower one.
///
/// A line holds the class of its present feed; keep the others and exchange them with
/// [`Line::exchange_class`](super::Line::exchange_class) when the feed changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct FeedClass {
    pairs: u32,
    touches: u16,
    odd: u8,
}

/// Var(t*) / ε² at pooled pair rates 2^0, 2^-1, .. 2^-12, in 1/1024.
///
/// Closed form of the balance point's variance at the crossing rate of a ramp (Rice), for a
/// fourth-order low-pass; the study behind it is reproduced in `host-sim`'s grid.
const RELATIVE_1024: [u16; 13] = [
    1976, 1229, 819, 573, 420, 317, 246, 195, 154, 129, 109, 93, 81,
];

/// Var(t*) / ε² at a pair rate of `n`: 0.68·(2n + 1), in 1/1024, for n of one or more.
const BUSY_1024: u32 = 696;

/// The count at which a class forgets its older half.
const FULL: u16 = 1024;

impl FeedClass {
    /// A class of which nothing is known yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            pairs: 0,
            touches: 0,
            odd: 0,
        }
    }

    /// Touches counted (older ones with half their weight).
    #[must_use]
    pub const fn touches(&self) -> u16 {
        self.touches
    }

    /// Whether it has seen enough to speak of its own: 16 touches, two of which chattered.
    pub(super) const fn settled(self) -> bool {
        self.touches >= 16 && self.pairs >= 2
    }

    /// Counts a touch of `edges` edges; `rough` ones count as clean, their chatter is not noise.
    pub(super) fn count(&mut self, edges: u32, rough: bool) {
        let pairs = (edges - 1) / 2;
        // With the mean N of the class: twice in a row above 4N + 4, or N above 3 (pairs + 1).
        let here = u64::from(pairs) * u64::from(self.touches);
        let (sum, touches) = (u64::from(self.pairs), u64::from(self.touches));
        self.odd = if here > 4 * (sum + touches) {
            self.odd.saturating_add(1)
        } else {
            0
        };
        if self.odd >= 2 || 3 * (here + touches) < sum {
            *self = Self::new();
        }
        if !rough {
            self.pairs = self.pairs.saturating_add(pairs);
        }
        self.touches += 1;
        if self.touches >= FULL {
            self.touches /= 2;
            self.pairs /= 2;
        }
    }

    /// Var(t*) / ε² in 1/1024.
    pub(super) fn relative_variance_1024(self) -> u32 {
        let twice_pairs = 2 * u64::from(self.pairs) + 1;
        let touches = u32::from(self.touches.max(1));
        // The pair rate is (pairs + 1/2) / touches.
        if twice_pairs >= 2 * u64::from(touches) {
            let rate_256 = math::quotient(twice_pairs << 7, touches);
            let busy = math::mul(2 * rate_256 + 256, BUSY_1024) >> 8;
            return u32::try_from(busy).unwrap_or(u32::MAX);
        }
        // At most 1024 touches, and fewer pairs: it fits.
        let touches_a_pair = math::quotient(u64::from(touches) << 9, twice_pairs as u32);
        math::by_octave(&RELATIVE_1024, touches_a_pair as u32, 8)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_falls_with_the_number_of_single_edges() {
        // After m single edges: 0.20/fc (10), 0.13 (100), 0.097 (1000), with epsilon 0.3183/fc.
        let mut class = FeedClass::new();
        let mut seen = 0;
        for (touches, limit) in [(10, 0.20), (100, 0.13), (1000, 0.097)] {
            while seen < touches {
                class.count(1, false);
                seen += 1;
            }
            let relative = f64::from(class.relative_variance_1024()) / 1024.0;
            let doubt = 0.31825 * relative.sqrt();
            assert!((doubt / limit - 1.0).abs() < 0.06, "{touches}: {doubt}");
        }
    }

    #[test]
    fn two_surprises_or_a_drop_clear_the_class() {
        let mut class = FeedClass::new();
        for _ in 0..50 {
            class.count(1, false);
        }
        class.count(15, false);
        assert_eq!(class.touches(), 51);
        class.count(15, false);
        assert_eq!(class.touches(), 1);
        for _ in 0..50 {
            class.count(41, false);
        }
        class.count(1, false);
        assert_eq!(class.touches(), 1);
    }

    #[test]
    fn a_full_class_forgets_and_never_overflows() {
        let mut class = FeedClass::new();
        for _ in 0..5000 {
            class.count(u32::MAX, false);
            assert!(class.touches() < FULL);
        }
        assert!(class.relative_variance_1024() > 1024);
    }
}
