//! Both boards driven along: this program is their clock.

use std::collections::VecDeque;
use std::sync::mpsc::Sender;

use crate::air::{Air, Fates};
use crate::board;
use crate::script::{Script, Trouble as Kind, MS};
use crate::side::{
    Answer, Frame, Inputs, Side, Told, Trouble, BLOCKED, FED, LAMP, READY, REARM, RUN, SEEN_READY,
    SEEN_RUN, UNREADABLE,
};

/// From light off or on to the comparator's edge: 20 µs of the probe.
const LIGHT_TICKS: u64 = MS / 50;
/// Edges so near to each other are in the queue together: 50 µs.
const TOGETHER: u64 = MS / 20;
/// A millisecond of the board.
const BOARD_MS: u64 = board::HZ as u64 / 1_000;

/// Lets the probe live from `start` through its script; its frames go to the air. Where the
/// barrier is stuck, the comparator does not see its light go off.
pub(crate) fn head(
    side: &mut impl Side,
    start: u64,
    script: &Script,
    stuck: bool,
    air: &Sender<(u64, Frame)>,
) -> Result<u64, Trouble> {
    let mut edges: VecDeque<(u64, bool)> = script.edges.iter().copied().collect();
    let mut inputs = Inputs {
        pins: 0,
        millivolts: (2_980, 2_890),
    };
    // At the start the light is on, as its driver pulls it.
    let (mut now, mut lamp, mut passes) = (start, true, 0);
    loop {
        let answer = side.go(now, inputs)?;
        passes += 1;
        for sent in answer.frames {
            // Nobody listens any more: the board's side has its own word on why.
            air.send(sent).map_err(|_| "the air is gone")?;
        }
        let shines = answer.pins & LAMP != 0;
        if shines != lamp && !stuck {
            edges.push_front((now + LIGHT_TICKS, !shines));
        }
        lamp = shines;
        let wake = answer.wake.unwrap_or(u64::MAX).max(now + 1);
        let first = edges.front().map_or(u64::MAX, |edge| edge.0);
        now = wake.min(first);
        if now >= script.end {
            return Ok(passes);
        }
        while let Some(&(at, level)) = edges.front() {
            if at > wake.min(first.saturating_add(TOGETHER)) {
                break;
            }
            edges.pop_front();
            side.captured(at as u32, level)?;
            inputs.pins = if level { BLOCKED } else { 0 };
            now = now.max(at);
        }
    }
}

/// What the control saw of the board.
#[derive(Debug, Default)]
pub(crate) struct Course {
    /// Changes of the lines behind the output stage: tick, READY, RUN.
    pub(crate) lines: Vec<(u64, bool, bool)>,
    /// Edges told, with the tick.
    pub(crate) told: Vec<(u64, Told)>,
    /// Latches with their causes, and the ticks of their ends.
    pub(crate) latches: Vec<(u64, u8)>,
    /// Ticks at which the line was armed again.
    pub(crate) armed: Vec<u64>,
    /// Passes of the main loop.
    pub(crate) passes: u64,
}

/// The output stage: what the pins say until the compare unit drops them.
#[derive(Default)]
struct Stage {
    pins: u8,
    valid_until: Option<u64>,
}

impl Stage {
    fn at(&self, tick: u64) -> u8 {
        match self.valid_until {
            Some(until) if tick <= until => self.pins & (READY | RUN),
            _ => 0,
        }
    }
}

/// The operator's hand on the re-arm wire.
#[derive(Default)]
struct Hand {
    /// When it goes up or down next.
    moves: Option<u64>,
    up: bool,
}

/// The board and all around it.
pub(crate) struct Bench<'a, S> {
    side: &'a mut S,
    air: Air,
    troubles: Vec<(Kind, u64)>,
    stage: Stage,
    hand: Hand,
    before: Answer,
    course: Course,
}

impl<'a, S: Side> Bench<'a, S> {
    /// A board under `air`; troubles with the tick of the board at which their touch is.
    pub(crate) fn new(side: &'a mut S, air: Air, troubles: Vec<(Kind, u64)>) -> Self {
        Self {
            side,
            air,
            troubles,
            stage: Stage::default(),
            hand: Hand::default(),
            before: Answer::default(),
            course: Course::default(),
        }
    }

