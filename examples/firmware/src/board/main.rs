//! The board's side: frames from the air in, two lines to the control out.
//!
//! `machine` stands for a HAL. For a real board, change: `machine::heard` to what your demodulator
//! or radio hands over, with the timer's capture of the first edge of the frame; the pins to those
//! of your HAL; `wait` to a compare channel and `wfi`, with a second compare channel that drops
//! READY and RUN after `valid_until` whatever the firmware does; `write_record` to two pages of
//! flash; the watchdog to the hardware's, slower than the longest silence and faster than D; `KEY`
//! to one that a pairing left; `logger` to a crate for your debug probe, such as defmt-rtt.
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
#[path = "../machine/logger.rs"]
mod logger;
#[path = "../machine/mod.rs"]
mod machine;

use core::mem::MaybeUninit;

use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::edge::Level;
use trueonset::health::Health;
use trueonset::lines::{Form, Outputs, OutputsConfig};
use trueonset::link::{LinkConfig, LinkPlan, Stored};
use trueonset::pins::{Capture, Input, Intake, NoPin, ReadBack, Stage};
use trueonset::receiver::Receiver;
use trueonset::time::{Bits, Counter, Instant, TickRate};

use machine::CaptureUnit;

/// Number of the probe.
const ID: u16 = 0x5A5;

const RATE: TickRate = checked!(TickRate::from_hz(16_000_000), "no ticks");
const LINK: LinkConfig = checked!(
    LinkConfig::new(RATE, LinkPlan::INFRARED),
    "the plan of the link breaks a promise"
);
const CLOCK: ClockConfig = checked!(
    ClockConfig::new(RATE, LinkPlan::INFRARED.slot_ns, Oscillator::CRYSTAL),
    "no clock can follow such slots"
);
const OUTPUTS: OutputsConfig = checked!(
    OutputsConfig::new(RATE, Form::Levels, 1_000_000),
    "no output stage is like that"
);

/// The interrupt of the demodulator: here the port of the emulated board. With the device crate of
/// your controller it is `#[interrupt] fn USART1()`, or what yours is called.
#[cortex_m_rt::exception]
unsafe fn DefaultHandler(_: i16) {
    while CaptureUnit.take().is_some() {}
}

#[cortex_m_rt::entry]
fn main() -> ! {
    // Not on the stack, so that the size of the image tells of it.
    static mut RECEIVER: MaybeUninit<Receiver> = MaybeUninit::uninit();
    machine::start();
    defmt::warn!("TEST KEY: pair a key of its own before this goes into a machine");
    let start = Instant::from_ticks(u64::from(CaptureUnit.count()));
    let mut intake = Intake::new(Counter::new(Bits::B32, start).allowing_back_step(16_000_000));
    let [one, other] = machine::records(ID);
    let stored = Stored::read(&LINK, [&one, &other], ID);
    let receiver = RECEIVER.write(Receiver::new(key::KEY, ID, CLOCK, stored));
    let mut rearm = Input::new(machine::Input::REARM);
    let mut stage = Stage::new(machine::Output::READY, machine::Output::RUN, NoPin);
    let mut seen = ReadBack::new(machine::Input::READY, machine::Input::RUN, NoPin);
    let mut outputs = Outputs::new();
    let mut said = None;
    loop {
        let now = intake.now(CaptureUnit.count()).at;
        while let Some((raw, frame)) = machine::heard() {
            let arrival = intake.now(raw).at;
            let _ = receiver.frame(&LINK, now, arrival, &frame);
        }
        while let Some(edge) = receiver.poll(&LINK, now) {
            machine::tell(&edge);
            defmt::info!("{}", edge);
        }
        if let Some(cause) = seen.check(&mut outputs, &OUTPUTS, now) {
            receiver.latch(cause);
        }
        // A wire that cannot be read neither arms nor runs.
        let wire = rearm.read();
        if wire != Level::Unknown {
            if let Some(came) = receiver.rearm(&LINK, now, wire == Level::High) {
                defmt::info!("re-arm {}", came);
            }
        }
        if let Some(write) = receiver.want() {
            let record = write.mark.record(ID);
            machine::write_record(write.place, &record);
            if write.both {
                machine::write_record(write.place ^ 1, &record);
            }
            receiver.stored(write.mark);
        }
        let (vitals, causes) = (receiver.vitals(), receiver.causes());
        let health = Health::of(causes, wire == Level::Unknown).link(&vitals);
        let decision = health.gate(receiver.lines(&LINK, now));
        let set = outputs.set(&OUTPUTS, decision, now);
        if let Err(cause) = stage.write(set.pins) {
            receiver.latch(cause);
        }
        if set.feed_watchdog {
            machine::feed_watchdog();
        }
        let news = (vitals.state, causes, set.pins);
        if said.replace(news) != Some(news) {
            defmt::info!("{} {} {}", vitals.state, causes, set.pins);
        }
        // What the pins do not show must not be kept up by the compare channel either.
        let until = decision.valid_until.filter(|_| set.pins.ready);
        let due = receiver.deadline(&LINK).into_iter().chain(set.again).min();
        machine::wait(due, until, causes);
    }
}
