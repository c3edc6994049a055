//! What a user decides about a line, checked once.

use crate::edge::Level;
use crate::time::TickRate;

/// The level that means 'the tool touches'.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Touched {
    /// The line goes high in contact.
    #[default]
    High,
    /// The line goes low in contact.
    Low,
}

/// Which tick a capture unit stores for an edge that falls between two.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Truncation {
    /// The step before the edge; half a step is added. What timer capture usually does.
    #[default]
    Before,
    /// The nearest step; nothing is corrected.
    Nearest,
    /// The step after the edge; half a step is subtracted.
    After,
}

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ConfigError {
    /// The hold rounds to zero ticks: every edge would be a touch.
    HoldTooShort,
    /// The hold is longer than [`Config::MAX_HOLD_TICKS`].
    HoldTooLong,
    /// A bandwidth of 0 Hz.
    ZeroBandwidth,
    /// A capture step of zero or of more than 2^16 ticks.
    CaptureStep,
}

impl core::fmt::Display for ConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::HoldTooShort => "hold is below one tick; state a longer hold",
            Self::HoldTooLong => {
                "hold is above 2^31 - 1 ticks; state a shorter hold or a slower tick"
            }
            Self::ZeroBandwidth => {
                "bandwidth is 0 Hz; state the comparator's or filter's bandwidth"
            }
            Self::CaptureStep => "capture step is not within 1/256 to 65536 ticks",
        })
    }
}

impl core::error::Error for ConfigError {}

/// The settings of a line; one may serve many lines.
///
/// ```
/// use trueonset::onset::{Config, Touched};
/// use trueonset::time::TickRate;
///
/// const RATE: TickRate = match TickRate::from_hz(16_000_000) {
///     Ok(rate) => rate,
///     Err(_) => panic!("rate"),
/// };
/// const CONFIG: Config = match Config::new(RATE, 1_000_000) {
///     Ok(config) => config.touched(Touched::Low),
///     Err(_) => panic!("hold"),
/// };
/// assert_eq!(CONFIG.hold_ticks(), 16_000);
/// ```
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Config {
    rate: TickRate,
    hold: u32,
    release_hold: u32,
    touched_level: Level,
    /// ε² from the stated bandwidth, 1/256 tick²; 0 where none was stated.
    pub(super) prior_256: u64,
    /// Variance of the rounding of one stamp, step²/12, in 1/256 tick².
    pub(super) step_variance_256: u64,
    /// What truncation takes from every stamp, in 1/256 tick.
    pub(super) lag_256: i32,
}

impl Config {
    /// The longest hold: 2.1 s at 1 GHz, 134 s at 16 MHz.
    pub const MAX_HOLD_TICKS: u32 = i32::MAX as u32;

    /// Settings with the given hold for touch and release; touched is high, each capture is
    /// truncated to the tick before, the bandwidth is not known.
    ///
    /// `hold_ns`: how long a level must last to count, in nanoseconds, rounded to ticks. Ten mean
    /// dwells of the chatter or more (1 ms at 100 kHz); 100 µs and more reject single glitches up
    /// to 50 µs.
    ///
    /// # Errors
    /// [`ConfigError::HoldTooShort`] and [`ConfigError::HoldTooLong`].
    pub const fn new(rate: TickRate, hold_ns: u64) -> Result<Self, ConfigError> {
        let hold = match hold_ticks(rate, hold_ns) {
            Ok(hold) => hold,
            Err(why) => return Err(why),
        };
        let config = Self {
            rate,
            hold,
            release_hold: hold,
            touched_level: Level::High,
            prior_256: 0,
            step_variance_256: 0,
            lag_256: 0,
        };
        config.capture(Truncation::Before, 256)
    }

    /// States which level means contact.
    #[must_use]
    pub const fn touched(mut self, touched: Touched) -> Self {
        self.touched_level = match touched {
            Touched::High => Level::High,
            Touched::Low => Level::Low,
        };
        self
    }

