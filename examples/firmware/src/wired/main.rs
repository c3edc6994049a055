//! A probe on a cable: edges of the barrier in, two lines to the control out, no air between.
//!
//! `machine` stands for a HAL. For a real board, change: the interrupt to that of your capture
//! timer, `machine::CaptureUnit` to its two channels (one a direction) behind the same trait, the
//! pins to those of your HAL, `wait` to a compare channel and `wfi`, with a second one that drops
//! READY and RUN after `valid_until` whatever the firmware does, the watchdog to the hardware's.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../stop.rs"]
#[macro_use]
mod stop;
#[path = "../machine/mod.rs"]
mod machine;

use trueonset::edge::Level;
use trueonset::frame::Contact;
use trueonset::health::Health;
use trueonset::lines::{Form, Outputs, OutputsConfig};
use trueonset::onset::{Config, Event, Line};
use trueonset::pins::{Capture, EdgeQueue, Input, Intake, InterruptEnd, NoPin, ReadBack, Stage};
use trueonset::time::{Bits, Counter, Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use core::cell::RefCell;
use critical_section::Mutex;
use machine::CaptureUnit;

/// Ticks of the capture timer, Hz.
const HZ: u32 = 16_000_000;
/// From one sight of the probe to the next at most: half the time that keeps READY.
const SIGHT: u64 = HZ as u64 / 1_000;

const RATE: TickRate = checked!(TickRate::from_hz(HZ), "no ticks");
const LINE: Config = checked!(
    Config::new(RATE, 1_000_000),
    "the hold does not fit the timer"
);
const WIRED: WiredConfig = checked!(
    WiredConfig::new(RATE, WiredPlan::USUAL),
    "the plan breaks a promise"
);
const OUTPUTS: OutputsConfig = checked!(
    OutputsConfig::new(RATE, Form::Levels, 1_000_000),
    "no output stage is like that"
);

/// The interrupt's end of the queue, once there is one.
static EDGES: Mutex<RefCell<Option<InterruptEnd<'static, 64>>>> = Mutex::new(RefCell::new(None));

/// The capture interrupt: stores, and nothing else.
#[cortex_m_rt::exception]
unsafe fn DefaultHandler(_: i16) {
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

#[cortex_m_rt::entry]
fn main() -> ! {
    static mut QUEUE: EdgeQueue<64> = EdgeQueue::new();
    let (into, mut edges) = QUEUE.split();
    critical_section::with(|section| {
        if let Ok(mut edges) = EDGES.borrow(section).try_borrow_mut() {
            *edges = Some(into);
        }
    });
    machine::start();
    let start = Instant::from_ticks(u64::from(CaptureUnit.count()));
    // Stamps may have waited for a loop that stood, up to a quarter turn.
    let mut intake = Intake::new(Counter::new(Bits::B32, start).allowing_back_step(u32::MAX));
    let mut blocked = Input::new(machine::Input::BLOCKED);
    let mut line = Line::new(&LINE, blocked.read(), start);
    let mut wired = Wired::new();
    let mut rearm = Input::new(machine::Input::REARM);
    let mut stage = Stage::new(machine::Output::READY, machine::Output::RUN, NoPin);
    let mut seen = ReadBack::new(machine::Input::READY, machine::Input::RUN, NoPin);
    let mut outputs = Outputs::new();
    loop {
        let now = intake.now(CaptureUnit.count()).at;
        while let Some(captured) = edges.take() {
            tell(&mut wired, now, line.edge(&LINE, intake.edge(captured)));
        }
        let lost = intake.overflowed(edges.lost(), now, blocked.read());
        for edge in lost.into_iter().flatten() {
            tell(&mut wired, now, line.edge(&LINE, edge));
        }
        tell(&mut wired, now, line.poll(&LINE, now));
        // A barrier or a wire that cannot be read is a fault, never a level.
        let wire = rearm.read();
        let contact = if blocked.level() == Level::Unknown || wire == Level::Unknown {
            Contact::Fault
        } else if line.open_since().is_some() {
            Contact::Between
        } else if line.in_contact() {
            Contact::Touched
        } else {
            Contact::Open
        };
        wired.sight(now, contact, contact != Contact::Fault);
        while let Some(edge) = wired.poll(&WIRED, now) {
            machine::tell(&edge);
        }
        if let Some(cause) = seen.check(&mut outputs, &OUTPUTS, now) {
            wired.latch(cause);
        }
        // A refusal changes nothing; show it where you have a lamp for it.
        let _ = wired.rearm(&WIRED, now, wire);
        let health = Health::of(wired.causes(), contact == Contact::Fault);
        let decision = health.gate(wired.lines(&WIRED, now));
        let set = outputs.set(&OUTPUTS, decision, now);
        if let Err(cause) = stage.write(set.pins) {
            wired.latch(cause);
        }
        if set.feed_watchdog {
            machine::feed_watchdog();
        }
        // What the pins do not show must not be kept up by the compare channel either.
        let until = decision.valid_until.filter(|_| set.pins.ready);
        let sight = Instant::from_ticks(now.ticks() + SIGHT);
        let due = [wired.deadline(&WIRED), line.deadline(), set.again];
        let due = due.into_iter().flatten().fold(sight, Instant::min);
        machine::wait(Some(due), until, wired.causes());
    }
}

fn tell(wired: &mut Wired, now: Instant, event: Option<Event>) {
    let (touched, contact) = match event {
        Some(Event::Touch(contact)) => (true, contact),
        Some(Event::Release(contact)) => (false, contact),
        _ => return,
    };
    // A standard uncertainty counts three times; one that is not known as a millisecond.
    let bound = contact
        .doubt
        .map_or(HZ / 1_000, |doubt| doubt.sixteenths().div_ceil(16) * 3);
    wired.edge(now, touched, contact.onset.nearest(), bound);
}
