//! The last words of an image in the emulator.

/// Core cannot panic, and the images check their input; what arrives here is a defect of the image.
#[panic_handler]
fn panic(info: &core::panic::PanicInfo) -> ! {
    semihosting::eprintln!("error: defect in the image: {info}");
    semihosting::process::exit(2)
}

/// A stack that left the memory ends here; the emulator would spin for ever otherwise.
#[cfg(target_arch = "arm")]
#[cortex_m_rt::exception]
unsafe fn HardFault(_frame: &cortex_m_rt::ExceptionFrame) -> ! {
    semihosting::process::exit(2)
}

/// An instruction or an address that the processor does not have ends here.
#[cfg(target_arch = "riscv32")]
#[export_name = "ExceptionHandler"]
extern "C" fn fault(_: &riscv_rt::TrapFrame) -> ! {
    semihosting::process::exit(2)
}

/// An interrupt that nobody handles ends here; only a defect of the image switches it on.
#[allow(dead_code)] // Not every image has interrupts.
pub fn foreign(number: i16) -> ! {
    semihosting::eprintln!("error: defect in the image: interrupt {number} is nobody's");
    semihosting::process::exit(2)
}
