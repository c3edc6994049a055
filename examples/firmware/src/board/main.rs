//! The board's side: frames from the air in, two lines to the control out.
//!
//! `machine` stands for a HAL. For a real board, change: `machine::heard` to what your demodulator
//! or radio hands over, with the timer's capture of the first edge of the frame; the pins to those
//! of your HAL; `wait` to a compare channel and `wfi`, with a second compare channel that drops
//! READY and RUN after `valid_until` whatever the firmware does; `write_record` to two pages of
//! flash; the watchdog to the hardware's, faster than D and fed within `SLEEP`; `had_no_power` to the
//! register of reset causes; `KEY` to one that a pairing left; `logger` to a crate for your debug probe, such as defmt-rtt.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../key.rs"]
mod key;
#[path = "../machine/logger.rs"]
mod logger;
mod logic;
#[path = "../machine/mod.rs"]
mod machine;
#[path = "../place.rs"]
mod place;
#[path = "../start.rs"]
mod start;
#[path = "../stop.rs"]
mod stop;

use core::mem::MaybeUninit;

use trueonset::pins::Capture;
use trueonset::receiver::Receiver;

use logic::Board;
use machine::CaptureUnit;

machine::interrupt!(heard, logger::foreign);

/// The interrupt of the demodulator: here the port of the emulated board. With the device crate of
/// your controller it is `#[interrupt] fn USART1()`, or what yours is called.
fn heard() {
    while CaptureUnit.take().is_some() {}
}

/// The main loop.
#[start::entry]
fn main() -> ! {
    machine::start();
    let mut board = Board::new(place::place!(MaybeUninit<Receiver>, MaybeUninit::uninit()));
    loop {
        let (wake, valid_until, latched) = board.pass();
        machine::wait(Some(wake), valid_until, latched);
    }
}
