//! The course held against what truly was.

use crate::air::on_board;
use crate::board::HZ;
use crate::drive::Course;
use crate::script::{Script, Trouble as Kind};
use crate::side::Trouble;
use crate::START;

/// A millisecond.
const MS: u64 = HZ as u64 / 1_000;
/// D over the air and on a cable, ticks.
const DELAY: u64 = MS * 48;
const WIRED_DELAY: u64 = MS * 5;
/// The greatest bound of a time under READY, 4 µs, and a microsecond for what this program rounds.
const BOUND: u64 = HZ as u64 / 1_000_000 * 5;
/// Causes of the latch, as the core numbers them.
const SEQUENCE: u8 = 1;
const TIME: u8 = 2;
const FAULT: u8 = 4;
const TWO_SENDERS: u8 = 16;
const READ_BACK: u8 = 64;
pub(crate) const RESTART: u8 = 128;

/// Lines at a tick.
fn lines(course: &Course, tick: u64) -> (bool, bool) {
    let later = course.lines.partition_point(|line| line.0 <= tick);
    let newest = later.checked_sub(1).and_then(|at| course.lines.get(at));
    newest.map_or((false, false), |line| (line.1, line.2))
}

/// Whether RUN was down at some tick from `from` to `to`.
fn fell(course: &Course, from: u64, to: u64) -> bool {
    let inside = |line: &&(u64, bool, bool)| (from..=to).contains(&line.0);
    !lines(course, from).1 || course.lines.iter().filter(inside).any(|line| !line.2)
}

/// What took RUN down, after which delay: refuses a touch that did not, and one told twice.
fn touches(course: &Course, script: &Script, delay: u64) -> Result<(), Trouble> {
    let (mut stopped, mut told, mut masked) = (0, 0, 0);
    for touch in &script.touches {
        let onset = on_board(START, touch.onset);
        let latest = on_board(START, touch.latest);
        // Whatever comes between, RUN has been down by then: for the touch, or with READY.
        if !fell(course, onset, latest + delay + BOUND) {
            return Err(format!("RUN did not fall for the touch at {onset}").into());
        }
        if lines(course, onset + delay - BOUND - 1) == (true, true) {
            stopped += 1;
        } else {
            masked += 1;
        }
        let fits = |at: u64| at.abs_diff(onset) <= BOUND || at.abs_diff(latest) <= BOUND;
        let edges = course
            .told
            .iter()
            .filter(|(_, edge)| edge.touched && fits(edge.onset));
        match edges.count() {
            0 => {}
            1 => told += 1,
            more => return Err(format!("the touch at {onset} was told {more} times").into()),
        }
    }
    println!(
        "{} touches: {stopped} took RUN down at contact + D, {masked} met lines at stop, {told} told with their time; \
         {} latches, {} times armed",
        script.touches.len(),
        course.latches.len(),
        course.armed.len()
    );
    let standing = script.troubles.iter();
    let standing = standing.filter(|(kind, _)| *kind == Kind::LoopStands);
    if course.bites.len() != standing.count() {
        return Err(format!("the watchdog bit at {:?}", course.bites).into());
    }
    if stopped < 200 {
        return Err("fewer than 200 touches under READY".into());
    }
    if course.lines.last().is_none_or(|line| !line.1) {
        let latches = &course.latches;
        return Err(format!("the line is not armed in the end, latched at {latches:?}").into());
    }
    Ok(())
}

/// A probe on a cable.
pub(crate) fn judge_wired(course: &Course, script: &Script) -> Result<(), Trouble> {
    touches(course, script, WIRED_DELAY)?;
    troubles(course, script, |seen, kind| match kind {
        // Long before it goes on, the watchdog has started the board anew.
        Kind::LoopStands => !seen.runs(6, 1_000) && seen.latched(RESTART, 15),
        Kind::StuckOutput => !seen.runs(41, 1_000) && seen.latched(READ_BACK, 60),
        Kind::Unwritable => !seen.runs(12, 1_000) && seen.latched(READ_BACK, 13),
        // From the next pass on.
        Kind::UnreadableWire => !seen.runs(2, 1_000) && seen.latched(FAULT, 2),
        Kind::StuckCapture | Kind::UnknownLevel | Kind::UnreadableBarrier => {
            !seen.runs(5, 1_000) && seen.latched(FAULT, 5)
        }
        Kind::OneDirection => !seen.runs(7, 1_000) && seen.latched(FAULT, 50),
        // Edges were lost, and with them the time of the touch.
        Kind::ManyEdges | Kind::RepeatedCapture => seen.latched(FAULT, 20),
        // Held by the passes themselves, and by the touches.
        _ => true,
    })
}

/// What follows on a trouble.
struct Seen<'a> {
    course: &'a Course,
    at: u64,
}

impl Seen<'_> {
    /// Whether a cause was latched within so many milliseconds.
    fn latched(&self, cause: u8, to_ms: u64) -> bool {
        // The first edge of its chatter may come before the touch.
        let within = self.at - MS..self.at + to_ms * MS;
        let latches = &mut self.course.latches.iter();
        latches.any(|(tick, causes)| within.contains(tick) && causes & cause != 0)
    }

    /// Whether RUN stands at a millisecond between these.
    fn runs(&self, from_ms: u64, to_ms: u64) -> bool {
        (from_ms..to_ms).any(|after| lines(self.course, self.at + after * MS).1)
    }
}

