//! The one lamp there is.

/// What the lamp of the board shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Lamp {
    /// Off: a key is in use, nothing is open.
    #[default]
    Off,
    /// Once a second: the window is open; plug the cable, and unplug it once it was written.
    Slow,
    /// Four times a second: the probe is heard under the new key; touch it twice.
    Fast,
    /// On: press the button once.
    Steady,
    /// Two flashes every two seconds: there is no key, or a pairing was not finished. Plug the
    /// cable, or hold the button for a new window.
    Unfinished,
    /// Three flashes every two seconds: the board's memory does not take what is written.
    Fault,
}

impl Lamp {
    /// Whether it is lit `ms` milliseconds after any zero.
    #[must_use]
    pub const fn is_lit(self, ms: u64) -> bool {
        let flash = ms % 2_000 / 150;
        match self {
            Self::Off => false,
            Self::Slow => ms % 1_000 < 500,
            Self::Fast => ms % 250 < 125,
            Self::Steady => true,
            Self::Unfinished => flash == 0 || flash == 2,
            Self::Fault => flash == 0 || flash == 2 || flash == 4,
        }
    }
}
