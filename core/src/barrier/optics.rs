//! What the light says about the sensor itself.

use crate::flags::Flags;

/// The state of the optics. A touch carries its flags; who judges health reads all of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Optics {
    /// Light with no blade near, counts.
    pub rest_counts: u16,
    /// Noise of one sample, 1/256 count, standard deviation.
    pub noise_counts_256: u32,
    /// Light lost to film, ‰ of the clean rest level; `None` where that was not stated.
    pub film_permille: Option<u16>,
    /// How fast film takes light, ‰ of the clean level an hour, over the last ten minutes;
    /// negative where light comes back, 0 until ten minutes have passed.
    pub film_rate_permille_per_h: i16,
    /// Any of `film`, `dark`, `saturated`, `flicker`, `stuck`, `not_settled`.
    pub flags: Flags,
}

/// The light levels a barrier judges by, in 1/256 count: what a picture of a touch needs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Levels {
    /// Light with no blade near.
    pub rest: u32,
    /// Trip point.
    pub trip: u32,
    /// Lower and upper end of the zone of the early onset.
    pub narrow: (u32, u32),
    /// The same of the refined onset.
    pub wide: (u32, u32),
    /// Its guards: light beyond them has left it.
    pub guard: (u32, u32),
}

impl Optics {
    /// Whether nothing is wrong: only then does the absence of a touch mean anything.
    #[must_use]
    pub const fn is_clear(&self) -> bool {
        self.flags.is_empty()
    }
}
