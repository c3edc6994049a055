//! What must not happen: a setting that does not hold does not compile, and no panic is reachable.

/// A checked setting, made at compile time.
#[macro_export]
macro_rules! checked {
    ($made:expr, $why:literal) => {
        match $made {
            Ok(made) => made,
            Err(_) => panic!($why),
        }
    };
}

/// Starts anew: out of reset all lines are at stop. A fault of the processor ends in a loop, and
/// with it the feeding of the watchdog.
#[cfg(not(feature = "no-panic"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    crate::machine::restart()
}

/// Links only if nothing calls it: the proof that no panic is reachable.
#[cfg(feature = "no-panic")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    extern "C" {
        fn a_panic_is_reachable() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { a_panic_is_reachable() }
}
