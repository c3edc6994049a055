//! Both boards driven along: this program is their clock.

use std::collections::VecDeque;
use std::sync::mpsc::Sender;

use fastrand::Rng;

use crate::board;
use crate::pace::{self, Pace};
use crate::script::{Script, Trouble as Kind, MS};
use crate::side::{
    captured, shows, Answer, Frame, Inputs, Side, Told, Trouble, BLOCKED, BLOCKED_UNREADABLE,
    CONVERTED, FED, LAMP, POWER, READY, REARM, RUN, SEEN_READY, SEEN_RUN, SILENCE, UNREADABLE,
    UNWRITABLE,
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
        pins: if script.held.is_some() { BLOCKED } else { 0 },
        millivolts: (2_980, 2_890),
        pass_ticks: 0,
    };
    // At the start the light is on, as its driver pulls it.
    let (mut now, mut lamp, mut passes) = (start, true, 0);
    loop {
        inputs.millivolts = volts(now);
        let unreadable = script.is(Kind::UnreadableBarrier, now, 100);
        inputs.pins = inputs.pins & BLOCKED | if unreadable { BLOCKED_UNREADABLE } else { 0 };
        if script.is(Kind::PortNoise, now, 300) {
            side.noise(&garbage(now))?;
        }
        inputs.pass_ticks = pace::HEAD.pass(passes);
        let answer = side.go(now, inputs)?;
        passes += 1;
        let mut busy = now + u64::from(inputs.pass_ticks);
        let mut frames = answer.frames;
        if script.is(Kind::ClockStands, now, 10) {
            frames.extend(stand_head(side, busy, inputs)?);
        }
        for sent in frames {
            if sent.0 <= busy && !script.is_noisy() {
                return Err(format!("the frame of tick {} is ready at {busy}", sent.0).into());
            }
            // Nobody listens any more: the board's side has its own word on why.
            air.send(sent).map_err(|_| "the air is gone")?;
        }
        let shines = answer.pins & LAMP != 0;
        if shines != lamp && !stuck {
            edges.push_front((busy + LIGHT_TICKS, !shines));
        }
        lamp = shines;
        let wake = answer.wake.map_or(u64::MAX, |wake| shows(now, wake));
        if answer.pins & CONVERTED != 0 {
            busy += pace::HEAD.look();
        }
        let first = edges.front().map_or(u64::MAX, |edge| edge.0);
        now = script.stalled(wake.min(first).max(busy + 1));
        let until = wake.min(first.saturating_add(TOGETHER)).max(now);
        if now >= script.end {
            return Ok(passes);
        }
        while let Some(&(at, level)) = edges.front() {
            if at > until {
                break;
            }
            edges.pop_front();
            if let Some(edge) = captured(|kind| script.is(kind, at + MS, 60), at, level) {
                side.captured(edge)?;
            }
            inputs.pins = if level { BLOCKED } else { 0 };
            now = now.max(at);
        }
    }
}

/// The loop of the probe goes on while its timer shows the same tick: it sends what is due, once.
fn stand_head(
    side: &mut impl Side,
    now: u64,
    inputs: Inputs,
) -> Result<Option<(u64, Frame)>, Trouble> {
    let mut sent = Vec::new();
    let inputs = Inputs {
        pass_ticks: 0,
        ..inputs
    };
    for _ in 0..10 {
        sent.extend(side.go(now, inputs)?.frames);
    }
    if sent.len() > 1 {
        return Err(format!("at tick {now} the clock stands and a frame is sent again").into());
    }
    Ok(sent.pop())
}

/// What the converter shows: in one second out of four nothing that cells can give.
fn volts(now: u64) -> (u16, u16) {
    let second = now / (1_000 * MS);
    match second % 16 {
        3 => (0, 0),
        7 => (u16::MAX, u16::MAX),
        11 => (0, u16::MAX),
        15 => (u16::MAX, 0),
        _ => (2_980, 2_890),
    }
}

/// Noise on the port, with silence after it. Of what begins a message of the port only those are
/// missing that tell the time, fill the flash or bite.
fn garbage(seed: u64) -> Vec<u8> {
    let mut random = Rng::with_seed(seed);
    let mut bytes: Vec<u8> = (0..200)
        .map(|_| match random.u8(..) {
            0..24 => b'C',
            24..40 => b'F',
            b'G' | b'S' | b'X' => 0,
            other => other,
        })
        .collect();
    bytes.extend(SILENCE);
    bytes
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
    /// Ticks at which the watchdog bit.
    pub(crate) bites: Vec<u64>,
    /// Passes of the main loop.
    pub(crate) passes: u64,
}

