//! Whether something happened so many times in a stretch of time.

use crate::time::Instant;

/// The times of the last `N` at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Tally<const N: usize> {
    /// Newest first.
    times: [Instant; N],
    known: u8,
}

impl<const N: usize> Tally<N> {
    pub(super) const fn new() -> Self {
        Self {
            times: [Instant::from_ticks(0); N],
            known: 0,
        }
    }

    /// Once more, at `now`.
    pub(super) fn note(&mut self, now: Instant) {
        let mut carried = now;
        for time in &mut self.times {
            core::mem::swap(time, &mut carried);
        }
        if usize::from(self.known) < N {
            self.known += 1;
        }
    }

    /// Whether the last `count` of them all lie within `watch` ticks before `now`.
    pub(super) fn reached(&self, count: u8, watch: u64, now: Instant) -> bool {
        if count == 0 || count > self.known {
            return false;
        }
        let oldest = self.times.get(usize::from(count) - 1);
        oldest.is_some_and(|at| now.ticks_since(*at) <= watch)
    }

    #[cfg(any(test, feature = "walk"))]
    pub(super) fn clear(&mut self) {
        *self = Self::new();
    }

    /// On a zero `ticks` later, without what is `watch` old at `now`.
    #[cfg(feature = "walk")]
    pub(super) fn moved(mut self, ticks: u64, watch: u64, now: Instant) -> Self {
        let mut known = 0;
        for (at, time) in self.times.iter_mut().enumerate() {
            let kept = at < usize::from(self.known) && now.ticks_since(*time) <= watch;
            known += u8::from(kept);
            *time = if kept {
                time.earlier(ticks)
            } else {
                Instant::from_ticks(0)
            };
        }
        self.known = known;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(ticks: u64) -> Instant {
        Instant::from_ticks(ticks)
    }

    #[test]
    fn the_last_so_many_count_within_their_time() {
        let mut tally = Tally::<4>::new();
        for time in [10, 20, 30] {
            assert!(!tally.reached(3, 20, at(time)));
            tally.note(at(time));
        }
        assert!(tally.reached(3, 20, at(30)));
        assert!(!tally.reached(3, 20, at(31)));
        assert!(tally.reached(2, 20, at(40)) && !tally.reached(2, 20, at(41)));
        assert!(!tally.reached(4, u64::MAX, at(41)));
        for time in [40, 50, 60] {
            tally.note(at(time));
        }
        assert!(tally.reached(4, 30, at(60)) && !tally.reached(5, u64::MAX, at(60)));
        tally.clear();
        assert!(!tally.reached(1, u64::MAX, at(60)));
    }
}
