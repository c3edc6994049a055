//! The course held against what truly was.

use crate::air::on_board;
use crate::board::HZ;
use crate::drive::Course;
use crate::script::{Script, Trouble as Kind};
use crate::side::Trouble;
use crate::START;

/// D, ticks.
const DELAY: u64 = HZ as u64 / 1_000 * 48;
/// The greatest bound of a time under READY, 4 µs, and a microsecond for what this program rounds.
const BOUND: u64 = HZ as u64 / 1_000_000 * 5;
/// Causes of the latch, as the core numbers them.
const SEQUENCE: u8 = 1;
const TIME: u8 = 2;
const TWO_SENDERS: u8 = 16;
const READ_BACK: u8 = 64;

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

/// Counts, and refuses what must not be.
pub(crate) fn judge(course: &Course, script: &Script) -> Result<(), Trouble> {
    let (mut stopped, mut told, mut masked) = (0, 0, 0);
    for touch in &script.touches {
        let onset = on_board(START, touch.onset);
        let latest = on_board(START, touch.latest);
        // Whatever comes between, RUN has been down by then: for the touch, or with READY.
        if !fell(course, onset, latest + DELAY + BOUND) {
            return Err(format!("RUN did not fall for the touch at {onset}").into());
        }
        if lines(course, onset + DELAY - BOUND - 1) == (true, true) {
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
    if stopped < 200 {
        return Err("fewer than 200 touches under READY".into());
    }
    for (kind, at) in script.troubles_on_board() {
        let ms = u64::from(HZ) / 1_000;
        let latched = |cause: u8, to_ms: u64| {
            let within = at..at + to_ms * ms;
            course
                .latches
                .iter()
                .any(|(tick, causes)| within.contains(tick) && causes & cause != 0)
        };
        let during = |from_ms: u64, to_ms: u64| {
            (from_ms..to_ms).any(|after| lines(course, at + after * ms).1)
        };
        let holds = match kind {
            // Silence alone is no latch: the control sees READY fall.
            Kind::Outage => !during(45, 300),
            Kind::LostEdges => latched(SEQUENCE, 100) || fell(course, at, at + 48 * ms),
            Kind::LoopStands => !during(49, 255) && latched(TIME, 300),
            Kind::LatePoll => !during(49, 1_000) && latched(TIME, 60),
            Kind::StuckOutput => !during(49, 1_000) && latched(READ_BACK, 60),
            // From the next pass on, which a beat of 5 ms brings.
            Kind::UnreadableWire => !during(6, 100),
            Kind::Replays => latched(TWO_SENDERS, 300),
            // Held by the passes themselves.
            Kind::ClockStands | Kind::Noise | Kind::ManyEdges => true,
        };
        let before = lines(course, at - ms);
        println!("{kind:?}: READY and RUN before it {before:?}, after it as it must: {holds}");
        if !holds || before != (true, true) {
            return Err(format!("{kind:?} at tick {at} did not go as it must").into());
        }
    }
    if course.lines.last().is_none_or(|line| !line.1) {
        return Err("the line is not armed in the end".into());
    }
    Ok(())
}
