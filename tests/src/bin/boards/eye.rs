//! What an image makes of its comparator: captures through a queue, the pin beside them.

use trueonset::edge::{Edge, Level};
use trueonset::flags::Flags;
use trueonset::frame::Contact;
use trueonset::onset::{Config, Event, Line};
use trueonset::pins::{Captured, Intake, SharedQueue};
use trueonset::time::{Bits, Counter, Instant};

use crate::side::{Inputs, BLOCKED, BLOCKED_UNREADABLE};

/// A simulated comparator behind a queue of so many places.
pub(crate) struct Eye<const N: usize> {
    hold: Config,
    intake: Intake,
    edges: SharedQueue<N>,
    pub(crate) line: Line,
    level: Level,
    unlike: Option<Instant>,
    stuck: bool,
}

impl<const N: usize> Eye<N> {
    /// Before its first look, the timer at `start`.
    pub(crate) fn new(hold: Config, start: u64) -> Self {
        let start = Instant::from_ticks(start);
        let counter = Counter::new(Bits::B32, start).allowing_back_step(u32::MAX);
        Self {
            hold,
            intake: Intake::new(counter),
            edges: SharedQueue::new(),
            line: Line::new(&hold, Level::Low, start),
            level: Level::Low,
            unlike: None,
            stuck: false,
        }
    }

    pub(crate) fn captured(&self, edge: Captured) {
        self.edges.put(edge);
    }

    pub(crate) fn now(&mut self, tick: u64) -> Instant {
        self.intake.now(tick as u32).at
    }

    /// The line begins at what the pin shows; what waits is dropped.
    pub(crate) fn begin(&mut self, now: Instant, inputs: Inputs) -> Level {
        while self.edges.take().is_some() {}
        self.level = level(inputs);
        let _ = self.intake.overflowed(self.edges.lost(), now, self.level);
        self.line = Line::new(&self.hold, self.level, now);
        self.level
    }

    /// Events of a pass.
    pub(crate) fn pass(&mut self, now: Instant, inputs: Inputs) -> Vec<Event> {
        let mut edges: Vec<Edge> = Vec::new();
        while let Some(captured) = self.edges.take() {
            edges.push(self.intake.edge(captured));
        }
        let before = std::mem::replace(&mut self.level, level(inputs));
        let lost = self.intake.overflowed(self.edges.lost(), now, self.level);
        let dark = before == Level::Unknown && self.level != Level::Unknown;
        match lost {
            Some(lost) => edges.extend(lost),
            None if dark => edges.extend(
                [Level::Unknown, self.level]
                    .map(|level| Edge::new(now, level).with_faults(Flags::UNKNOWN_LEVEL)),
            ),
            None => {}
        }
        let line = &mut self.line;
        let mut events: Vec<Event> = edges
            .into_iter()
            .filter_map(|edge| line.edge(&self.hold, edge))
            .collect();
        events.extend(line.poll(&self.hold, now));
        let unlike = self.level != Level::Unknown
            && line.open_since().is_none()
            && (self.level == Level::High) != line.in_contact();
        self.unlike = unlike.then(|| self.unlike.unwrap_or(now));
        self.stuck = self.unlike.is_some_and(|since| {
            now.ticks().saturating_sub(since.ticks()) >= u64::from(self.hold.hold_ticks())
        });
        events
    }

    pub(crate) fn contact(&self) -> Contact {
        match (self.line.open_since(), self.line.in_contact()) {
            _ if self.stuck || self.level == Level::Unknown => Contact::Fault,
            (Some(_), _) => Contact::Between,
            (None, true) => Contact::Touched,
            (None, false) => Contact::Open,
        }
    }
}

fn level(inputs: Inputs) -> Level {
    if inputs.pins & BLOCKED_UNREADABLE != 0 {
        Level::Unknown
    } else {
        Level::from(inputs.pins & BLOCKED != 0)
    }
}
