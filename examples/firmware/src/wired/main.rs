//! A probe on a cable: edges of the barrier in, two lines to the control out, no air between.
//!
//! `machine` stands for a HAL. For a real board, change: the interrupt to that of your capture
//! timer, `machine::CaptureUnit` to its two channels (one a direction) behind the same trait, the
//! pins to those of your HAL, `wait` to a compare channel and `wfi`, with a second one that drops
//! READY and RUN after `valid_until` whatever the firmware does, the watchdog to the hardware's,
//! and `had_no_power` to the register of reset causes. Where you can switch the light of the
//! barrier, take the self-test of `head`, before each approach that is announced, lines at stop.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../machine/mod.rs"]
mod machine;
#[path = "../place.rs"]
mod place;
#[path = "../start.rs"]
mod start;
#[path = "../stop.rs"]
mod stop;

use core::cell::RefCell;

use critical_section::Mutex;
use trueonset::checked;
use trueonset::edge::queue_room;
use trueonset::frame::Contact;
use trueonset::health::Health;
use trueonset::lines::{Causes, Form, OutputsConfig};
use trueonset::onset::{Config, Event};
use trueonset::pins::{
    Capture, Comparator, EdgeQueue, InterruptEnd, NoPin, ReadBack, Sleep, Stage, Terminal,
};
use trueonset::time::{Bits, Counter, Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use machine::{CaptureUnit, Input, Output};

/// Ticks of the capture timer, Hz.
const HZ: u32 = 16_000_000;
const RATE: TickRate = checked!(TickRate::from_hz(HZ));
const LINE: Config = checked!(Config::new(RATE, 1_000_000));
/// The longest pass of the loop fits into `poll_ns`; a touch that falls into one stops the line in
/// time all the same, by the compare unit.
const PLAN: WiredPlan = WiredPlan {
    poll_ns: 500_000,
    ..WiredPlan::USUAL
};
const WIRED: WiredConfig = checked!(WiredConfig::new(RATE, PLAN));
/// From one sight of the probe to the next; a watchdog that bites after 4 ms is fed by that.
const SLEEP: Sleep = checked!(Sleep::new(RATE, Bits::B32, PLAN.dead_ns as u64));
const OUTPUTS: OutputsConfig = checked!(OutputsConfig::new(RATE, Form::Levels, 1_000_000));

/// Room for the edges of a comparator of 10 kHz, 1.3 a cycle, in the longest pass, and the place that
/// stays free.
const ROOM: usize = queue_room(13_000, 500) + 1;

/// The interrupt's end of the queue, once there is one.
static EDGES: Mutex<RefCell<Option<InterruptEnd<'static, ROOM>>>> = Mutex::new(RefCell::new(None));

machine::interrupt!(captured, machine::start_anew);

/// The capture interrupt: stores, and nothing else.
fn captured() {
    critical_section::with(|section| {
        if let Ok(mut edges) = EDGES.borrow(section).try_borrow_mut() {
            while let Some(captured) = CaptureUnit.take() {
                if let Some(edges) = edges.as_mut() {
                    edges.put(captured);
                }
            }
        }
    });
}

/// The main loop.
#[start::entry]
fn main() -> ! {
    let (into, mut edges) = place::place!(EdgeQueue<ROOM>, EdgeQueue::new()).split();
    critical_section::with(|section| {
        if let Ok(mut edges) = EDGES.borrow(section).try_borrow_mut() {
            *edges = Some(into);
        }
    });
    machine::start();
    let counter = Counter::behind_a_queue(Bits::B32, CaptureUnit.count());
    let mut eye = Comparator::new(&LINE, counter, Input::BLOCKED);
    let mut wired = Wired::new();
    // What was latched before a start by the watchdog is not known.
    if !machine::had_no_power() {
        wired.latch(Causes::RESTART);
    }
    let stage = Stage::new(Output::READY, Output::RUN, NoPin);
    let seen = ReadBack::new(Input::READY, Input::RUN, NoPin);
    let mut terminal = Terminal::new(Input::REARM, stage, seen);
    loop {
        let now = eye.now(CaptureUnit.count());
        eye.pass(&LINE, &mut edges, now, |event| {
            tell(&mut wired, now, event);
        });
        let contact = eye.contact();
        wired.observe(now, contact, contact != Contact::Fault);
        while let Some(edge) = wired.poll(&WIRED, now) {
            machine::tell(&edge);
        }
        let looked = terminal.look(&OUTPUTS, &mut wired, &WIRED, now);
        let health = Health::of(wired.causes(), looked.fault || contact == Contact::Fault);
        let set = terminal.show(&OUTPUTS, &mut wired, &WIRED, now, &health, |until| {
            eye.now(machine::drop_after(until))
        });
        if set.feed_watchdog {
            machine::feed_watchdog();
        }
        let due = [wired.deadline(&WIRED), eye.deadline(&LINE), set.again];
        machine::wait(Some(SLEEP.until(now, due)), set.valid_until, wired.causes());
    }
}

fn tell(wired: &mut Wired, now: Instant, event: &Event) {
    let (touched, contact) = match event {
        Event::Touch(contact) => (true, contact),
        Event::Release(contact) => (false, contact),
        _ => return,
    };
    // A standard uncertainty counts three times; one that is not known as a millisecond.
    let bound = contact
        .doubt
        .map_or(HZ / 1_000, |doubt| doubt.sixteenths().div_ceil(16) * 3);
    wired.edge(now, touched, contact.onset.nearest(), bound);
}
