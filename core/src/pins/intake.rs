//! From captures to edges, in the main loop.

use super::Captured;
use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::time::{Counter, Instant, Stamp};

/// Makes edges of what an interrupt has stored.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Intake {
    counter: Counter,
    lost: u32,
}

impl Intake {
    /// For the counter of the capture unit, one [behind a queue](Counter::behind_a_queue) or one
    /// that allows the back step of an edge that was captured before the counter was last read and
    /// is taken out after that: as long as the loop may ever stand. An edge further back would pass
    /// for one that is a turn late.
    #[must_use]
    pub const fn new(counter: Counter) -> Self {
        Self { counter, lost: 0 }
    }

    /// The time of a reading of the counter.
    pub fn now(&mut self, raw: u32) -> Stamp {
        self.counter.widen(raw)
    }

    /// The edge of a capture.
    pub fn edge(&mut self, captured: Captured) -> Edge {
        let edge = Edge::captured(self.counter.widen(captured.raw), captured.level);
        if captured.over {
            edge.with_faults(Flags::OVERCAPTURE)
        } else {
            edge
        }
    }

    /// After the queue was emptied at `now`, with its count of lost captures: where that has grown,
    /// the line was out of sight and stands at `level` now. Hand both edges to it, in that order.
    #[must_use]
    pub fn overflowed(&mut self, lost: u32, now: Instant, level: Level) -> Option<[Edge; 2]> {
        if core::mem::replace(&mut self.lost, lost) == lost {
            return None;
        }
        let blind = Edge::new(now, Level::Unknown).with_faults(Flags::OVERCAPTURE);
        Some([blind, Edge::new(now, level).with_faults(Flags::OVERCAPTURE)])
    }
}

/// What a timer of 16 bits has stamped, as 32 bits: for [`Captured::raw`], and for
/// [`Capture::count`](super::Capture::count) with `raw` as `count`, on a [`Counter`] of
/// [`Bits::B32`](crate::time::Bits::B32). Half a turn of 16 bits is 2 ms at 16 MHz, and no loop is
/// asked to look as often as that.
///
/// `raw` was stamped within the turn before `count`, the counter now. `turns` is how often the
/// timer's interrupt has counted an overflow, `pending` whether the timer shows one that was not
/// counted yet. Let neither interrupt come between, and read `pending` after `count`: an overflow
/// that is pending lies before a counter in the lower half, and after one in the upper half. That
/// holds where overflows are served within half a turn.
#[must_use]
pub const fn extended(turns: u16, count: u16, pending: bool, raw: u16) -> u32 {
    let turns = if pending && count < 1 << 15 {
        turns.wrapping_add(1)
    } else {
        turns
    };
    let now = (turns as u32) << 16 | count as u32;
    now.wrapping_sub(count.wrapping_sub(raw) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::onset::{Config, Event, Line};
    use crate::time::{Bits, TickRate};

    fn captured(raw: u32, level: bool) -> Captured {
        Captured {
            raw,
            level: Level::from(level),
            over: false,
        }
    }

    #[test]
    fn stamps_are_widened_across_a_wrap_and_an_over_capture_is_a_flag() {
        let counter = Counter::new(Bits::B16, Instant::from_ticks(0x1_fff0));
        let mut intake = Intake::new(counter.allowing_back_step(100));
        assert_eq!(intake.now(0x0010).at.ticks(), 0x2_0010);
        let before = intake.edge(captured(0xfff8, true));
        assert_eq!((before.at.ticks(), before.faults), (0x1_fff8, Flags::NONE));
        let over = Captured {
            over: true,
            ..captured(0x0020, false)
        };
        let edge = intake.edge(over);
        assert_eq!((edge.at.ticks(), edge.level), (0x2_0020, Level::Low));
        assert_eq!(edge.faults, Flags::OVERCAPTURE);
    }

    /// Interrupts come late, in any order, and the loop looks once in many turns.
    #[test]
    fn a_timer_of_16_bits_is_as_good_as_one_of_32() {
        let mut next = crate::drawn::numbers(9);
        let counter = Counter::new(Bits::B32, Instant::from_ticks(0));
        let mut intake = Intake::new(counter.allowing_back_step(u32::MAX));
        let mut time = 0_u64;
        for _ in 0..100_000 {
            time += next() % 1_000_000;
            // A stamp up to a turn ago, overflows served up to half a turn ago, and one that comes
            // after the counter was read.
            let stamp = time.saturating_sub(next() % (1 << 16));
            let served = time.saturating_sub(next() % (1 << 15));
            let asked = time + next() % 50;
            let (turns, pending) = ((served >> 16) as u16, served >> 16 != asked >> 16);
            let raw = extended(turns, time as u16, pending, stamp as u16);
            let edge = intake.edge(Captured {
                raw,
                level: Level::High,
                over: false,
            });
            assert_eq!(
                edge.at.ticks(),
                stamp,
                "now {time}, overflows served up to {served}"
            );
            assert_eq!(edge.faults, Flags::NONE);
        }
    }

    /// The loop stood for long: its edges lie before the counter it reads first.
    #[test]
    fn edges_that_waited_for_a_loop_that_stood_keep_their_time() {
        let start = Instant::from_ticks((7 << 32) - 1_000);
        let counter = Counter::new(Bits::B32, start).allowing_back_step(u32::MAX);
        let mut intake = Intake::new(counter);
        let resumed = intake.now(1 << 29);
        assert_eq!(resumed.at.ticks(), (7 << 32) + (1 << 29));
        for raw in [5, 1_000, 1 << 28] {
            let edge = intake.edge(captured(raw, true));
            assert_eq!(edge.at.ticks(), (7 << 32) + u64::from(raw));
            assert_eq!(edge.faults, Flags::NONE);
        }
        assert_eq!(
            intake.now((1 << 29) + 9).at.ticks(),
            (7 << 32) + (1 << 29) + 9
        );
    }

    /// The edge that stayed away left the line at the wrong level: told twice, it finds back.
    #[test]
    fn after_an_overflow_the_line_stands_at_the_level_read() {
        let config = Config::new(TickRate::NANOSECONDS, 1_000).unwrap_or_else(|_| panic!());
        let at = Instant::from_ticks;
        let mut line = Line::new(&config, Level::Low, at(0));
        let mut intake = Intake::new(Counter::new(Bits::B32, at(0)));
        assert_eq!(line.edge(&config, intake.edge(captured(5_000, true))), None);
        assert_eq!(intake.overflowed(0, at(5_100), Level::High), None);
        // One capture was lost: the fall at 5200, after which the line is low.
        let edges = intake.overflowed(1, at(5_300), Level::Low);
        for edge in edges.into_iter().flatten() {
            assert!(!matches!(line.edge(&config, edge), Some(Event::Touch(_))));
        }
        assert_eq!(intake.overflowed(1, at(5_400), Level::Low), None);
        let over = line.poll(&config, at(9_000));
        assert!(!matches!(over, Some(Event::Touch(_))), "{over:?}");
        assert!(!line.in_contact());
        // And a true touch afterwards is one.
        assert_eq!(
            line.edge(&config, intake.edge(captured(20_000, true))),
            None
        );
        let touch = line.poll(&config, at(22_000));
        assert!(matches!(touch, Some(Event::Touch(_))), "{touch:?}");
    }
}
