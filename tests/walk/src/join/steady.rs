//! A clock that is right from its first frame on: what a walk of joins needs of one.

use trueonset::link::{Placed, Slots};
use trueonset::time::Instant;

/// A slot is a tick long.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Steady {
    /// The newest slot heard, and when it began.
    newest: Option<(u64, u64)>,
    /// So many ticks after that nothing is known any more.
    memory: u64,
}

impl Steady {
    pub(super) const fn new(memory: u64) -> Self {
        Self {
            newest: None,
            memory,
        }
    }

    fn begins(&self, slot: u64) -> Option<u64> {
        let (newest, at) = self.newest?;
        (at + slot).checked_sub(newest)
    }

    /// The slot that begins at `now`, if it reckons with anything.
    pub(super) fn present(&self, now: Instant) -> Option<u64> {
        let (newest, at) = self.newest?;
        Some((now.ticks() + newest).saturating_sub(at))
    }

    /// The slot with these low bits nearest to an arrival.
    pub(super) fn nearest(&self, low: u16, arrival: Instant) -> Option<u64> {
        let present = self.present(arrival)?;
        let ahead = low.wrapping_sub(present as u16) as i16;
        Some(present.saturating_add_signed(i64::from(ahead)))
    }

    /// On a zero `ticks` later.
    pub(super) fn move_zero(&mut self, ticks: u64) {
        if let Some((_, at)) = &mut self.newest {
            *at -= ticks;
        }
    }
}

impl Slots for Steady {
    fn start(&mut self, slot: u64, arrival: Instant) {
        self.newest = Some((slot, arrival.ticks()));
    }

    fn update(&mut self, slot: u64, arrival: Instant) {
        self.start(slot, arrival);
    }

    fn forget(&mut self) {
        self.newest = None;
    }

    fn is_good(&self, now: Instant) -> bool {
        let newest = self.newest;
        newest.is_some_and(|(_, at)| now.ticks() <= at + self.memory)
    }

    fn fits(&self, slot: u64, arrival: Instant) -> bool {
        self.begins(slot) == Some(arrival.ticks()) && self.is_good(arrival)
    }

    fn begin(&self, slot: u64) -> Placed {
        Placed {
            at: Instant::from_ticks(self.begins(slot).unwrap_or(0)),
            bound: self.newest.map(|_| 0),
        }
    }

    fn before(&self, slot: u64, _: u32) -> Placed {
        self.begin(slot)
    }

    fn is_clash(&self) -> bool {
        false
    }
}
