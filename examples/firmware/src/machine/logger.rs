//! The log of the emulated board: a second UART. On a bench a crate such as defmt-rtt stands here.
//!
//! It waits for the UART with interrupts off, which costs nothing in the emulator only: on a real
//! board that would be longer than any capture can wait.

use crate::machine;

/// Hands the log to the second UART.
#[defmt::global_logger]
struct Channel;

/// Only used inside the critical section of a record.
static mut ENCODER: defmt::Encoder = defmt::Encoder::new();
static mut RESTORE: critical_section::RestoreState = critical_section::RestoreState::invalid();

/// For an interrupt that nobody handles: says so and starts anew, out of reset all lines at stop,
/// and latched.
pub fn foreign(number: i16) -> ! {
    // An exception may have come into a record.
    if number >= 0 {
        defmt::error!("interrupt {} is nobody's, so start anew", number);
    }
    machine::restart()
}

// SAFETY: the whole of a record lies inside one critical section, which no interrupt enters.
unsafe impl defmt::Logger for Channel {
    fn acquire() {
        // SAFETY: the section ends in `release`, and before it nobody else gets here.
        unsafe {
            RESTORE = critical_section::acquire();
            encoder().start_frame(send);
        }
    }

    unsafe fn flush() {}

    unsafe fn release() {
        encoder().end_frame(send);
        critical_section::release(RESTORE);
    }

    unsafe fn write(bytes: &[u8]) {
        encoder().write(bytes, send);
    }
}

/// Inside a record only.
unsafe fn encoder() -> &'static mut defmt::Encoder {
    let place = &raw mut ENCODER;
    &mut *place
}

fn send(bytes: &[u8]) {
    bytes.iter().copied().for_each(machine::log);
}