    /// A hold of its own for the release, in nanoseconds.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub const fn release_hold(mut self, hold_ns: u64) -> Result<Self, ConfigError> {
        match hold_ticks(self.rate, hold_ns) {
            Ok(hold) => {
                self.release_hold = hold;
                Ok(self)
            }
            Err(why) => Err(why),
        }
    }

    /// States the bandwidth of comparator or filter in Hz, used until the chatter itself has
    /// taught the line better. One chatter edge is then worth 0.32 / bandwidth of noise.
    ///
    /// # Errors
    /// [`ConfigError::ZeroBandwidth`].
    pub const fn bandwidth_hz(mut self, bandwidth_hz: u32) -> Result<Self, ConfigError> {
        if bandwidth_hz == 0 {
            return Err(ConfigError::ZeroBandwidth);
        }
        // 0.32 in 1/256 is 82; the square of a 1/256 tick is a 1/65536 tick².
        let edge_256 = self.rate.hz() as u64 * 82 / bandwidth_hz as u64;
        self.prior_256 = match edge_256.saturating_mul(edge_256) >> 8 {
            0 => 1,
            prior => prior,
        };
        Ok(self)
    }

    /// States how stamps are rounded: to which side, and to steps of how many 1/256 ticks (256
    /// where the capture unit counts the tick itself).
    ///
    /// # Errors
    /// [`ConfigError::CaptureStep`] for a step of 0 or above 65 536 ticks.
    pub const fn capture(mut self, side: Truncation, step_256: u32) -> Result<Self, ConfigError> {
        if step_256 == 0 || step_256 > 1 << 24 {
            return Err(ConfigError::CaptureStep);
        }
        let square = step_256 as u64 * step_256 as u64;
        self.step_variance_256 = square.div_ceil(12 * 256);
        let half = (step_256 / 2) as i32;
        self.lag_256 = match side {
            Truncation::Before => half,
            Truncation::Nearest => 0,
            Truncation::After => -half,
        };
        Ok(self)
    }

    /// The hold that ends a run while the contact is settled so.
    pub(super) const fn hold_in(&self, contact: bool) -> u32 {
        if contact {
            self.release_hold
        } else {
            self.hold
        }
    }

    pub(crate) const fn touched_level(&self) -> Level {
        self.touched_level
    }

    /// The tick rate all instants of the line are counted in.
    #[must_use]
    pub const fn rate(&self) -> TickRate {
        self.rate
    }

    /// The hold of a touch in ticks.
    #[must_use]
    pub const fn hold_ticks(&self) -> u32 {
        self.hold
    }

    /// The hold of a release in ticks.
    #[must_use]
    pub const fn release_hold_ticks(&self) -> u32 {
        self.release_hold
    }
}

const fn hold_ticks(rate: TickRate, hold_ns: u64) -> Result<u32, ConfigError> {
    let ticks = rate.ticks_from_ns(hold_ns);
    if ticks == 0 {
        Err(ConfigError::HoldTooShort)
    } else if ticks > Config::MAX_HOLD_TICKS as u64 {
        Err(ConfigError::HoldTooLong)
    } else {
        Ok(ticks as u32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: TickRate = TickRate::NANOSECONDS;

    #[test]
    fn each_bad_value_is_named() {
        assert_eq!(Config::new(RATE, 0).unwrap_err(), ConfigError::HoldTooShort);
        assert_eq!(
            Config::new(RATE, 1 << 31).unwrap_err(),
            ConfigError::HoldTooLong
        );
        let config = Config::new(RATE, (1 << 31) - 1).unwrap();
        assert_eq!(
            config.release_hold(0).unwrap_err(),
            ConfigError::HoldTooShort
        );
        assert_eq!(
            config.bandwidth_hz(0).unwrap_err(),
            ConfigError::ZeroBandwidth
        );
        for step in [0, (1 << 24) + 1] {
            assert_eq!(
                config.capture(Truncation::Before, step).unwrap_err(),
                ConfigError::CaptureStep
            );
        }
    }

    #[test]
    fn bandwidth_becomes_a_squared_span_for_every_rate() {
        for (hz, bandwidth) in [(16_000_000, 100_000), (1_000_000_000, 3_000), (u32::MAX, 1)] {
            let rate = TickRate::from_hz(hz).unwrap();
            let config = Config::new(rate, 1_000_000).unwrap();
            let prior = config.bandwidth_hz(bandwidth).unwrap().prior_256;
            let ticks = 0.32 * f64::from(hz) / f64::from(bandwidth);
            let exact = (ticks * ticks * 256.0).min(u64::MAX as f64);
            assert!((prior as f64 / exact - 1.0).abs() < 0.01 || prior == u64::MAX >> 8);
        }
        let slow = TickRate::from_hz(1).unwrap();
        let config = Config::new(slow, 1_000_000_000).unwrap();
        assert_eq!(config.bandwidth_hz(100_000).unwrap().prior_256, 1);
    }
}
