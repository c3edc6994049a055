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

#[path = "../key.rs"]
mod key;
#[path = "../machine/mod.rs"]
mod machine;
mod power;
#[path = "../stop.rs"]
mod stop;

use embedded_hal::digital::{OutputPin, PinState};
use trueonset::barrier::{Lamp, LightTest, TestResult};
use trueonset::edge::Level;
use trueonset::flags::Flags;
use trueonset::frame::Quality;
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::lines::Causes;
use trueonset::link::LinkPlan;
use trueonset::onset::{Config, Contact, Event, Line};
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
const LEAD: u64 = HZ as u64 / 5_000;
/// A slot, ticks.
const SLOT: u64 = LinkPlan::INFRARED.slot_ns as u64 * HZ as u64 / 1_000_000_000;

// A plan that does not hold does not compile.
const RATE: TickRate = match TickRate::from_hz(HZ) {
    Ok(rate) => rate,
    Err(_) => panic!("no ticks"),
};
const HEAD: HeadConfig = match HeadConfig::new(RATE, ID, &LinkPlan::INFRARED) {
    Ok(config) => config,
    Err(_) => panic!("the plan of the link does not fit the timer"),
};
// A hold longer than the least time between two edges of the plan.
const LINE: Config = match Config::new(RATE, 2_000_000) {
    Ok(config) => config,
    Err(_) => panic!("the hold does not fit the timer"),
};

static EDGES: SharedQueue<64> = SharedQueue::new();

/// The capture interrupt: stores, and nothing else. With the device crate of your controller it is
/// `#[interrupt] fn TIM2()`, or what your timer is called.
#[cortex_m_rt::exception]
unsafe fn DefaultHandler(_: i16) {
    while let Some(captured) = CaptureUnit.take() {
        EDGES.put(captured);
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    machine::start();
    let start = Instant::from_ticks(u64::from(CaptureUnit.count()));
    let mut intake = Intake::new(Counter::new(Bits::B32, start).allowing_back_step(HZ / 100));
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
    let (zero, mut newest, mut told) = (now.ticks(), 0, line.in_contact());
    loop {
        let now = intake.now(CaptureUnit.count()).at;
        while let Some(captured) = EDGES.take() {
            tell(
                &mut head,
                line.edge(&LINE, intake.edge(captured)),
                &mut told,
            );
        }
        let lost = intake.overflowed(EDGES.lost(), now, blocked.read());
        for edge in lost.into_iter().flatten() {
            tell(&mut head, line.edge(&LINE, edge), &mut told);
        }
        tell(&mut head, line.poll(&LINE, now), &mut told);
        // An edge that was refused leaves the probe out of step: a fault until both agree again.
        status.fault = status.signs.self_test_failed
            || told != line.in_contact()
            || blocked.level() == Level::Unknown;
        status.between = line.open_since().is_some();
        if let Some((slow, look)) = power.look(now) {
            head.set_slow(slow);
            status.signs.look = look;
        }
        head.set_status(status);
        // The newest slot whose frame may be made by now; one that has begun already is missed.
        let slot = (now.ticks().saturating_sub(zero) + LEAD) / SLOT;
        let begin = head.begin(&HEAD, slot);
        if slot > newest && begin > now && head.next(&HEAD, slot - 1) == slot {
            machine::send_frame(begin, &head.frame(&HEAD, slot));
        }
        newest = slot;
        let next = head.begin(&HEAD, head.next(&HEAD, slot)).ticks() - LEAD;
        let wake = line.deadline().map_or(next, |hold| hold.ticks().min(next));
        machine::wait(Some(Instant::from_ticks(wake)), None, Causes::NONE);
    }
}

/// Tells the head of a confirmed edge, and what it has taken.
fn tell(head: &mut Head, event: Option<Event>, told: &mut bool) {
    let (touched, contact) = match event {
        Some(Event::Touch(contact)) => (true, contact),
        Some(Event::Release(contact)) => (false, contact),
        _ => return,
    };
    let onset = contact.onset.nearest();
    if head.edge(&HEAD, onset, touched, quality(&contact)).is_ok() {
        *told = touched;
    }
}

fn quality(contact: &Contact) -> Quality {
    if contact.flags.has(Flags::FAULTS) {
        Quality::Doubtful
    } else if contact.flags.has(Flags::FLUTTER) {
        Quality::Bounced
    } else if contact.flags.has(Flags::ROUGH.union(Flags::VIBRATION)) {
        Quality::Slow
    } else {
        Quality::Clean
    }
}

/// Light off must be seen as contact, light on as none. Its edges are the test's own.
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
fn wake(now: Instant, touched: bool) -> Option<Head> {
    let [one, other] = machine::records(ID);
    let waking = Waking::read(&HEAD, [&one, &other])?;
    let (place, record) = waking.write();
    machine::write_record(place, &record);
    Some(waking.stored(key::KEY, now, touched))
}
