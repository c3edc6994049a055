//! The blade: a straight, opaque edge that covers the beam from one side.
//!
//! What counts is only how far the edge stands in the beam; the light's
//! profile says how much that covers. Limits: no diffraction, no tilt, no wear.

use super::light::Profile;

/// A straight edge, mounted so that it reaches the middle of the beam when the
/// path's position is `offset`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Blade {
    /// Path position at which half the light is covered, m.
    pub offset: f64,
}

impl Blade {
    /// Share of the light that is covered with the path at `position` (m), 0 to 1.
    #[must_use]
    pub fn covered(&self, position: f64, profile: &Profile) -> f64 {
        1.0 - profile.transmitted(position - self.offset)
    }
}
