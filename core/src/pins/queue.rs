//! From one interrupt to one loop without a lock.

use core::sync::atomic::{AtomicU32, Ordering};

use heapless::spsc::{Consumer, Producer, Queue};

use super::{Captured, Captures};

/// Captures on their way from one interrupt to the main loop: room for N − 1. What does not fit is
/// counted. See [`queue_room`](crate::edge::queue_room) for N, which takes one more.
///
/// It needs loads and stores only, so the smallest cores have all it takes.
pub struct EdgeQueue<const N: usize> {
    stored: Queue<Captured, N>,
    lost: AtomicU32,
}

impl<const N: usize> EdgeQueue<N> {
    /// Empty.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            stored: Queue::new(),
            lost: AtomicU32::new(0),
        }
    }

    /// The interrupt's end and the loop's.
    pub fn split(&mut self) -> (InterruptEnd<'_, N>, LoopEnd<'_, N>) {
        let (into, out) = self.stored.split();
        let lost = &self.lost;
        (InterruptEnd { into, lost }, LoopEnd { out, lost })
    }
}

impl<const N: usize> Default for EdgeQueue<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// The interrupt's end.
pub struct InterruptEnd<'a, const N: usize> {
    into: Producer<'a, Captured, N>,
    lost: &'a AtomicU32,
}

impl<const N: usize> InterruptEnd<'_, N> {
    /// Stores a capture; counts it where there is no room.
    #[inline]
    pub fn put(&mut self, captured: Captured) {
        if self.into.enqueue(captured).is_err() {
            // Only this end writes.
            let lost = self.lost.load(Ordering::Relaxed);
            self.lost.store(lost.wrapping_add(1), Ordering::Relaxed);
        }
    }
}

/// The loop's end.
pub struct LoopEnd<'a, const N: usize> {
    out: Consumer<'a, Captured, N>,
    lost: &'a AtomicU32,
}

impl<const N: usize> LoopEnd<'_, N> {
    /// The oldest capture.
    #[inline]
    pub fn take(&mut self) -> Option<Captured> {
        self.out.dequeue()
    }

    /// How many captures found no room; wraps.
    #[must_use]
    pub fn lost(&self) -> u32 {
        self.lost.load(Ordering::Relaxed)
    }

    /// How many wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.out.len()
    }
}

impl<const N: usize> Captures for LoopEnd<'_, N> {
    fn waiting(&self) -> usize {
        self.waiting()
    }

    fn take(&mut self) -> Option<Captured> {
        self.take()
    }

    fn lost(&self) -> u32 {
        self.lost()
    }
}
