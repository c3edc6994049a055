//! The port's interrupt as a pin that tasks wait for, as the HAL of an async executor brings it.

use core::cell::RefCell;
use core::convert::Infallible;
use core::future::{poll_fn, Future};
use core::task::{Poll, Waker};

use critical_section::Mutex;
use embedded_hal::digital::ErrorType;
use embedded_hal_async::digital::Wait;

/// Who waits for the interrupt.
static WAITING: Mutex<RefCell<Option<Waker>>> = Mutex::new(RefCell::new(None));

/// For the interrupt: wakes who waits.
pub fn ring() {
    critical_section::with(|section| {
        let waiting = WAITING.borrow(section).try_borrow_mut();
        if let Some(waker) = waiting.ok().and_then(|mut waiting| waiting.take()) {
            waker.wake();
        }
    });
}

/// Moves when the timer has come to what it was set to, or something woke the board.
pub struct Bell;

impl ErrorType for Bell {
    type Error = Infallible;
}

impl Wait for Bell {
    async fn wait_for_high(&mut self) -> Result<(), Infallible> {
        self.wait_for_any_edge().await
    }

    async fn wait_for_low(&mut self) -> Result<(), Infallible> {
        self.wait_for_any_edge().await
    }

    async fn wait_for_rising_edge(&mut self) -> Result<(), Infallible> {
        self.wait_for_any_edge().await
    }

    async fn wait_for_falling_edge(&mut self) -> Result<(), Infallible> {
        self.wait_for_any_edge().await
    }

    /// No `async fn`: what such a one becomes can be asked again after its end, and panics then.
    fn wait_for_any_edge(&mut self) -> impl Future<Output = Result<(), Infallible>> {
        poll_fn(|context| {
            // Asked inside the section, so that no interrupt falls between question and answer.
            critical_section::with(|section| {
                if super::gone_on() {
                    return Poll::Ready(Ok(()));
                }
                if let Ok(mut waiting) = WAITING.borrow(section).try_borrow_mut() {
                    *waiting = Some(context.waker().clone());
                }
                Poll::Pending
            })
        })
    }
}
