//! What a device crate tells RTIC of a controller, for the machine of the M3: its interrupts.

// Startup and the other vectors.
use cortex_m_rt as _;

/// The name that device crates give it.
pub use self::Interrupt as interrupt;

/// Bits of an interrupt's priority.
pub const NVIC_PRIO_BITS: u8 = 3;

/// The interrupts in use.
#[allow(non_camel_case_types, clippy::upper_case_acronyms)]
#[derive(Clone, Copy, Debug)]
pub enum Interrupt {
    /// The port of the board.
    UART0 = 5,
    /// Free for what an application spawns.
    TIMER0A = 19,
}

// SAFETY: numbers that the machine has.
unsafe impl cortex_m::interrupt::InterruptNumber for Interrupt {
    fn number(self) -> u16 {
        self as u16
    }
}

/// RTIC takes all peripherals; here there are none but those behind the port.
pub struct Peripherals;

impl Peripherals {
    /// All of them.
    ///
    /// # Safety
    /// Once.
    #[must_use]
    pub const unsafe fn steal() -> Self {
        Self
    }
}

/// Whatever comes by the other vectors.
mod nobody {
    #[cortex_m_rt::exception]
    unsafe fn DefaultHandler(number: i16) -> ! {
        crate::logger::foreign(number)
    }
}

extern "C" {
    fn UART0();
    fn TIMER0A();
    fn DefaultHandler();
}

/// The vectors behind those of the processor.
#[link_section = ".vector_table.interrupts"]
#[no_mangle]
pub static __INTERRUPTS: [unsafe extern "C" fn(); 32] = {
    let mut vectors = [DefaultHandler as unsafe extern "C" fn(); 32];
    vectors[Interrupt::UART0 as usize] = UART0;
    vectors[Interrupt::TIMER0A as usize] = TIMER0A;
    vectors
};