/// Each trouble must go as `holds` says, and find the lines up.
fn troubles(
    course: &Course,
    script: &Script,
    holds: impl Fn(&Seen, Kind) -> bool,
) -> Result<(), Trouble> {
    for (kind, at) in script.troubles_on_board() {
        let holds = holds(&Seen { course, at }, kind);
        let before = lines(course, at - MS);
        println!("{kind:?}: READY and RUN before it {before:?}, after it as it must: {holds}");
        if !holds || before != (true, true) {
            return Err(format!("{kind:?} at tick {at} did not go as it must").into());
        }
    }
    Ok(())
}

/// A probe over the air.
pub(crate) fn judge(course: &Course, script: &Script) -> Result<(), Trouble> {
    touches(course, script, DELAY)?;
    troubles(course, script, |seen, kind| match kind {
        // Silence alone is no latch: the control sees READY fall.
        Kind::Outage => !seen.runs(45, 300),
        Kind::LostEdges => seen.latched(SEQUENCE, 100) || fell(course, seen.at, seen.at + 48 * MS),
        // Long before it goes on, the watchdog has started the board anew.
        Kind::LoopStands => !seen.runs(49, 1_000) && seen.latched(RESTART, 60),
        Kind::LatePoll => !seen.runs(49, 1_000) && seen.latched(TIME, 60),
        Kind::StuckOutput => !seen.runs(49, 1_000) && seen.latched(READ_BACK, 60),
        Kind::Unwritable => !seen.runs(20, 1_000) && seen.latched(READ_BACK, 21),
        // Silence alone is no latch; edges of that time were lost.
        Kind::HeadStands => !seen.runs(45, 250),
        // From the next pass on, which a beat of 5 ms brings.
        Kind::UnreadableWire => !seen.runs(7, 1_000) && seen.latched(FAULT, 7),
        Kind::StuckCapture | Kind::UnknownLevel | Kind::UnreadableBarrier => {
            !seen.runs(49, 1_000) && seen.latched(FAULT, 49)
        }
        Kind::OneDirection => !seen.runs(49, 1_000) && seen.latched(FAULT, 100),
        Kind::Replays => seen.latched(TWO_SENDERS, 300),
        // Edges were lost, and with them the time of the touch.
        Kind::ManyEdges | Kind::RepeatedCapture => seen.latched(FAULT, 49),
        // Held by the passes themselves, and by the touches.
        _ => true,
    })
}

/// A board that had no power for 100 ms: nothing is latched, and READY comes back by itself once the
/// probe has counted past the mark that was stored.
pub(crate) fn judge_power(course: &Course, script: &Script) -> Result<(), Trouble> {
    let at = script
        .troubles_on_board()
        .first()
        .map_or(0, |first| first.1);
    let back = course
        .lines
        .iter()
        .find(|line| line.0 > at + 105 * MS && line.1);
    let up = course.lines.last().is_some_and(|line| line.1);
    if !course.latches.is_empty()
        || !course.bites.is_empty()
        || !up
        || lines(course, at - MS) != (true, true)
    {
        return Err(format!(
            "after a loss of power at {at}: latches {:?}",
            course.latches
        )
        .into());
    }
    let back = back.map_or(0, |line| (line.0 - at) / MS);
    println!("without power for 100 ms: nothing latched, READY is back after {back} ms");
    Ok(())
}

/// A probe that got power with a tool in the light: a fault while it stands there, and after it has
/// let go a light-off test, READY, and touches as ever.
pub(crate) fn judge_held(course: &Course, script: &Script) -> Result<(), Trouble> {
    let lets_go = on_board(START, script.held.unwrap_or_default());
    let up = course.lines.iter().find(|line| line.1 || line.2);
    let up = up.map_or(0, |line| line.0);
    // The hold, the test, and what a link takes to join: a hello every 20 ms, eight frames of 5 ms.
    let soon = (lets_go..lets_go + 100 * MS).contains(&up);
    let stopped = script.touches.iter().all(|touch| {
        let due = on_board(START, touch.onset) + DELAY;
        lines(course, due - BOUND - 1) == (true, true)
            && fell(
                course,
                due - BOUND,
                on_board(START, touch.latest) + DELAY + BOUND,
            )
    });
    if !soon || !stopped || !course.latches.is_empty() {
        let latches = &course.latches;
        return Err(format!("power with a tool in the light that lets go at {lets_go}: up at {up}, touches {stopped}, {latches:?}").into());
    }
    println!(
        "with a tool in the light at power-up READY comes {} ms after it has let go",
        (up - lets_go) / MS
    );
    Ok(())
}

/// A latch, and then a silence of 300 s: nothing starts the board anew, the latch stays through it
/// all, and a hand opens it afterwards.
pub(crate) fn judge_silence(course: &Course, script: &Script) -> Result<(), Trouble> {
    let at = script
        .troubles_on_board()
        .first()
        .map_or(0, |first| first.1);
    let end = at + 300_000 * MS;
    let latched = course
        .latches
        .iter()
        .any(|(_, causes)| causes & READ_BACK != 0);
    let armed = course.armed.iter().all(|armed| *armed > end) && course.armed.len() == 1;
    let up = course.lines.last().is_some_and(|line| line.1);
    if !course.bites.is_empty() || !latched || !armed || !up || lines(course, at + 60 * MS).0 {
        return Err(format!(
            "a silence of 300 s from {at} on: bites {:?}, latches {:?}, armed {:?}",
            course.bites, course.latches, course.armed
        )
        .into());
    }
    println!("a latch stays through a silence of 300 s, until a hand opens it");
    Ok(())
}
