//! From any interrupts to any loop, in a critical section.

use core::cell::RefCell;

use critical_section::Mutex;

use super::{Captured, Captures};
use crate::edge::Level;

/// What no place holds that was written; all bits zero, so that it costs no flash.
const NOTHING: Captured = Captured {
    raw: 0,
    level: Level::Low,
    over: false,
};

/// Captures on their way from interrupts to the main loop: room for N. What does not fit is
/// counted. A plain `static` will do, and it may be filled from several interrupts. Those of one
/// line come in the order of time, as [`Channels`](super::Channels) give them: an edge that is stored
/// after a later one is flagged ([`Flags::TIME_BACK`](crate::flags::Flags::TIME_BACK)) and taken at
/// the time of that one, and the line may then end at the wrong level.
pub struct SharedQueue<const N: usize>(Mutex<RefCell<Ring<N>>>);

struct Ring<const N: usize> {
    stored: [Captured; N],
    /// Where the oldest lies, and how many there are.
    oldest: usize,
    count: usize,
    lost: u32,
}

impl<const N: usize> SharedQueue<N> {
    /// Empty.
    #[must_use]
    pub const fn new() -> Self {
        Self(Mutex::new(RefCell::new(Ring {
            stored: [NOTHING; N],
            oldest: 0,
            count: 0,
            lost: 0,
        })))
    }

    /// Stores a capture; counts it where there is no room.
    pub fn put(&self, captured: Captured) {
        self.with(|ring| ring.put(captured));
    }

    /// The oldest capture.
    #[must_use]
    pub fn take(&self) -> Option<Captured> {
        self.with(Ring::take).flatten()
    }

    /// How many captures found no room; wraps.
    #[must_use]
    pub fn lost(&self) -> u32 {
        self.with(|ring| ring.lost).unwrap_or(0)
    }

    /// How many wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.with(|ring| ring.count).unwrap_or(0)
    }

    /// Nobody else borrows inside a critical section, so there is always an answer.
    fn with<R>(&self, act: impl FnOnce(&mut Ring<N>) -> R) -> Option<R> {
        critical_section::with(|section| {
            let mut ring = self.0.borrow(section).try_borrow_mut().ok()?;
            Some(act(&mut ring))
        })
    }
}

impl<const N: usize> Captures for &SharedQueue<N> {
    fn waiting(&self) -> usize {
        SharedQueue::waiting(self)
    }

    fn take(&mut self) -> Option<Captured> {
        SharedQueue::take(self)
    }

    fn lost(&self) -> u32 {
        SharedQueue::lost(self)
    }
}

impl<const N: usize> Default for SharedQueue<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Ring<N> {
    fn put(&mut self, captured: Captured) {
        let free = (self.oldest + self.count) % N.max(1);
        match self.stored.get_mut(free) {
            Some(place) if self.count < N => {
                *place = captured;
                self.count += 1;
            }
            _ => self.lost = self.lost.wrapping_add(1),
        }
    }

    fn take(&mut self) -> Option<Captured> {
        let oldest = self.stored.get(self.oldest).copied();
        self.count = self.count.checked_sub(1)?;
        self.oldest = (self.oldest + 1) % N.max(1);
        oldest
    }
}
