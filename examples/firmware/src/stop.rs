//! No panic is reachable; should one be all the same, the image starts anew: out of reset all
//! lines are at stop, and latched. A fault of the processor ends in a loop, and with it the feeding
//! of the watchdog.

#[cfg(not(feature = "no-panic"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    crate::machine::restart()
}

/// For the proof only, in place of the handler above.
#[cfg(feature = "no-panic")]
#[path = "proof/never.rs"]
mod never;
