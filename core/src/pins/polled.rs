//! A pin that is looked at, with the line that it drives.

use embedded_hal::digital::InputPin;

use super::Input;
use crate::edge::Level;
use crate::onset::{Config, Event, Line};
use crate::time::Instant;

/// A pin without a capture unit and its line. An edge has the time of the look that found it, so
/// it lies up to a look late; chatter that is faster than the looks is not seen.
///
/// ```
/// # use trueonset::{checked, onset::{Config, Event}, pins::Polled, time::{Instant, TickRate}};
/// # struct Pin(u32);
/// # impl embedded_hal::digital::ErrorType for Pin { type Error = core::convert::Infallible; }
/// # impl embedded_hal::digital::InputPin for Pin {
/// #     fn is_high(&mut self) -> Result<bool, Self::Error> { self.0 += 1; Ok(self.0 > 100) }
/// #     fn is_low(&mut self) -> Result<bool, Self::Error> { self.is_high().map(|high| !high) }
/// # }
/// const CONFIG: Config = checked!(Config::new(TickRate::NANOSECONDS, 1_000_000));
/// # let pin = Pin(0); // high from the hundredth look on
/// let mut input = Polled::new(&CONFIG, pin, Instant::from_ticks(0));
/// let mut touches = 0;
/// for ms in 1..200 {
///     let now = Instant::from_ticks(ms * 1_000_000);
///     if let Some(Event::Touch(contact)) = input.poll(&CONFIG, now) {
///         // Found a hold later, and told as it was.
///         assert_eq!(contact.first_edge.ticks(), 100_000_000);
///         touches += 1;
///     }
/// }
/// assert_eq!(touches, 1);
/// ```
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Polled<P> {
    pin: Input<P>,
    line: Line,
}

impl<P: InputPin> Polled<P> {
    /// At what `pin` shows `now`.
    #[must_use]
    pub fn new(config: &Config, pin: P, now: Instant) -> Self {
        let mut pin = Input::new(pin);
        Self {
            line: Line::new(config, pin.read(), now),
            pin,
        }
    }

    /// Looks at the pin. While it stays as it is and nothing is open, this costs little more than
    /// to read it. A pin that cannot be read is [`Level::Unknown`] to the line.
    #[inline]
    pub fn poll(&mut self, config: &Config, now: Instant) -> Option<Event> {
        let before = self.pin.level();
        if self.pin.read() == before && self.line.open_since().is_none() {
            return None;
        }
        self.go_on(config, now, before)
    }

    #[inline(never)]
    fn go_on(&mut self, config: &Config, now: Instant, before: Level) -> Option<Event> {
        match self.pin.edge_since(before, now) {
            Some(edge) => self.line.edge(config, edge),
            None => self.line.poll(config, now),
        }
    }

    /// The line, for what it has learned and counted.
    #[must_use]
    pub const fn line(&self) -> &Line {
        &self.line
    }

    /// The pin, for its level and its failures.
    #[must_use]
    pub const fn pin(&self) -> &Input<P> {
        &self.pin
    }
}
