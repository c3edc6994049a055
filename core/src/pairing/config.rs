//! Times of a pairing, in ticks of the board.

use crate::time::TickRate;

/// The button must be held for so long, ns.
const HOLD_NS: u64 = 5_000_000_000;
/// From then on everything must be done within this, ns.
const WINDOW_NS: u64 = 60_000_000_000;
/// From one message into the cable to the next where no answer comes, ns.
const AGAIN_NS: u64 = 100_000_000;
/// From one try to the next at a place that does not let itself be erased, ns.
const ERASE_AGAIN_NS: u64 = 1_000_000_000;

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PairingConfigError {
    /// Fewer than ten ticks in a second: messages could not be told apart in time.
    Rate,
}

impl core::fmt::Display for PairingConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Rate => f.write_str("the board counts fewer than 10 ticks in a second"),
        }
    }
}

impl core::error::Error for PairingConfigError {}

/// Times of a pairing: 5 s hold, 60 s window, a message every 100 ms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PairingConfig {
    pub(super) hold: u64,
    pub(super) window: u64,
    pub(super) again: u64,
    pub(super) erase_again: u64,
}

impl PairingConfig {
    /// For a board that counts ticks of `rate`.
    ///
    /// # Errors
    /// [`PairingConfigError`].
    pub const fn new(rate: TickRate) -> Result<Self, PairingConfigError> {
        if rate.hz() < 10 {
            return Err(PairingConfigError::Rate);
        }
        Ok(Self {
            hold: rate.ticks_from_ns(HOLD_NS),
            window: rate.ticks_from_ns(WINDOW_NS),
            again: rate.ticks_from_ns(AGAIN_NS),
            erase_again: rate.ticks_from_ns(ERASE_AGAIN_NS),
        })
    }

    /// Other times, ticks: for walks through all states.
    #[cfg(feature = "walk")]
    #[must_use]
    pub const fn of_ticks(hold: u64, window: u64, again: u64, erase_again: u64) -> Self {
        Self {
            hold,
            window,
            again,
            erase_again,
        }
    }
}
