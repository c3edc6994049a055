//! The board's side: frames from the air in, two lines to the control out.
//!
//! `machine` stands for a HAL. For a real board, change: `machine::heard` to what your demodulator
//! or radio hands over, with the timer's capture of the first edge of the frame; the pins to those
//! of your HAL; `wait` to a compare channel and `wfi`, with a second compare channel that drops
//! READY and RUN after `valid_until` whatever the firmware does; `write_record` to two pages of
//! flash; the watchdog to the hardware's, slower than the longest silence and faster than D; `KEY`
//! to one that a pairing left; `log` to your probe's channel.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../key.rs"]
mod key;
mod log;
#[path = "../machine/mod.rs"]
mod machine;
#[path = "../stop.rs"]
mod stop;

use core::mem::MaybeUninit;

use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::edge::Level;
use trueonset::health::{Health, LinkVitals};
use trueonset::lines::{Decision, Form, Outputs, OutputsConfig};
use trueonset::link::{LinkConfig, LinkPlan, Stored};
use trueonset::pins::{Capture, Input, Intake, NoPin, ReadBack, Stage};
use trueonset::receiver::Receiver;
use trueonset::time::{Bits, Counter, Instant, TickRate};

use machine::CaptureUnit;

/// Number of the probe.
const ID: u16 = 0x5A5;

// A plan that does not hold does not compile.
const RATE: TickRate = match TickRate::from_hz(16_000_000) {
    Ok(rate) => rate,
    Err(_) => panic!("no ticks"),
};
const LINK: LinkConfig = match LinkConfig::new(RATE, LinkPlan::INFRARED) {
    Ok(config) => config,
    Err(_) => panic!("the plan of the link breaks a promise"),
};
const CLOCK: ClockConfig =
    match ClockConfig::new(RATE, LinkPlan::INFRARED.slot_ns, Oscillator::CRYSTAL) {
        Ok(config) => config,
        Err(_) => panic!("no clock can follow such slots"),
    };
const OUTPUTS: OutputsConfig = match OutputsConfig::new(RATE, Form::Levels, 1_000_000) {
    Ok(config) => config,
    Err(_) => panic!("no output stage is like that"),
};

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
    let mut log = log::Log::new();
    loop {
        let now = intake.now(CaptureUnit.count()).at;
        while let Some((raw, frame)) = machine::heard() {
            let arrival = intake.now(raw).at;
            let _ = receiver.frame(&LINK, now, arrival, &frame);
        }
        while let Some(edge) = receiver.poll(&LINK, now) {
            machine::tell(&edge);
            log.edge(&edge);
        }
        let unlike = seen
            .read()
            .map(|seen| outputs.read_back(&OUTPUTS, seen, now));
        if let Ok(Some(cause)) | Err(cause) = unlike {
            receiver.latch(cause);
        }
        // A wire that cannot be read neither arms nor runs.
        let wire = rearm.read();
        if wire != Level::Unknown {
            if let Some(came) = receiver.rearm(&LINK, now, wire == Level::High) {
                log.rearmed(came);
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
        let vitals = LinkVitals {
            state: receiver.state(),
            grade: receiver.grade(),
        };
        let health = Health::of(receiver.causes(), wire == Level::Unknown).link(&vitals);
        let decision = health.gate(receiver.lines(&LINK, now));
        let set = outputs.set(&OUTPUTS, decision, now);
        if let Err(cause) = stage.write(set.pins) {
            receiver.latch(cause);
        }
        if set.feed_watchdog {
            machine::feed_watchdog();
        }
        let shown = if set.pins.ready {
            decision
        } else {
            Decision::STOP
        };
        log.state(vitals.state, receiver.causes(), shown);
        let due = receiver.deadline(&LINK).into_iter().chain(set.again).min();
        machine::wait(due, shown.valid_until, receiver.causes());
    }
}