/// The output stage: what the pins say until the compare unit drops them.
#[derive(Default)]
struct Stage {
    pins: u8,
    /// Since when the pins are so, and the compare unit is set.
    since: u64,
    valid_until: Option<u64>,
}

impl Stage {
    fn at(&self, tick: u64) -> u8 {
        match self.valid_until {
            // A compare unit that is set to a past tick does not fire.
            Some(until) if tick <= until || until < self.since => self.pins & (READY | RUN),
            _ => 0,
        }
    }

    /// When the compare unit drops the lines, if it does before `tick`.
    fn falls(&self, tick: u64) -> Option<u64> {
        let until = self.valid_until?;
        (self.since..tick).contains(&until).then_some(until + 1)
    }
}

/// The operator's hand on the re-arm wire.
#[derive(Default)]
struct Hand {
    /// When it goes up or down next.
    moves: Option<u64>,
    up: bool,
}

/// What happens to a board from outside.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Happening {
    /// A frame, its first edge captured at that tick.
    Heard(u64, Frame),
    /// An edge of the comparator at that tick, to that level.
    Edge(u64, bool),
}

/// Where it comes from.
pub(crate) trait World {
    /// What happens next, if it does by `until`, and at which tick the board is told.
    fn next(&mut self, until: u64) -> Option<(u64, Happening)>;
}

/// A tool at the barrier of a wired probe: its edges in ticks of the board.
pub(crate) struct Tool(pub(crate) VecDeque<(u64, bool)>);

impl World for Tool {
    fn next(&mut self, until: u64) -> Option<(u64, Happening)> {
        let (at, level) = *self.0.front().filter(|edge| edge.0 <= until)?;
        self.0.pop_front();
        Some((at, Happening::Edge(at, level)))
    }
}

/// The board and all around it.
pub(crate) struct Bench<'a, S, W> {
    side: &'a mut S,
    world: W,
    blocked: bool,
    troubles: Vec<(Kind, u64)>,
    pace: Pace,
    stage: Stage,
    hand: Hand,
    before: Answer,
    /// The end of the newest pass, and how many there were since the start.
    busy: u64,
    passes: u64,
    /// When the watchdog was fed last.
    fed: u64,
    /// It has had no restart since power came.
    power: bool,
    course: Course,
}

impl<'a, S: Side, W: World> Bench<'a, S, W> {
    /// A board in its world; troubles with the tick of the board at which their touch is.
    pub(crate) fn new(side: &'a mut S, world: W, troubles: Vec<(Kind, u64)>, pace: Pace) -> Self {
        Self {
            side,
            world,
            blocked: false,
            troubles,
            pace,
            stage: Stage::default(),
            hand: Hand::default(),
            before: Answer::default(),
            busy: 0,
            passes: 0,
            fed: 0,
            power: true,
            course: Course::default(),
        }
    }

    /// Lets the board live from `start` to `end`.
    pub(crate) fn run(mut self, start: u64, end: u64) -> Result<(Course, W), Trouble> {
        let mut now = start;
        while now < end {
            let length = self.pace.pass(self.passes);
            self.pass(now, length)?;
            if self.is(Kind::ClockStands, now, 5, 15) {
                self.stand()?;
            }
            let wake = self.before.wake.map_or(end, |wake| shows(now, wake));
            let wake = wake.min(self.hand.moves.unwrap_or(end));
            let mut next = wake.min(end).max(self.busy + 1);
            // A wire that cannot be read raises no interrupt: the loop has its own beat.
            if self.is(Kind::UnreadableWire, now, 0, 101) {
                next = next.min(now + BOARD_MS);
            }
            if let Some((at, what)) = self.world.next(next) {
                next = match what {
                    Happening::Heard(..) => at,
                    // Edges that are near to each other are in the queue together.
                    Happening::Edge(..) => next.min(at + BOARD_MS / 20),
                };
                self.happen(what)?;
            }
            next = self.stalled(next.max(self.busy + 1));
            let bite = self.fed + self.pace.watchdog_ms * BOARD_MS;
            if let Some(off) = self.power_loss(now, next) {
                self.start_anew(off, 100)?;
                self.power = true;
                // Out of its memory goes the latch.
                self.before.latched = 0;
                next = off + 100 * BOARD_MS;
            } else if next > bite {
                self.start_anew(bite, 1)?;
                self.power = false;
                self.course.bites.push(bite);
                next = bite + BOARD_MS;
            }
            while let Some((_, what)) = self.world.next(next) {
                self.happen(what)?;
            }
            now = next;
        }
        Ok((self.course, self.world))
    }

