//! Playout: each edge leaves a constant time after it happened.
//!
//! ```text
//!  contact ──▶ air, losses, repeats ──▶ time of the edge ± bound ──▶ waits ──▶ contact + D
//! ```
//!
//! What a link hears of an edge may come soon or late, once or ten times. A playout keeps the
//! edge with the interval in which it happened, narrows that with every repeat, and lets it go at
//! its middle + D: to the control the edge is late by a constant. With the edge goes its onset,
//! back-dated, for a control that keeps its positions.

use crate::bits::bit_set;
use crate::time::Instant;

/// Edges on their way at most.
pub(crate) const ROOM: usize = 4;

/// What an edge left with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct EdgeRemarks(u8);

impl EdgeRemarks {
    /// In order.
    pub const NONE: Self = Self(0);
    /// Later than contact + D by more than a poll.
    pub const LATE: Self = Self(1);
    /// READY was down: the control was told nothing.
    pub const MASKED: Self = Self(2);
    /// Its bound is above the greatest that may keep READY.
    pub const WIDE: Self = Self(4);
    /// Its place among the edges is not sure, or the line was latched at stop when it left.
    pub const SEQUENCE: Self = Self(8);
    /// Without a time: it is known to have happened, not when.
    pub const NO_TIME: Self = Self(16);
    /// Its repeats contradict each other.
    pub const CLASH: Self = Self(32);

    const WORDS: [&'static str; 6] = ["late", "masked", "wide", "sequence", "no_time", "clash"];
}

bit_set!(EdgeRemarks, words);

/// An edge as it is told to the control.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct PlayedEdge {
    /// Its number, 0 to 31, as the probe counts.
    pub number: u8,
    /// Contact (true) or its end.
    pub touched: bool,
    /// When it happened, on the receiver's clock; `None` where only that it did is known.
    pub onset: Option<Instant>,
    /// How far that may be off at most, ticks; 0 without an onset.
    pub bound: u32,
    /// What else is to be said of it.
    pub remarks: EdgeRemarks,
}

/// An edge that waits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Waiting {
    number: u8,
    /// It happened between these.
    from: Instant,
    to: Instant,
    remarks: EdgeRemarks,
    /// From before the link lived: it tells, and moves no line.
    past: bool,
}

impl Waiting {
    fn middle(&self) -> Instant {
        let (from, to) = (self.from.ticks(), self.to.ticks());
        // What both have and half of what they differ by: their mean, rounded down.
        Instant::from_ticks((from & to) + ((from ^ to) >> 1))
    }

    fn due(&self, delay: u64) -> Instant {
        self.middle().later(delay)
    }

    fn bound(&self) -> u32 {
        let width = self.to.ticks_since(self.from);
        u32::try_from(width.div_ceil(2)).unwrap_or(u32::MAX)
    }
}

/// An edge that has become due.
pub(crate) struct Due {
    pub(crate) edge: PlayedEdge,
    pub(crate) at: Instant,
    pub(crate) past: bool,
}

impl Due {
    /// The edge as it leaves at `now`, on lines that are `ready` or not: late where a poll of
    /// `poll` ticks would have been in time.
    pub(crate) fn leaving(&self, now: Instant, poll: u64, ready: bool) -> PlayedEdge {
        let mut edge = self.edge;
        let remarks = &mut edge.remarks;
        let in_time = self.at.ticks().saturating_add(poll);
        remarks.insert_if(EdgeRemarks::LATE, now.ticks() > in_time);
        remarks.insert_if(EdgeRemarks::MASKED, self.past || !ready);
        edge
    }
}

/// The edges on their way, in the order in which they happened.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Playout {
    waiting: [Waiting; ROOM],
    count: u8,
}

impl Playout {
    fn all(&mut self) -> &mut [Waiting] {
        let count = usize::from(self.count).min(ROOM);
        self.waiting.get_mut(..count).unwrap_or(&mut [])
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Takes an edge that lies `at` ± `bound`. It goes before those of later numbers, of which
    /// there is one at most (`ahead_of`). Whether there was room.
    pub(crate) fn take(
        &mut self,
        number: u8,
        at: Instant,
        bound: u32,
        remarks: EdgeRemarks,
        ahead_of: Option<u8>,
    ) -> bool {
        let slot = usize::from(self.count);
        let new = Waiting {
            number,
            from: at.earlier(u64::from(bound)),
            to: at.plus(bound),
            remarks,
            past: false,
        };
        let Some(place) = self.waiting.get_mut(slot) else {
            return false;
        };
        *place = new;
        self.count += 1;
        if let [.., before, last] = self.all() {
            if ahead_of == Some(before.number) {
                core::mem::swap(before, last);
            }
        }
        true
    }

    /// A repeat tells of edge `number` once more. What would make it due before `now` is not
    /// taken, since nothing can leave in the past.
    pub(crate) fn narrow(&mut self, number: u8, at: Instant, bound: u32, delay: u64, now: Instant) {
        let from = at.earlier(u64::from(bound));
        let to = at.plus(bound);
        for waiting in self.all() {
            if waiting.number != number {
                continue;
            }
            let narrowed = Waiting {
                from: waiting.from.max(from),
                to: waiting.to.min(to),
                ..*waiting
            };
            if narrowed.from > narrowed.to {
                waiting.remarks.insert(EdgeRemarks::CLASH);
            } else if narrowed.due(delay) >= now {
                *waiting = narrowed;
            }
        }
    }

    /// When the next one leaves.
    pub(crate) fn next_due(&self, delay: u64) -> Option<Instant> {
        let first = self.waiting.first().filter(|_| self.count > 0)?;
        Some(first.due(delay))
    }

    /// The next one, if it is due by `now`.
    pub(crate) fn leave(&mut self, delay: u64, now: Instant) -> Option<Due> {
        let due = self.next_due(delay).filter(|due| *due <= now)?;
        let [first, second, third, fourth] = self.waiting;
        self.waiting = [second, third, fourth, Waiting::default()];
        self.count = self.count.saturating_sub(1);
        let edge = PlayedEdge {
            number: first.number,
            touched: first.number & 1 == 1,
            onset: Some(first.middle()),
            bound: first.bound(),
            remarks: first.remarks,
        };
        Some(Due {
            edge,
            at: due,
            past: first.past,
        })
    }

    /// The times of all that wait have become doubtful.
    pub(crate) fn clash(&mut self) {
        for waiting in self.all() {
            waiting.remarks.insert(EdgeRemarks::CLASH);
        }
    }

    /// The link lives anew: what still waits belongs to before.
    pub(crate) fn past(&mut self) {
        for waiting in self.all() {
            waiting.past = true;
        }
    }

    /// Whether edge `number` waits.
    pub(crate) fn has(&self, number: u8) -> bool {
        let count = usize::from(self.count);
        self.waiting
            .iter()
            .take(count)
            .any(|waiting| waiting.number == number)
    }

    /// On a zero `ticks` later, numbers counted from `number` on.
    #[cfg(feature = "walk")]
    pub(crate) fn moved(mut self, ticks: u64, number: u8) -> Self {
        for waiting in self.all() {
            waiting.number = waiting.number.wrapping_sub(number) & 31;
            waiting.from = waiting.from.earlier(ticks);
            waiting.to = waiting.to.earlier(ticks);
        }
        self
    }
}
