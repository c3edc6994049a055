//! Registers of the UARTs of the emulated machines: 0 is the port of the board, 1 takes the log.
//!
//! The addresses are those of the vendors' reference manuals, as the emulator has them.

/// A register of the machine.
#[derive(Clone, Copy)]
struct Register(usize);

impl Register {
    fn read(self) -> u32 {
        // SAFETY: an aligned register of the machine that this target stands for.
        unsafe { (self.0 as *const u32).read_volatile() }
    }

    fn write(self, value: u32) {
        // SAFETY: as above; the values written are those of the manual.
        unsafe { (self.0 as *mut u32).write_volatile(value) }
    }
}

/// Number of the interrupt that a received byte raises.
#[derive(Clone, Copy)]
struct Received;

// SAFETY: a number that every machine here has.
unsafe impl cortex_m::interrupt::InterruptNumber for Received {
    fn number(self) -> u16 {
        INTERRUPT
    }
}

/// Switches the port on, its interrupt included.
pub fn start() {
    switch_on();
    // SAFETY: the state behind it is made at compile time.
    unsafe { cortex_m::peripheral::NVIC::unmask(Received) }
}

/// nRF51822: one UART, so the log goes nowhere.
#[cfg(machine = "microbit")]
mod registers {
    use super::Register;

    const UART: usize = 0x4000_2000;
    pub const INTERRUPT: u16 = 2;

    pub fn switch_on() {
        Register(UART + 0x500).write(4);
        Register(UART + 0x304).write(1 << 2);
        Register(UART).write(1);
        Register(UART + 0x008).write(1);
    }

    pub fn receive() -> Option<u8> {
        let ready = Register(UART + 0x108);
        (ready.read() != 0).then(|| {
            ready.write(0);
            Register(UART + 0x518).read() as u8
        })
    }

    pub fn send(byte: u8) {
        let sent = Register(UART + 0x11C);
        sent.write(0);
        Register(UART + 0x51C).write(u32::from(byte));
        while sent.read() == 0 {}
    }

    pub fn log(_: u8) {}
}

/// LM3S6965: PL011.
#[cfg(machine = "lm3s6965evb")]
mod registers {
    use super::Register;

    const UART: usize = 0x4000_C000;
    const LOG: usize = 0x4000_D000;
    pub const INTERRUPT: u16 = 5;

    pub fn switch_on() {
        // Its queue, eight bits; receiver, sender and both together; the interrupt of a byte.
        Register(UART + 0x2C).write(0x70);
        Register(UART + 0x30).write(0x301);
        Register(UART + 0x38).write(1 << 4 | 1 << 6);
        Register(LOG + 0x2C).write(0x70);
        Register(LOG + 0x30).write(0x101);
    }

    pub fn receive() -> Option<u8> {
        let empty = Register(UART + 0x18).read() & 1 << 4 != 0;
        (!empty).then(|| Register(UART).read() as u8)
    }

    pub fn send(byte: u8) {
        put(UART, byte);
    }

    pub fn log(byte: u8) {
        put(LOG, byte);
    }

    fn put(uart: usize, byte: u8) {
        while Register(uart + 0x18).read() & 1 << 5 != 0 {}
        Register(uart).write(u32::from(byte));
    }
}

/// MPS2: CMSDK UART.
#[cfg(machine = "mps2-an386")]
mod registers {
    use super::Register;

    const UART: usize = 0x4000_4000;
    const LOG: usize = 0x4000_5000;
    pub const INTERRUPT: u16 = 0;

    pub fn switch_on() {
        Register(UART + 0x10).write(16);
        Register(UART + 0x08).write(1 << 3 | 1 << 1 | 1);
        Register(LOG + 0x10).write(16);
        Register(LOG + 0x08).write(1);
    }

    pub fn receive() -> Option<u8> {
        let full = Register(UART + 0x04).read() & 1 << 1 != 0;
        full.then(|| {
            Register(UART + 0x0C).write(1 << 1);
            Register(UART).read() as u8
        })
    }

    pub fn send(byte: u8) {
        put(UART, byte);
    }

    pub fn log(byte: u8) {
        put(LOG, byte);
    }

    fn put(uart: usize, byte: u8) {
        while Register(uart + 0x04).read() & 1 != 0 {}
        Register(uart).write(u32::from(byte));
    }
}

use registers::INTERRUPT;
pub use registers::{log, receive, send, switch_on};
