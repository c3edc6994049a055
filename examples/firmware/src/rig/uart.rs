//! Register shims of the emulated boards' serial lines, polled; between bytes the core sleeps.
//!
//! Pins, clocks and the rate of the line are not modelled by the emulator and not set here: a real
//! board has to.

use imp::{BASE, DATA_IN, DATA_OUT, INTERRUPT};

pub use imp::{read, write};

/// Interrupts of the core, the same on every Cortex-M: enable, and forget that it is pending.
const ENABLE: *mut u32 = 0xE000_E100 as *mut u32;
const FORGET: *mut u32 = 0xE000_E280 as *mut u32;

/// Makes the line ready. Its interrupt is never taken, it only ends a sleep.
pub fn start() {
    cortex_m::interrupt::disable();
    imp::start();
    // SAFETY: a register every Cortex-M has; with interrupts disabled no handler runs.
    unsafe { ENABLE.write_volatile(1 << INTERRUPT) };
}

/// Sleeps until a byte may be there.
pub fn sleep() {
    // SAFETY: as above. A byte that is there keeps the interrupt pending, whatever is forgotten.
    unsafe { FORGET.write_volatile(1 << INTERRUPT) };
    cortex_m::asm::wfi();
}

fn get(register: usize) -> u32 {
    // SAFETY: an aligned register of the board this file was compiled for; reading it is its use.
    unsafe { ((BASE + register) as *const u32).read_volatile() }
}

fn set(register: usize, value: u32) {
    // SAFETY: as above, for writing.
    unsafe { ((BASE + register) as *mut u32).write_volatile(value) }
}

/// A byte that has come.
fn take() -> u8 {
    get(DATA_IN) as u8
}

fn put(byte: u8) {
    set(DATA_OUT, u32::from(byte));
}

/// nRF51 series: UART of the micro:bit.
#[cfg(machine = "microbit")]
mod imp {
    use super::{get, put, set, take};

    pub const INTERRUPT: u32 = 2;
    pub const BASE: usize = 0x4000_2000;
    pub const DATA_IN: usize = 0x518;
    pub const DATA_OUT: usize = 0x51C;
    const START_RX: usize = 0x000;
    const START_TX: usize = 0x008;
    const RX_READY: usize = 0x108;
    const TX_READY: usize = 0x11C;
    const SET_INTERRUPTS: usize = 0x304;
    const ENABLE: usize = 0x500;

    pub fn start() {
        set(ENABLE, 4);
        set(SET_INTERRUPTS, 1 << 2);
        set(START_RX, 1);
        set(START_TX, 1);
    }

    pub fn read() -> Option<u8> {
        (get(RX_READY) != 0).then(|| {
            set(RX_READY, 0);
            take()
        })
    }

    pub fn write(byte: u8) {
        set(TX_READY, 0);
        put(byte);
        while get(TX_READY) == 0 {}
    }
}

/// ARM PL011: UART0 of the LM3S6965.
#[cfg(machine = "lm3s6965evb")]
mod imp {
    use super::{get, put, set, take};

    pub const INTERRUPT: u32 = 5;
    pub const BASE: usize = 0x4000_C000;
    pub const DATA_IN: usize = 0x00;
    pub const DATA_OUT: usize = 0x00;
    const FLAGS: usize = 0x18;
    const FORMAT: usize = 0x2C;
    const CONTROL: usize = 0x30;
    const INTERRUPTS: usize = 0x38;

    pub fn start() {
        // Eight bits, queues on; told when bytes are there, or were left for a while.
        set(FORMAT, 0b11 << 5 | 1 << 4);
        set(INTERRUPTS, 1 << 6 | 1 << 4);
        // Receiver, transmitter, all of it.
        set(CONTROL, 1 << 9 | 1 << 8 | 1);
    }

    pub fn read() -> Option<u8> {
        (get(FLAGS) & 1 << 4 == 0).then(take)
    }

    pub fn write(byte: u8) {
        while get(FLAGS) & 1 << 5 != 0 {}
        put(byte);
    }
}

/// ARM CMSDK: UART0 of the MPS2.
#[cfg(machine = "mps2-an386")]
mod imp {
    use super::{get, put, set, take};

    pub const INTERRUPT: u32 = 0;
    pub const BASE: usize = 0x4000_4000;
    pub const DATA_IN: usize = 0x00;
    pub const DATA_OUT: usize = 0x00;
    const STATE: usize = 0x04;
    const CONTROL: usize = 0x08;
    const TOLD: usize = 0x0C;
    const RATE: usize = 0x10;

    pub fn start() {
        // 25 MHz down to 115 200 baud.
        set(RATE, 217);
        // Transmitter, receiver, the receiver's interrupt.
        set(CONTROL, 0b1011);
    }

    pub fn read() -> Option<u8> {
        (get(STATE) & 0b10 != 0).then(|| {
            set(TOLD, 0b10);
            take()
        })
    }

    pub fn write(byte: u8) {
        while get(STATE) & 1 != 0 {}
        put(byte);
    }
}
