//! Device under test for `trueonset rig LOG --port PORT`: edges come in over the serial line, what
//! the library makes of them goes back.
//!
//! Everything but the serial line is `trueonset_rig::Device`, which the program on the PC is tested
//! against as well. For a board of your own put the receiver of its UART into the interrupt and its
//! sender into the loop, in place of `machine`; nothing else changes.
//!
//! In the emulator (without `nodelay` every answer waits for 40 ms):
//!
//! ```text
//! qemu-system-arm -M microbit -nographic -monitor none -semihosting-config enable=on,target=native \
//!     -serial tcp:localhost:4000,server=on,wait=off,nodelay=on -kernel rig </dev/null &
//! trueonset rig edges.csv --port tcp:localhost:4000
//! ```
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and emergency
//! stop stay in charge. Run it on the bench, not in a machine: its touches are those of the log.
#![no_std]
#![no_main]

#[path = "../halt.rs"]
mod halt;
#[path = "../start.rs"]
mod start;
// The log of its other images has no place here.
#[allow(dead_code, unused_imports)]
#[path = "../machine/uart.rs"]
mod machine;

use core::cell::RefCell;

use critical_section::Mutex;
use heapless::Deque;
use trueonset_rig::Device;

/// Bytes that came and wait: two messages at their longest.
static CAME: Mutex<RefCell<Deque<u8, 512>>> = Mutex::new(RefCell::new(Deque::new()));

machine::interrupt!(received, halt::foreign);

/// The interrupt of a byte.
fn received() {
    critical_section::with(|section| {
        if let Ok(mut came) = CAME.borrow(section).try_borrow_mut() {
            while let Some(byte) = machine::receive() {
                // What finds no room is lost, and the PC sends its message again.
                let _ = came.push_back(byte);
            }
        }
    });
}

/// The main loop.
#[start::entry]
fn main() -> ! {
    let mut device = Device::new();
    machine::start();
    loop {
        if let Some(answer) = device.byte(next()) {
            answer.iter().copied().for_each(machine::send);
        }
    }
}

/// The next byte, asleep until it comes.
fn next() -> u8 {
    loop {
        let byte = critical_section::with(|section| {
            let mut came = CAME.borrow(section).try_borrow_mut().ok()?;
            let byte = came.pop_front();
            if byte.is_none() {
                // An interrupt that comes before it wakes it all the same.
                machine::sleep();
            }
            byte
        });
        if let Some(byte) = byte {
            return byte;
        }
    }
}
