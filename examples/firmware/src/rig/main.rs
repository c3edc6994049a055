//! Device under test for `trueonset rig LOG --port PORT`: edges come in over the serial line, what
//! the library makes of them goes back.
//!
//! Everything but the serial line is `trueonset_rig::Device`, which the program on the PC is tested
//! against as well. For a board of your own, write the four functions of `uart.rs` with its
//! registers or its HAL; nothing else changes. Bytes must not be lost while an answer goes out: the
//! PC sends nothing then, unless its patience has ended, and what is lost all the same is sent again.
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
mod uart;

use trueonset_rig::Device;

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut device = Device::new();
    uart::start();
    loop {
        let Some(byte) = uart::read() else {
            uart::sleep();
            continue;
        };
        if let Some(answer) = device.byte(byte) {
            answer.iter().copied().for_each(uart::write);
        }
    }
}