    /// Lets the board live from `start` to `end`.
    pub(crate) fn run(mut self, start: u64, end: u64) -> Result<(Course, Fates), Trouble> {
        let mut now = start;
        while now < end {
            self.pass(now)?;
            if self.is(Kind::ClockStands, now, 5, 15) {
                self.stand(now)?;
            }
            let wake = self.before.wake.unwrap_or(end).max(now + 1);
            let wake = wake.min(self.hand.moves.unwrap_or(end)).max(now + 1);
            let mut next = wake.min(end);
            // A wire that cannot be read raises no interrupt: the loop has its own beat.
            if self.is(Kind::UnreadableWire, now, 0, 101) {
                next = next.min(now + BOARD_MS);
            }
            let heard = self.air.next(next);
            next = heard.map_or(next, |heard| heard.at).max(now + 1);
            if let Some(heard) = heard {
                self.side.heard(heard.arrival as u32, &heard.frame)?;
            }
            next = self.stalled(next);
            while let Some(heard) = self.air.next(next) {
                self.side.heard(heard.arrival as u32, &heard.frame)?;
            }
            now = next;
        }
        Ok((self.course, self.air.fates))
    }

    /// Whether `now` lies within these milliseconds after the touch of a trouble.
    fn is(&self, kind: Kind, now: u64, from_ms: u64, to_ms: u64) -> bool {
        let within = |at: u64| (at + from_ms * BOARD_MS..at + to_ms * BOARD_MS).contains(&now);
        self.troubles
            .iter()
            .any(|(one, at)| *one == kind && within(*at))
    }

    /// When the main loop comes that would come at `next`.
    fn stalled(&self, next: u64) -> u64 {
        for (kind, at) in &self.troubles {
            let (from_ms, to_ms) = match kind {
                Kind::LoopStands => (5, 255),
                Kind::LatePoll => (47, 53),
                _ => continue,
            };
            let (from, to) = (at + from_ms * BOARD_MS, at + to_ms * BOARD_MS);
            if (from..to).contains(&next) {
                return to;
            }
        }
        next
    }

    /// The loop goes on while the timer shows the same tick: the lines must be at stop, unfed.
    fn stand(&mut self, now: u64) -> Result<(), Trouble> {
        for _ in 0..10 {
            self.pass(now)?;
            if self.before.pins & (READY | RUN | FED) != 0 {
                return Err(
                    format!("at tick {now} the clock stands and the lines do not fall").into(),
                );
            }
        }
        Ok(())
    }

    /// One pass of the main loop.
    fn pass(&mut self, now: u64) -> Result<(), Trouble> {
        let fallen = self.stage.at(now);
        if let Some(until) = self.stage.valid_until.filter(|until| *until < now) {
            self.note(until + 1, 0);
        }
        let mut pins = 0;
        for (line, seen) in [(READY, SEEN_READY), (RUN, SEEN_RUN)] {
            pins |= if fallen & line != 0 { seen } else { 0 };
        }
        if self.is(Kind::StuckOutput, now, 40, 90) {
            pins |= SEEN_RUN;
        }
        if self.is(Kind::UnreadableWire, now, 0, 100) {
            pins |= UNREADABLE;
        }
        let rose = self.move_hand(now);
        pins |= if self.hand.up { REARM } else { 0 };
        let inputs = Inputs {
            pins,
            millivolts: (0, 0),
        };
        let answer = self.side.go(now, inputs)?;
        self.course.passes += 1;
        let told = answer.told.iter().map(|told| (now, *told));
        self.course.told.extend(told);
        self.stage = Stage {
            pins: answer.pins,
            valid_until: answer.valid_until,
        };
        let lines = self.stage.at(now);
        self.note(now, lines);
        if answer.latched != 0 && lines != 0 {
            return Err(format!("at tick {now} a latched line is not at stop").into());
        }
        if pins & UNREADABLE != 0 && lines != 0 {
            return Err(
                format!("at tick {now} the lines run with a wire that cannot be read").into(),
            );
        }
        if self.before.latched == 0 && answer.latched != 0 {
            self.hand.moves = Some(now + 1_200 * BOARD_MS);
        }
        if answer.latched & !self.before.latched != 0 {
            self.course.latches.push((now, answer.latched));
        }
        if self.before.latched != 0 && answer.latched == 0 {
            if !rose {
                return Err(format!("at tick {now} the latch opens by itself").into());
            }
            self.course.armed.push(now);
        }
        self.before = answer;
        Ok(())
    }

    /// Moves the hand where it is time; whether the wire rose. Up for 20 ms, again after 1.2 s.
    fn move_hand(&mut self, now: u64) -> bool {
        if self.hand.moves.is_none_or(|at| now < at) {
            return false;
        }
        self.hand.up = !self.hand.up;
        self.hand.moves = if self.hand.up {
            Some(now + 20 * BOARD_MS)
        } else {
            (self.before.latched != 0).then_some(now + 1_200 * BOARD_MS)
        };
        self.hand.up
    }

    fn note(&mut self, tick: u64, pins: u8) {
        let (ready, run) = (pins & READY != 0, pins & RUN != 0);
        let newest = self.course.lines.last();
        if newest.is_none_or(|line| (line.1, line.2) != (ready, run)) {
            self.course.lines.push((tick, ready, run));
        }
    }
}
