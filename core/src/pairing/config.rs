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
/// A touch by hand lasts for so long at least, and from its end to the next one it takes so long
/// at least, ns.
const TOUCH_NS: u64 = 40_000_000;
const APART_NS: u64 = 150_000_000;

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PairingConfigError {
    /// Fewer than 1000 ticks in a second: a touch by hand could not be told from a jolt.
    Rate,
}

impl core::fmt::Display for PairingConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Rate => f.write_str("fewer than 1000 ticks in a second"),
        }
    }
}

impl core::error::Error for PairingConfigError {}

/// Times of a pairing: 5 s hold, 60 s window, a message every 100 ms; touches by hand of 40 ms at
/// least, 150 ms apart at least.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PairingConfig {
    pub(super) hold: u64,
    pub(super) window: u64,
    pub(super) again: u64,
    pub(super) erase_again: u64,
    pub(super) touch: u64,
    pub(super) apart: u64,
}

impl PairingConfig {
    /// For a side that counts ticks of `rate`.
    ///
    /// # Errors
    /// [`PairingConfigError`].
    pub const fn new(rate: TickRate) -> Result<Self, PairingConfigError> {
        if rate.hz() < 1_000 {
            return Err(PairingConfigError::Rate);
        }
        Ok(Self {
            hold: rate.ticks_from_ns(HOLD_NS),
            window: rate.ticks_from_ns(WINDOW_NS),
            again: rate.ticks_from_ns(AGAIN_NS),
            erase_again: rate.ticks_from_ns(ERASE_AGAIN_NS),
            touch: rate.ticks_from_ns(TOUCH_NS),
            apart: rate.ticks_from_ns(APART_NS),
        })
    }

    /// Other times, ticks, and messages at will: for walks through all states.
    #[cfg(feature = "walk")]
    #[must_use]
    pub const fn of_ticks(
        hold: u64,
        window: u64,
        erase_again: u64,
        touch: u64,
        apart: u64,
    ) -> Self {
        Self {
            hold,
            window,
            again: 0,
            erase_again,
            touch,
            apart,
        }
    }
}
