//! The probe's slots on the receiver's time, as the link asks for them.

use crate::clock::{Clock, ClockConfig, Prediction};
use crate::time::Instant;

/// An instant of the probe on the receiver's clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Placed {
    /// The nearest tick.
    pub at: Instant,
    /// How far it may be off at most, ticks, that of the tick included; `None` where that is not
    /// known.
    pub bound: Option<u32>,
}

/// What a link must know of the probe's time. [`ProbeTime`] is what a receiver uses; a test of the
/// link's rules may put in its place whatever errs by no more than it says.
pub trait Slots {
    /// Starts anew: `slot` began at `arrival`.
    fn start(&mut self, slot: u64, arrival: Instant);
    /// A genuine frame of a newer slot.
    fn update(&mut self, slot: u64, arrival: Instant);
    /// Forgets everything.
    fn forget(&mut self);
    /// Whether there is anything to reckon with at `now`: it was started, and silence has not made
    /// it worse than a fourth of a slot.
    fn is_good(&self, now: Instant) -> bool;
    /// Whether a frame of `slot` may have arrived then, and the clock was still
    /// [good](Self::is_good) for that slot.
    fn fits(&self, slot: u64, arrival: Instant) -> bool;
    /// When `slot` begins.
    fn begin(&self, slot: u64) -> Placed;
    /// When something happened `age_125ns` eighths of a microsecond before `slot` began.
    fn before(&self, slot: u64, age_125ns: u32) -> Placed;
    /// Whether the newest frames contradict each other.
    fn is_clash(&self) -> bool;
}

/// [`Slots`] by a [`Clock`].
#[derive(Clone, Debug)]
pub struct ProbeTime {
    config: ClockConfig,
    clock: Option<Clock>,
}

impl ProbeTime {
    /// Nothing heard yet.
    #[must_use]
    pub const fn new(config: ClockConfig) -> Self {
        Self {
            config,
            clock: None,
        }
    }

    /// The clock, once it was started.
    #[must_use]
    pub const fn clock(&self) -> Option<&Clock> {
        self.clock.as_ref()
    }

    /// Its settings.
    #[must_use]
    pub const fn config(&self) -> &ClockConfig {
        &self.config
    }

    /// The slot with these low bits nearest to an arrival, if a clock runs.
    #[must_use]
    pub fn nearest(&self, low16: u16, arrival: Instant) -> Option<u64> {
        Some(self.clock.as_ref()?.nearest(low16, arrival))
    }
}

impl Slots for ProbeTime {
    #[inline(never)]
    fn start(&mut self, slot: u64, arrival: Instant) {
        self.clock = Some(Clock::start(&self.config, slot, arrival));
    }

    fn update(&mut self, slot: u64, arrival: Instant) {
        if let Some(clock) = &mut self.clock {
            clock.update(&self.config, slot, arrival);
        }
    }

    fn forget(&mut self) {
        self.clock = None;
    }

    fn is_good(&self, now: Instant) -> bool {
        let clock = self.clock.as_ref();
        clock.is_some_and(|clock| clock.is_good(&self.config, now))
    }

    fn fits(&self, slot: u64, arrival: Instant) -> bool {
        let (clock, config) = (self.clock.as_ref(), &self.config);
        clock.is_some_and(|clock| {
            clock.fits(config, slot, arrival) && clock.is_good(config, arrival)
        })
    }

    fn begin(&self, slot: u64) -> Placed {
        self.placed(|clock, config| clock.predict(config, slot))
    }

    fn before(&self, slot: u64, age_125ns: u32) -> Placed {
        self.placed(|clock, config| clock.predict_before(config, slot, age_125ns))
    }

    fn is_clash(&self) -> bool {
        self.clock.as_ref().is_some_and(Clock::clash)
    }
}

impl ProbeTime {
    fn placed(&self, predict: impl FnOnce(&Clock, &ClockConfig) -> Prediction) -> Placed {
        let Some(clock) = &self.clock else {
            return Placed {
                at: Instant::default(),
                bound: None,
            };
        };
        let predicted = predict(clock, &self.config);
        Placed {
            at: predicted.at.nearest(),
            // Half a tick for the nearest one, rounded up.
            bound: predicted.doubt_256.map(|doubt| doubt / 256 + 2),
        }
    }
}
