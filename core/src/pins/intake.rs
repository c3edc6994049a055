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
    /// For the counter of the capture unit. Let it allow the back step that an edge makes which
    /// was captured before the counter was last read, and taken out after that.
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
