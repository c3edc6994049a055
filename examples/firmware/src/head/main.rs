//! The probe's side: edges of the barrier in, frames for the air out.
//!
//! `machine` stands for a HAL. For a real board, change: the interrupt to that of your capture
//! timer, `machine::CaptureUnit` to its two channels (one a direction) behind the same trait, the
//! pins to those of your HAL, `wait` to a compare channel and `wfi`, `send_frame` to a sender that
//! a compare channel starts, `records` and `write_record` to two pages of flash, and `KEY` to one
//! that a pairing left there. Take the timer from the crystal, and the interrupt above all others.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../stop.rs"]
#[macro_use]
mod stop;
#[path = "../key.rs"]
mod key;
#[path = "../machine/mod.rs"]
mod machine;
mod power;
#[path = "../start.rs"]
mod start;

use embedded_hal::digital::{OutputPin, PinState};
use trueonset::barrier::{Lamp, LightTest, TestResult};
use trueonset::edge::Level;
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::lines::Causes;
use trueonset::link::LinkPlan;
use trueonset::onset::{Config, Line};
use trueonset::pins::{Capture, Input, Intake, SharedQueue};
use trueonset::time::{Bits, Counter, Instant, TickRate};

use machine::{CaptureUnit, Output};

/// Ticks of the capture timer, Hz. A slot must be a whole number of them.
const HZ: u32 = 8_000_000;
/// Number of the probe.
const ID: u16 = 0x5A5;
/// Longest time from light off to what the comparator makes of it: 1 ms.
const PATIENCE: u32 = HZ / 1_000;
/// Before a slot its frame is ready for the sender: 200 µs.
const LEAD: u32 = HZ / 5_000;
const RATE: TickRate = checked!(TickRate::from_hz(HZ), "no ticks");
const HEAD: HeadConfig = checked!(
    HeadConfig::new(RATE, ID, &LinkPlan::INFRARED),
    "the plan of the link does not fit the timer"
);
/// The hold is longer than the least time between two edges of the plan.
const LINE: Config = checked!(
    Config::new(RATE, 2_000_000),
    "the hold does not fit the timer"
);

static EDGES: SharedQueue<64> = SharedQueue::new();

machine::interrupt!(captured);

/// The capture interrupt: stores, and nothing else. With the device crate of your controller it is
/// `#[interrupt] fn TIM2()`, or what your timer is called.
fn captured() {
    while let Some(captured) = CaptureUnit.take() {
        EDGES.put(captured);
    }
}

/// The main loop.
#[start::entry]
fn main() -> ! {
    machine::start();
    let start = Instant::from_ticks(u64::from(CaptureUnit.count()));
    // Stamps may have waited for a loop that stood, up to a quarter turn.
    let mut intake = Intake::new(Counter::new(Bits::B32, start).allowing_back_step(u32::MAX));
    let mut blocked = Input::new(machine::Input::BLOCKED);
    let tested = self_test(&mut intake, &mut blocked);
    let now = intake.now(CaptureUnit.count()).at;
    let mut line = Line::new(&LINE, blocked.read(), now);
    let Some(mut head) = wake(now, line.in_contact()) else {
        // Both records are bad: it does not know which tags it has used, and must be paired anew.
        loop {
            machine::wait(None, None, Causes::NONE);
        }
    };
    let mut power = power::Power::new();
    let mut status = HeadStatus::default();
    status.signs.measuring = true;
    status.signs.self_test_failed = tested != TestResult::Passed;
    loop {
        let now = intake.now(CaptureUnit.count()).at;
        while let Some(captured) = EDGES.take() {
            let _ = head.event(&HEAD, line.edge(&LINE, intake.edge(captured)));
        }
        let lost = intake.overflowed(EDGES.lost(), now, blocked.read());
        for edge in lost.into_iter().flatten() {
            let _ = head.event(&HEAD, line.edge(&LINE, edge));
        }
        let _ = head.event(&HEAD, line.poll(&LINE, now));
        // An edge that was refused leaves the probe out of step: a fault until both agree again.
        status.fault = status.signs.self_test_failed
            || head.touched() != line.in_contact()
            || blocked.level() == Level::Unknown;
        status.between = line.open_since().is_some();
        if let Some((slow, look)) = power.look(now) {
            head.set_slow(slow);
            status.signs.look = look;
        }
        head.set_status(status);
        if let Some((begin, frame)) = head.make(&HEAD, now, LEAD) {
            machine::send_frame(begin, &frame);
        }
        let frame = head.wake(&HEAD, now, LEAD);
        let wake = line.deadline().map_or(frame, |hold| hold.min(frame));
        machine::wait(Some(wake), None, Causes::NONE);
    }
}

/// Light off must be seen as contact, light on as none. Its edges are the test's own.
#[inline(never)]
fn self_test(intake: &mut Intake, blocked: &mut Input<machine::Input>) -> TestResult {
    let now = intake.now(CaptureUnit.count()).at;
    let mut test = LightTest::begin(now, blocked.read() != Level::Low, PATIENCE);
    let mut lamp = Output::LAMP;
    loop {
        // A pin of the controller itself cannot fail; on another chip a failure is StuckDark.
        let _ = lamp.set_state(PinState::from(test.lamp() == Lamp::On));
        let Some(deadline) = test.deadline() else {
            return test.result();
        };
        machine::wait(Some(deadline), None, Causes::NONE);
        let now = intake.now(CaptureUnit.count()).at;
        while EDGES.take().is_some() {}
        let _ = test.step(now, blocked.read() == Level::High);
    }
}

/// The number of this start is made durable before anything is sent under it.
#[inline(never)]
fn wake(now: Instant, touched: bool) -> Option<Head> {
    let [one, other] = machine::records(ID);
    let mut waking = Waking::read(&HEAD, [&one, &other])?;
    loop {
        let (place, record) = waking.write();
        machine::write_record(place, &record);
        let [one, other] = machine::records(ID);
        match waking.stored([&one, &other]) {
            Ok(counted) => return Some(counted.head(key::KEY, now, touched)),
            Err(again) => waking = again?,
        }
    }
}
