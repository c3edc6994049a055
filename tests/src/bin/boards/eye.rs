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
    /// When a fault was seen last, and whether that is not long ago.
    seen: Option<Instant>,
    fault: bool,
    /// What captures say in a light-off test.
    tested: bool,
}

impl<const N: usize> Eye<N> {
    /// Before its first look.
    pub(crate) fn new(hold: Config) -> Self {
        let start = Instant::from_ticks(0);
        Self {
            hold,
            intake: Intake::new(Counter::behind_a_queue(Bits::B32, 0)),
            edges: SharedQueue::new(),
            line: Line::new(&hold, Level::Low, start),
            level: Level::Low,
            unlike: None,
            seen: None,
            fault: false,
            tested: false,
        }
    }

    pub(crate) fn captured(&self, edge: Captured) {
        self.edges.put(edge);
    }

    pub(crate) fn now(&mut self, tick: u64) -> Instant {
        let stamp = self.intake.now(tick as u32);
        if !stamp.faults.is_empty() {
            self.seen = Some(stamp.at);
        }
        stamp.at
    }

    /// As before any look, nothing stored.
    pub(crate) fn restart(&mut self) {
        *self = Self::new(self.hold);
    }

    /// The first look, the timer at `tick`: the line begins at what the pin shows.
    pub(crate) fn first(&mut self, tick: u64, inputs: Inputs) -> Instant {
        let now = Instant::from_ticks(u64::from(tick as u32));
        self.intake = Intake::new(Counter::behind_a_queue(Bits::B32, tick as u32));
        self.level = level(inputs);
        self.line = Line::new(&self.hold, self.level, now);
        now
    }

    /// What the pin shows as a light-off test begins: contact, also where it cannot be read.
    pub(crate) fn begin_test(&mut self, inputs: Inputs) -> bool {
        self.level = level(inputs);
        self.tested = self.level != Level::Low;
        self.tested
    }

    /// A step of a light-off test, to which the captures belong: whether the pin shows contact, and
    /// whether captures do. The line begins anew.
    pub(crate) fn test(&mut self, now: Instant, inputs: Inputs) -> (bool, bool) {
        while let Some(captured) = self.edges.take() {
            if captured.level != Level::Unknown {
                self.tested = captured.level == Level::High;
            }
        }
        self.level = level(inputs);
        let _ = self.intake.overflowed(self.edges.lost(), now, self.level);
        self.line = Line::new(&self.hold, self.level, now);
        (self.level == Level::High, self.tested)
    }

    /// Events of a pass.
    pub(crate) fn pass(&mut self, now: Instant, inputs: Inputs) -> Vec<Event> {
        let mut edges: Vec<Edge> = Vec::new();
        while let Some(captured) = self.edges.take() {
            edges.push(self.intake.edge(captured));
        }
        let before = std::mem::replace(&mut self.level, level(inputs));
        let lost = self.intake.overflowed(self.edges.lost(), now, self.level);
        let mut events: Vec<Event> = edges
            .drain(..)
            .filter_map(|edge| self.line.edge(&self.hold, edge))
            .collect();
        let blind = !self.line.is_sure();
        let line = &mut self.line;
        events.extend(line.poll(&self.hold, now));
        let unlike = self.level != Level::Unknown
            && line.open_since().is_none()
            && (self.level == Level::High) != line.in_contact();
        self.unlike = unlike.then(|| self.unlike.unwrap_or(now));
        let hold = u64::from(self.hold.hold_ticks());
        let age = |since: Instant| now.ticks().saturating_sub(since.ticks());
        let stuck = self.unlike.is_some_and(|unlike| age(unlike) >= hold);
        if stuck {
            self.unlike = None;
        }
        if stuck || blind || lost.is_some() || self.level == Level::Unknown {
            self.seen = Some(now);
        }
        let dark = (blind || before == Level::Unknown) && self.level != Level::Unknown;
        // The line follows the pin.
        let again = [Level::Unknown, self.level];
        let again = again.map(|level| Edge::new(now, level).with_faults(Flags::UNKNOWN_LEVEL));
        let seen = lost.or((dark || stuck).then_some(again));
        for edge in seen.into_iter().flatten() {
            events.extend(line.edge(&self.hold, edge));
        }
        self.fault = self.seen.is_some_and(|seen| age(seen) < 32 * hold);
        events
    }

    /// When a hold is over, or an unlike pin a fault.
    pub(crate) fn deadline(&self) -> Option<Instant> {
        let over = self.unlike.map(|since| since.plus(self.hold.hold_ticks()));
        self.line.deadline().into_iter().chain(over).min()
    }

    pub(crate) fn contact(&self) -> Contact {
        match (self.line.open_since(), self.line.in_contact()) {
            _ if self.fault || self.level == Level::Unknown => Contact::Fault,
            (Some(_), _) => Contact::Between,
            _ if self.unlike.is_some() => Contact::Between,
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
