//! What a line has learned about its hardware from the chatter itself.

use super::math;

/// One constant of comparator and noise: ε², the squared noise width that one chatter edge
/// stands for, and how the balance point scatters per ε² (the factor c).
///
/// With σt the noise as a time, n the edges of a touch and V the signed second moment of its
/// edges, ε = σt/n at any feed and signal level; the estimate pools ε² = ΣV / Σ(n−1)(n−0.57)
/// over touches (the second factor removes what V loses to the scatter of the balance point).
/// Keep it over a power cycle with [`Line::learned`](super::Line::learned).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Chatter {
    /// ΣV, 1/64 tick².
    moments: u64,
    /// ε² of these sums in 1/256 tick²; 0 until it is known.
    edge_256: u64,
    /// Σ(n−1)(n−0.57), 1/64.
    weights: u32,
    rough_in_a_row: u8,
}

/// Weights at which the older half of the sums is forgotten.
const FULL: u32 = 1 << 22;
/// Weight of what was known before, as a power of two.
const KNOWN_BITS: u32 = 17;
/// Edges from which on one touch alone teaches ε.
const TEACHES: u32 = 9;
/// ε² may be so many times that of the stated bandwidth: hysteresis of one sigma makes it 7.
pub(super) const ABOVE_STATED: u64 = 8;
/// Rough touches in a row after which they are believed.
const BELIEVE: u8 = 8;

impl Default for Chatter {
    fn default() -> Self {
        Self::new()
    }
}

impl Chatter {
    /// Nothing learned yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            moments: 0,
            edge_256: 0,
            weights: 0,
            rough_in_a_row: 0,
        }
    }

    /// With ε² known from an earlier time, 1/256 tick²; 0 is not known. What comes refines it,
    /// as if it were the third touch of long chatter.
    #[must_use]
    pub const fn known(edge_variance_256: u64) -> Self {
        if edge_variance_256 >> 40 != 0 {
            return Self::new();
        }
        Self {
            // Σ(n−1)(n−0.57) and ΣV to match, both in 1/64.
            moments: edge_variance_256 << (KNOWN_BITS - 8),
            edge_256: edge_variance_256,
            weights: if edge_variance_256 > 0 {
                1 << KNOWN_BITS
            } else {
                0
            },
            rough_in_a_row: 0,
        }
    }

    /// ε² in 1/256 tick², once a touch of nine edges or more was seen.
    #[must_use]
    pub const fn edge_variance_256(&self) -> Option<u64> {
        if self.edge_256 == 0 {
            None
        } else {
            Some(self.edge_256)
        }
    }

    /// Whether `moment` (V, tick²) is far too wide for `edges`: six times what ε allows, or what
    /// the stated bandwidth allows before anything was learned.
    pub(super) fn is_rough(&self, edges: u32, moment: u64, stated_256: u64) -> bool {
        let edge_256 = match self.edge_256 {
            0 => stated_256.saturating_mul(ABOVE_STATED),
            learned => learned,
        };
        if edge_256 == 0 || edges < 2 {
            return false;
        }
        // V/(n−1) > 6·ε²·(n+1), both sides times 256 (n−1).
        let allowed = math::mul(math::mul(edge_256, edges + 1), edges - 1);
        moment.saturating_mul(256) > allowed.saturating_mul(6)
    }

    /// Learns from the chatter of a touch; `edges` is at most 2^28. Returns whether the chatter
    /// was within what the arithmetic holds.
    pub(super) fn learn(&mut self, edges: u32, moment: u64, rough: bool) -> bool {
        if rough && self.rough_in_a_row + 1 < BELIEVE {
            self.rough_in_a_row += 1;
            return true;
        }
        self.rough_in_a_row = 0;
        // Long chatter is scaled down so that it counts as one touch among others.
        let scale = 2 * (32 - edges.leading_zeros()).saturating_sub(6);
        let weight = u64::from(edges - 1) * (64 * u64::from(edges) - 36);
        let moment = if scale >= 6 {
            Some(moment >> (scale - 6))
        } else {
            moment.checked_mul(64 >> scale)
        };
        let Some(moments) = moment.and_then(|moment| self.moments.checked_add(moment)) else {
            return false;
        };
        self.moments = moments;
        self.weights = self.weights.saturating_add((weight >> scale) as u32);
        while self.weights > FULL {
            self.weights /= 2;
            self.moments /= 2;
        }
        if edges >= TEACHES || self.edge_256 > 0 {
            self.edge_256 = math::quotient_256(self.moments, self.weights).max(1);
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_touch_of_nine_edges_states_its_own_constant() {
        let mut chatter = Chatter::new();
        assert!(chatter.learn(8, 10_000_000, false));
        assert_eq!(chatter.edge_variance_256(), None);
        let mut chatter = Chatter::new();
        assert!(chatter.learn(9, 20_000_000, false));
        // V / ((n−1)(n−0.57)), with 0.5625 for 0.57.
        let exact = 256.0 * 20_000_000.0 / (8.0 * (9.0 - 0.5625));
        let learned = chatter.edge_variance_256().unwrap() as f64;
        assert!((learned / exact - 1.0).abs() < 1e-6, "{learned} {exact}");
    }

    #[test]
    fn what_was_known_is_stated_and_refined() {
        let mut chatter = Chatter::known(900 * 256);
        assert_eq!(chatter.edge_variance_256(), Some(900 * 256));
        for _ in 0..200 {
            // (n−1)(n−0.5625) · 1600, n = 63.
            assert!(chatter.learn(63, 6_193_600, false));
        }
        let learned = chatter.edge_variance_256().unwrap() / 256;
        assert!((1_580..1_600).contains(&learned), "{learned}");
        assert_eq!(Chatter::known(0), Chatter::new());
        assert_eq!(Chatter::known(u64::MAX), Chatter::new());
    }

    #[test]
    fn long_and_short_chatter_of_one_hardware_agree() {
        for edges in [9, 63, 64, 1_000, 150_000, 1 << 26] {
            let mut chatter = Chatter::new();
            let n = f64::from(edges);
            let moment = 900.0 * (n - 1.0) * (n - 0.5625);
            for _ in 0..200 {
                assert!(chatter.learn(edges, moment as u64, false));
            }
            let learned = chatter.edge_variance_256().unwrap() as f64 / 256.0;
            assert!((learned / 900.0 - 1.0).abs() < 0.002, "{edges}: {learned}");
        }
    }

    #[test]
    fn rough_touches_teach_only_when_they_keep_coming() {
        let mut chatter = Chatter::new();
        assert!(chatter.learn(9, 20_000_000, false));
        let before = chatter.edge_variance_256();
        assert!(chatter.is_rough(9, 2_000_000_000, 0));
        let new = Chatter::new();
        assert!(!new.is_rough(9, 2_000_000_000, 0) && new.is_rough(9, 2_000_000_000, 10_000));
        for _ in 0..7 {
            assert!(chatter.learn(9, 2_000_000_000, true));
            assert_eq!(chatter.edge_variance_256(), before);
        }
        assert!(chatter.learn(9, 2_000_000_000, true));
        assert!(chatter.edge_variance_256() > before);
    }
}
