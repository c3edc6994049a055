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
    /// ΣV, 1/4 tick² (256/64, so that the quotient of the sums is ε² in 1/256 tick²).
    moments: u64,
    /// Σ(n−1)(n−0.57), 1/64.
    weights: u32,
    known: bool,
    rough_in_a_row: u8,
}

/// Weights at which the older half of the sums is forgotten.
const FULL: u32 = 1 << 22;
/// Edges from which on one touch alone teaches ε.
const TEACHES: u32 = 9;
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
            weights: 0,
            known: false,
            rough_in_a_row: 0,
        }
    }

    /// ε² in 1/256 tick², once a touch of nine edges or more was seen.
    #[must_use]
    pub fn edge_variance_256(&self) -> Option<u64> {
        if !self.known {
            return None;
        }
        self.moments
            .checked_div(u64::from(self.weights))
            .map(|e| e.max(1))
    }

    /// Whether `moment` (V, tick²) is far too wide for `edges`: six times what ε allows.
    pub(super) fn is_rough(&self, edges: u32, moment: u64) -> bool {
        match self.edge_variance_256() {
            Some(edge) if edges > 1 => {
                // V/(n−1) > 6·ε²·(n+1), both sides times 256 (n−1).
                let allowed = math::mul(math::mul(edge, edges.saturating_add(1)), edges - 1);
                moment.saturating_mul(256) > allowed.saturating_mul(6)
            }
            _ => false,
        }
    }

    /// Learns from the chatter of a touch.
    pub(super) fn learn(&mut self, edges: u32, moment: u64, rough: bool) {
        if rough && self.rough_in_a_row + 1 < BELIEVE {
            self.rough_in_a_row += 1;
            return;
        }
        self.rough_in_a_row = 0;
        // Long chatter is scaled down so that it counts as one touch among others.
        let scale = 2 * (32 - edges.leading_zeros()).saturating_sub(6);
        let weight = u64::from(edges - 1) * (64 * u64::from(edges)).saturating_sub(36);
        let moment = if scale >= 2 {
            moment >> (scale - 2)
        } else {
            moment.saturating_mul(4)
        };
        self.moments = self.moments.saturating_add(moment);
        self.weights = self.weights.saturating_add((weight >> scale) as u32);
        while self.weights > FULL {
            self.weights /= 2;
            self.moments /= 2;
        }
        self.known |= edges >= TEACHES;
    }
}
