//! A pin that is looked at.

use embedded_hal::digital::InputPin;

use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::time::Instant;

/// An input pin of any board: for slow wires such as re-arm, and for the level beside a capture.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Input<P> {
    pin: P,
    level: Level,
    failures: u32,
}

impl<P: InputPin> Input<P> {
    /// `pin`, not read yet.
    pub const fn new(pin: P) -> Self {
        Self {
            pin,
            level: Level::Unknown,
            failures: 0,
        }
    }

    /// What the pin shows; [`Level::Unknown`] where it cannot be read. An image takes that for
    /// stop: a wire that cannot be read neither runs nor re-arms.
    #[inline]
    pub fn read(&mut self) -> Level {
        self.level = if let Ok(high) = self.pin.is_high() {
            Level::from(high)
        } else {
            self.failures = self.failures.wrapping_add(1);
            Level::Unknown
        };
        self.level
    }

    /// What it showed when it was last read.
    #[must_use]
    pub const fn level(&self) -> Level {
        self.level
    }

    /// Reads the pin at `now`: an edge where it does not show what it showed before. One into the
    /// unknown carries [`Flags::UNKNOWN_LEVEL`]. Its time is that of the look, so it lies up to a
    /// look late: for chatter use a capture unit.
    pub fn poll(&mut self, now: Instant) -> Option<Edge> {
        let before = self.level;
        self.read();
        self.edge_since(before, now)
    }

    /// The edge that the newest reading makes of the level `before` it.
    pub(super) fn edge_since(&self, before: Level, now: Instant) -> Option<Edge> {
        (self.level != before).then(|| {
            let edge = Edge::new(now, self.level);
            if self.level == Level::Unknown {
                edge.with_faults(Flags::UNKNOWN_LEVEL)
            } else {
                edge
            }
        })
    }

    /// How often the pin could not be read; wraps.
    #[must_use]
    pub const fn failures(&self) -> u32 {
        self.failures
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pins::broken::Broken;
    use embedded_hal::digital::ErrorType;

    /// Shows one answer after the other; an error once there is none left.
    struct Answers(&'static [Option<bool>]);

    impl ErrorType for Answers {
        type Error = Broken;
    }

    impl InputPin for Answers {
        fn is_high(&mut self) -> Result<bool, Broken> {
            let (first, rest) = self.0.split_first().ok_or(Broken)?;
            self.0 = rest;
            first.ok_or(Broken)
        }

        fn is_low(&mut self) -> Result<bool, Broken> {
            self.is_high().map(|high| !high)
        }
    }

    #[test]
    fn a_pin_error_is_no_level_and_is_counted() {
        let mut input = Input::new(Answers(&[Some(false), Some(false), None, None, Some(true)]));
        assert_eq!(input.level(), Level::Unknown);
        let mut poll = |now| {
            let edge = input.poll(Instant::from_ticks(now));
            edge.map(|edge| (edge.at.ticks(), edge.level, edge.faults))
        };
        assert_eq!(poll(1), Some((1, Level::Low, Flags::NONE)));
        assert_eq!(poll(2), None);
        assert_eq!(poll(3), Some((3, Level::Unknown, Flags::UNKNOWN_LEVEL)));
        assert_eq!(poll(4), None);
        assert_eq!(poll(5), Some((5, Level::High, Flags::NONE)));
        assert_eq!(poll(6), Some((6, Level::Unknown, Flags::UNKNOWN_LEVEL)));
        assert_eq!(input.failures(), 3);
    }
}
