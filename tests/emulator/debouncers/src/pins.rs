//! The pin that all read: a word of memory.

use core::convert::Infallible;
use core::sync::atomic::{AtomicU32, Ordering};

static WORD: AtomicU32 = AtomicU32::new(0);

/// What it shows.
#[inline]
pub fn level() -> bool {
    WORD.load(Ordering::Relaxed) & 1 != 0
}

/// Lets it show something else.
pub fn set(high: bool) {
    WORD.store(u32::from(high), Ordering::Relaxed);
}

/// The pin, for either generation of the traits.
pub struct Pin;

impl embedded_hal::digital::ErrorType for Pin {
    type Error = Infallible;
}

impl embedded_hal::digital::InputPin for Pin {
    #[inline]
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(level())
    }

    #[inline]
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!level())
    }
}

impl embedded_hal_0_2::digital::v2::InputPin for Pin {
    type Error = Infallible;

    #[inline]
    fn is_high(&self) -> Result<bool, Infallible> {
        Ok(level())
    }

    #[inline]
    fn is_low(&self) -> Result<bool, Infallible> {
        Ok(!level())
    }
}
