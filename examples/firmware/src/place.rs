//! What the first function keeps for as long as the image runs.

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