    fn happen(&mut self, what: Happening) -> Result<(), Trouble> {
        if let Happening::Heard(at, _) = what {
            // Without power it hears nothing.
            if self.is(Kind::PowerLoss, at, 5, 105) {
                return Ok(());
            }
        }
        match what {
            Happening::Heard(arrival, frame) => self.side.heard(arrival as u32, &frame),
            Happening::Edge(at, level) => {
                self.blocked = level;
                let edge = captured(|kind| self.is(kind, at + BOARD_MS, 0, 60), at, level);
                edge.map_or(Ok(()), |edge| self.side.captured(edge))
            }
        }
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
            let cured = self.course.bites.iter().any(|at| (from..to).contains(at));
            if (from..to).contains(&next) && !cured {
                return to;
            }
        }
        next
    }

    /// The loop goes on while the timer shows the same tick: the lines must be at stop, unfed.
    fn stand(&mut self) -> Result<(), Trouble> {
        let now = self.busy;
        for _ in 0..10 {
            self.pass(now, 0)?;
            if self.before.pins & (READY | RUN | FED) != 0 {
                return Err(
                    format!("at tick {now} the clock stands and the lines do not fall").into(),
                );
            }
        }
        Ok(())
    }

    /// When power goes between these, 5 ms after the touch of a trouble.
    fn power_loss(&self, from: u64, to: u64) -> Option<u64> {
        let losses = self.troubles.iter();
        let losses = losses.filter(|(kind, _)| *kind == Kind::PowerLoss);
        let mut offs = losses.map(|(_, at)| at + 5 * BOARD_MS);
        offs.find(|off| (from..to).contains(off))
    }

    /// The board is without power or in reset for some milliseconds, its lines at stop.
    fn start_anew(&mut self, at: u64, ms: u64) -> Result<(), Trouble> {
        self.note(self.stage.falls(at).unwrap_or(at), 0);
        self.stage = Stage::default();
        self.side.restart()?;
        self.fed = at + ms * BOARD_MS;
        self.passes = 0;
        self.before.wake = None;
        Ok(())
    }

    /// One pass of the main loop, which shows what it has decided so many ticks after its begin.
    fn pass(&mut self, now: u64, length: u32) -> Result<(), Trouble> {
        let fallen = self.stage.at(now);
        self.busy = now + u64::from(length);
        if let Some(fell) = self.stage.falls(self.busy) {
            self.note(fell, 0);
        }
        let mut pins = 0;
        for (line, seen) in [(READY, SEEN_READY), (RUN, SEEN_RUN)] {
            pins |= if fallen & line != 0 { seen } else { 0 };
        }
        if self.is(Kind::StuckOutput, now, 40, 90) || self.is(Kind::Silence, now, 40, 90) {
            pins |= SEEN_RUN;
        }
        if self.is(Kind::UnreadableWire, now, 0, 100) {
            pins |= UNREADABLE;
        }
        if self.is(Kind::UnreadableBarrier, now, 0, 100) {
            pins |= BLOCKED_UNREADABLE;
        }
        if self.is(Kind::PortNoise, now, 0, 300) {
            self.side.noise(&garbage(now))?;
        }
        // The wire comes back high, which nobody has seen it rise to.
        if self.is(Kind::UnreadableWire, now, 100, 150) {
            pins |= REARM;
        }
        if self.is(Kind::Unwritable, now, 10, 60) {
            pins |= UNWRITABLE;
        }
        if self.power {
            pins |= POWER;
        }
        pins |= if self.blocked { BLOCKED } else { 0 };
        let rose = self.move_hand(now);
        pins |= if self.hand.up { REARM } else { 0 };
        let inputs = Inputs {
            pins,
            millivolts: (0, 0),
            pass_ticks: length,
        };
        let answer = self.side.go(now, inputs)?;
        self.course.passes += 1;
        self.passes += 1;
        if answer.pins & FED != 0 || self.passes == 1 {
            self.fed = self.busy;
        }
        let told = answer.told.iter().map(|told| (now, *told));
        self.course.told.extend(told);
        self.stage = Stage {
            pins: answer.pins,
            since: self.busy,
            valid_until: answer.valid_until.map(|until| shows(now, until)),
        };
        let lines = self.stage.at(self.busy);
        self.note(self.busy, lines);
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
