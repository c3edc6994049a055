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

/// Switches the port on, its interrupt included.
pub fn start() {
    switch_on();
    unmask();
}

/// The interrupts of a Cortex-M.
#[cfg(target_arch = "arm")]
mod processor {
    pub use cortex_m::asm::wfi as sleep;

    pub fn restart() -> ! {
        cortex_m::peripheral::SCB::sys_reset()
    }

    /// Number of the interrupt that a received byte raises.
    #[derive(Clone, Copy)]
    struct Received;

    // SAFETY: a number that every machine here has.
    unsafe impl cortex_m::interrupt::InterruptNumber for Received {
        fn number(self) -> u16 {
            super::registers::INTERRUPT
        }
    }

    pub fn unmask() {
        // SAFETY: the state behind it is made at compile time.
        unsafe { cortex_m::peripheral::NVIC::unmask(Received) }
    }

    /// Number of the interrupt of the port, as a vector's handler is told.
    #[allow(dead_code)]
    pub const RECEIVED: i16 = super::registers::INTERRUPT as i16;

    /// The interrupt of the port calls the first function. Any other one, and any exception of the
    /// processor, is nobody's: only a defect switches it on, and it never ends if it is ignored. The
    /// second function gets its number, and does not come back.
    #[allow(unused_macros)]
    macro_rules! interrupt {
        ($handler:ident, $foreign:path) => {
            #[cortex_m_rt::exception]
            unsafe fn DefaultHandler(number: i16) {
                if number != $crate::machine::RECEIVED {
                    $foreign(number);
                }
                $handler();
            }
        };
    }
    pub(crate) use interrupt;
}

/// The interrupts of a RISC-V with the usual controller for those from outside (PLIC).
#[cfg(target_arch = "riscv32")]
mod processor {
    use super::Register;

    pub use riscv::asm::wfi as sleep;

    const CONTROLLER: usize = 0x0C00_0000;
    const CLAIM: Register = Register(CONTROLLER + 0x20_0004);

    /// The emulated machine's own register for it.
    pub fn restart() -> ! {
        Register(0x0010_0000).write(0x7777);
        loop {}
    }

    pub fn unmask() {
        let number = usize::from(super::registers::INTERRUPT);
        // Above the threshold, which is zero; for machine mode of the only processor.
        Register(CONTROLLER + 4 * number).write(1);
        Register(CONTROLLER + 0x2000).write(1 << number);
        // SAFETY: the state behind it is made at compile time.
        unsafe {
            riscv::register::mie::set_mext();
            riscv::interrupt::enable();
        }
    }

    /// Runs what the interrupt calls and gives it back to the controller.
    pub fn serve(handler: impl FnOnce(), foreign: impl FnOnce(i16)) {
        let number = CLAIM.read();
        if number == u32::from(super::registers::INTERRUPT) {
            handler();
            CLAIM.write(number);
        } else if number > 0 {
            foreign(number as i16);
        }
    }

    /// The interrupt of the port calls the first function. Any other one is nobody's: only a defect
    /// switches it on, and it never ends if it is ignored. The second function gets its number, and
    /// does not come back.
    #[allow(unused_macros)]
    macro_rules! interrupt {
        ($handler:ident, $foreign:path) => {
            #[riscv_rt::core_interrupt(riscv::interrupt::Interrupt::MachineExternal)]
            fn external() {
                $crate::machine::serve($handler, |number| $foreign(number));
            }
        };
    }
    pub(crate) use interrupt;
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

/// RISC-V `virt`: one 16550, so the log leaves by the emulator's console.
#[cfg(machine = "virt")]
mod registers {
    const UART: usize = 0x1000_0000;
    pub const INTERRUPT: u16 = 10;

    fn read(register: usize) -> u8 {
        // SAFETY: a register of the machine, of one byte.
        unsafe { ((UART + register) as *const u8).read_volatile() }
    }

    fn write(register: usize, value: u8) {
        // SAFETY: as above; the values written are those of the manual.
        unsafe { ((UART + register) as *mut u8).write_volatile(value) }
    }

    pub fn switch_on() {
        // Eight bits; its queue; the interrupt of a byte.
        write(3, 3);
        write(2, 1);
        write(1, 1);
    }

    pub fn receive() -> Option<u8> {
        (read(5) & 1 != 0).then(|| read(0))
    }

    pub fn send(byte: u8) {
        while read(5) & 1 << 5 == 0 {}
        write(0, byte);
    }

    pub fn log(byte: u8) {
        semihosting::sys::arm_compat::sys_writec(byte);
    }
}

pub use processor::*;
pub use registers::{log, receive, send, switch_on};
