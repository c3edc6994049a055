//! Lines: what the control is told, at levels that a cut wire has as well.
//!
//! Two outputs. READY says that what TOUCH says can be relied upon; TOUCH runs while there is no
//! contact. Both fall to *stop*, the level of a cut wire, of a lost supply and of a processor in
//! reset: an output that must be driven to say *run* cannot say it by accident. A [`Decision`]
//! is made anew on every poll and carries the instant after which it must not stand any more.
//!
//! **A measuring signal, not a safety function; no performance level is claimed. Guards and
//! emergency stop stay in charge.**

mod causes;
mod latch;
mod outputs;

pub use causes::Causes;
pub(crate) use latch::{Latch, Obstacles};
pub use latch::{RearmRefused, Rearmed};
pub use outputs::{Form, Outputs, OutputsConfig, OutputsError, Pins, Set};

use crate::time::Instant;

/// What both outputs say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Decision {
    /// TOUCH can be relied upon.
    pub ready: bool,
    /// No contact, and ready: the axis may go on.
    pub run: bool,
    /// The last tick at which this may stand; a compare register or a watchdog drops both outputs
    /// after it. `None` for stop, which never ends by itself.
    pub valid_until: Option<Instant>,
}

impl Decision {
    /// Both outputs at stop.
    pub const STOP: Self = Self {
        ready: false,
        run: false,
        valid_until: None,
    };

    /// What an output stage shows at `now` that drops what is no longer valid.
    #[must_use]
    pub fn at(self, now: Instant) -> Self {
        match self.valid_until {
            Some(until) if now <= until => self,
            _ => Self::STOP,
        }
    }
}
