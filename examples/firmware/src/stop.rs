//! What becomes of a panic: none is reachable, and the proof links with a handler that says so.

/// Starts anew: out of reset all lines are at stop.
#[cfg(not(feature = "no-panic"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}

/// The same for a fault of the processor, such as a stack that left the memory.
#[cortex_m_rt::exception]
unsafe fn HardFault(_frame: &cortex_m_rt::ExceptionFrame) -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}

/// Links only if nothing calls it.
#[cfg(feature = "no-panic")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    extern "C" {
        fn a_panic_is_reachable() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { a_panic_is_reachable() }
}
