//! Where the processor starts, and what the first function keeps for as long as the image runs.
// Not every image keeps something.
#![allow(unused_imports, unused_macros)]

#[cfg(target_arch = "arm")]
pub use cortex_m_rt::entry;
#[cfg(target_arch = "riscv32")]
pub use riscv_rt::entry;

/// A place outside the stack, so that the size of the image tells of it; for the first function,
/// which is entered once.
macro_rules! place {
    ($kind:ty, $made:expr) => {{
        static mut PLACE: $kind = $made;
        // SAFETY: entered once, so borrowed once.
        unsafe { &mut *(&raw mut PLACE) }
    }};
}
pub(crate) use place;
