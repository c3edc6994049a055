//! The probe's time as far off as it may be, by the worst choice at every tick.

use trueonset::link::{Placed, Slots};
use trueonset::time::Instant;

/// A clock that errs by what it is told to.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Adversary {
    /// Ticks in a slot.
    pub(crate) slot: u64,
    /// Error of all predictions, ticks; 0 between the ticks.
    pub(crate) error: i64,
    /// The bound that it states.
    pub(crate) bound: u32,
    /// A frame fits that arrives within so many ticks of its slot.
    pub(crate) gate: u64,
    /// It states a bound; and the newest frame contradicts those before it.
    pub(crate) locked: bool,
    pub(crate) clash: bool,
}

impl Adversary {
    fn placed(&self, ticks: u64) -> Placed {
        Placed {
            at: Instant::from_ticks(ticks.saturating_add_signed(self.error)),
            bound: self.locked.then_some(self.bound),
        }
    }
}

impl Slots for Adversary {
    fn start(&mut self, _: u64, _: Instant) {}

    fn update(&mut self, _: u64, _: Instant) {}

    /// Nothing is forgotten here: a walk of edges always knows its slots.
    fn forget(&mut self) {}

    fn is_good(&self, _: Instant) -> bool {
        true
    }

    fn fits(&self, slot: u64, arrival: Instant) -> bool {
        arrival.ticks().abs_diff(slot * self.slot) <= self.gate
    }

    fn begin(&self, slot: u64) -> Placed {
        self.placed(slot * self.slot)
    }

    /// Ages are told in ticks here.
    fn before(&self, slot: u64, age: u32) -> Placed {
        self.placed((slot * self.slot).saturating_sub(u64::from(age)))
    }

    fn is_clash(&self) -> bool {
        self.clash
    }
}
