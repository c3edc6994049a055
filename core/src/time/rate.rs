//! The tick rate and its conversions, each rounded once.

use core::num::NonZeroU32;

const NS_PER_S: u64 = 1_000_000_000;

/// Why a time could not be stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum TimeError {
    /// A tick rate of 0 Hz: no time passes.
    ZeroRate,
}

impl core::fmt::Display for TimeError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::ZeroRate => {
                f.write_str("tick rate is 0 Hz; state the timer's clock, 1 Hz or more")
            }
        }
    }
}

impl core::error::Error for TimeError {}

/// Ticks in a second of the capture clock, stated once at run time: 1 Hz to 4 294 967 295 Hz.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct TickRate(NonZeroU32);

impl TickRate {
    /// One tick a nanosecond: the rate of logs on a PC.
    pub const NANOSECONDS: Self = match NonZeroU32::new(1_000_000_000) {
        Some(hz) => Self(hz),
        None => Self(NonZeroU32::MIN),
    };

    /// The rate of `hz` ticks in a second.
    ///
    /// # Errors
    /// [`TimeError::ZeroRate`] for 0.
    pub const fn from_hz(hz: u32) -> Result<Self, TimeError> {
        match NonZeroU32::new(hz) {
            Some(hz) => Ok(Self(hz)),
            None => Err(TimeError::ZeroRate),
        }
    }

    /// Ticks in a second.
    #[must_use]
    pub const fn hz(self) -> u32 {
        self.0.get()
    }

    /// Nanoseconds in `ticks`, to the nearest one (error at most 0.5 ns); saturates at
    /// `u64::MAX`, 584 years.
    #[must_use]
    pub const fn ns(self, ticks: u64) -> u64 {
        scale(ticks, self.hz() as u64, NS_PER_S)
    }

    /// Ticks in `ns` nanoseconds, to the nearest one (error at most half a tick); saturates.
    #[must_use]
    pub const fn ticks_from_ns(self, ns: u64) -> u64 {
        scale(ns, NS_PER_S, self.hz() as u64)
    }
}

/// `x·to/from` to the nearest, half up, saturating. Both rates are below 2^32.
const fn scale(x: u64, from: u64, to: u64) -> u64 {
    let whole = x / from;
    // rest <= from - 1 and both rates are at most 2^32 - 1: rest·to + from/2 stays below 2^64.
    let rest = x % from;
    let fine = (rest * to + from / 2) / from;
    match whole.checked_mul(to) {
        Some(coarse) => coarse.saturating_add(fine),
        None => u64::MAX,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(x: u64, from: u64, to: u64) -> u64 {
        let (x, from, to) = (u128::from(x), u128::from(from), u128::from(to));
        u64::try_from((x * to + from / 2) / from).unwrap_or(u64::MAX)
    }

    #[test]
    fn zero_rate_is_refused() {
        assert_eq!(TickRate::from_hz(0), Err(TimeError::ZeroRate));
    }

    #[test]
    fn conversions_equal_128_bit_arithmetic() {
        let mut next = crate::drawn::numbers(0x9e37_79b9_7f4a_7c15);
        for _ in 0..200_000 {
            let hz = (next() >> (32 + next() % 31)) as u32 | 1;
            let x = next() >> (next() % 64);
            let rate = TickRate::from_hz(hz).unwrap();
            assert_eq!(rate.ns(x), exact(x, u64::from(hz), NS_PER_S), "{x} at {hz}");
            assert_eq!(rate.ticks_from_ns(x), exact(x, NS_PER_S, u64::from(hz)));
        }
        let fastest = TickRate::from_hz(u32::MAX).unwrap();
        assert_eq!(
            fastest.ns(u64::MAX),
            exact(u64::MAX, u64::from(u32::MAX), NS_PER_S)
        );
        assert_eq!(fastest.ticks_from_ns(u64::MAX), u64::MAX);
    }
}
