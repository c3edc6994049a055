//! The probe's side: edges of the barrier in, frames for the air out.
//!
//! `machine` stands for a HAL. For a real board, change: the interrupt to that of your capture
//! timer, `machine::CaptureUnit` to its two channels (one a direction) behind the same trait, the
//! pins to those of your HAL, `wait` to a compare channel and `wfi`, `send_frame` to a sender that
//! a compare channel starts, `Flash` to two pages of yours, and `KEY` to one that a pairing left
//! there. Take the timer from the crystal, and the interrupt above all others.
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
#[path = "../start.rs"]
mod start;
#[path = "../stop.rs"]
mod stop;

use embedded_hal::digital::{OutputPin, PinState};
use trueonset::barrier::{Lamp, TestResult};
use trueonset::battery::Watch;
use trueonset::checked;
use trueonset::edge::queue_room;
use trueonset::frame::Contact;
use trueonset::head::{HeadConfig, HeadStatus};
use trueonset::lines::Causes;
use trueonset::link::LinkPlan;
use trueonset::onset::Config;
use trueonset::pins::{Capture, Comparator, Records, SharedQueue};
use trueonset::time::{Bits, Counter, TickRate};

use machine::{CaptureUnit, Flash, Input, Output};

/// Ticks of the capture timer, Hz. A slot must be a whole number of them.
const HZ: u32 = 8_000_000;
/// Number of the probe.
const ID: u16 = 0x5A5;
/// Longest time from light off to what the comparator makes of it: 1 ms.
const PATIENCE: u32 = HZ / 1_000;
/// Before a slot its frame is made and ready for the sender: 500 µs, of which a pass takes less.
const LEAD: u32 = HZ / 2_000;
/// Longest time that a look at the cells takes: 3 ms.
const LOOK: u32 = HZ / 1_000 * 3;
const RATE: TickRate = checked!(TickRate::from_hz(HZ));
const HEAD: HeadConfig = checked!(HeadConfig::new(RATE, ID, &LinkPlan::INFRARED));
/// The hold is longer than the least time between two edges of the plan.
const LINE: Config = checked!(Config::new(RATE, 2_000_000));

/// Room for the edges of a comparator of 10 kHz, 1.3 a cycle, while the loop looks at the cells.
const ROOM: usize = queue_room(13_000, 3_000);

static EDGES: SharedQueue<ROOM> = SharedQueue::new();

machine::interrupt!(captured, machine::halt);

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
    let counter = Counter::behind_a_queue(Bits::B32, CaptureUnit.count());
    let mut eye = Comparator::new(&LINE, counter, Input::BLOCKED);
    let mut tested = self_test(&mut eye);
    let now = eye.now(CaptureUnit.count());
    let Some(awake) = Flash.count_start(&HEAD) else {
        // It does not know which tags it has used, and must be paired anew.
        loop {
            machine::wait(None, None, Causes::NONE);
        }
    };
    let mut head = awake.head(key::KEY, now, eye.line().in_contact());
    let mut cells = Watch::new(RATE, power::RUN_S);
    let mut status = HeadStatus::default();
    status.signs.measuring = true;
    loop {
        // A tool in the light, or one that came into it, shows nothing: again once it has let go, a
        // fault until then.
        let spoilt = matches!(tested, TestResult::InContact | TestResult::StuckDark);
        if spoilt && eye.contact() == Contact::Open {
            tested = self_test(&mut eye);
        }
        status.signs.self_test_failed = tested != TestResult::Passed;
        let now = eye.now(CaptureUnit.count());
        eye.pass(&LINE, &mut &EDGES, now, |event| {
            let _ = head.event(&HEAD, event);
        });
        // An edge that was refused leaves the probe out of step: a fault until both agree again.
        let contact = eye.contact();
        let out_of_step = head.touched() != eye.line().in_contact();
        status.fault = status.signs.self_test_failed || out_of_step || contact == Contact::Fault;
        status.between = contact == Contact::Between;
        head.set_status(status);
        let made = head.make(&HEAD, now, LEAD);
        let at = eye.now(CaptureUnit.count());
        // One that the sender would begin too late is left out.
        if let Some((begin, frame)) = made.filter(|(begin, _)| *begin > at) {
            machine::send_frame(begin, &frame);
        }
        let frame = head.wake(&HEAD, at, LEAD);
        if at.plus(LOOK) < frame {
            if let Some(found) = cells.look(&power::CELLS, at, power::read) {
                head.set_slow(found.slow);
                status.signs.look = found.look;
            }
        }
        let wake = eye.deadline(&LINE).map_or(frame, |hold| hold.min(frame));
        machine::wait(Some(wake), None, Causes::NONE);
    }
}

/// Light off must be seen as contact, light on as none. At the start only, since a probe over the air
/// is not told of approaches and may not be blind while READY stands: see `LightTest`.
#[inline(never)]
fn self_test(eye: &mut Comparator<Input>) -> TestResult {
    let now = eye.now(CaptureUnit.count());
    let mut test = eye.begin_test(&LINE, now, PATIENCE);
    let mut lamp = Output::LAMP;
    loop {
        // A pin of the controller itself cannot fail; on another chip a failure is StuckDark.
        let _ = lamp.set_state(PinState::from(test.lamp() == Lamp::On));
        let Some(deadline) = test.deadline() else {
            return test.result();
        };
        machine::wait(Some(deadline), None, Causes::NONE);
        let now = eye.now(CaptureUnit.count());
        let _ = eye.step_test(&LINE, &mut &EDGES, now, &mut test);
    }
}
