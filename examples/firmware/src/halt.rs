//! The last words of an image in the emulator.

/// Core cannot panic, and the images check their input; what arrives here is a defect of the image.
#[panic_handler]
fn panic(info: &core::panic::PanicInfo) -> ! {
    semihosting::eprintln!("error: defect in the image: {info}");
    semihosting::process::exit(2)
}

/// A stack that left the memory ends here; the emulator would spin for ever otherwise.
#[cortex_m_rt::exception]
unsafe fn HardFault(_frame: &cortex_m_rt::ExceptionFrame) -> ! {
    semihosting::process::exit(2)
}
