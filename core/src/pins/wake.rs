//! A pin that wakes a task.

use core::future::{poll_fn, Future};
use core::pin::pin;
use core::task::Poll;

use embedded_hal_async::digital::Wait;

use crate::lines::Causes;

/// The main loop of an async shell, for ever: `pass` is called at once, and again whenever `pin`
/// has moved or the future that it gave back is over, such as the timer of the executor set to the
/// deadline of the pass. Let `pin` be one that a person or a control moves, such as re-arm, or
/// that wakes from a deep sleep.
///
/// The pin **wakes and never stamps**: when `pass` runs, the edge is long past, and how long is
/// not known. What a line is told comes from [`Capture`](super::Capture), or is the look of a
/// [`Polled`](super::Polled) pin and as late as that. An edge while a pass runs may wake nobody: it
/// is seen when the deadline is over.
///
/// `pass` is told [`Causes::FAULT`], to be latched, where the pin could not be waited for. So that
/// such a pin does not keep the executor from all else, only the deadline ends the wait after that.
pub async fn serve<P: Wait, D: Future>(
    mut pin: P,
    mut pass: impl FnMut(Result<(), Causes>) -> D,
) -> ! {
    // One future that never ends: where one ends, the compiler keeps a panic for whoever asks it
    // again.
    let mut woken = Ok(());
    loop {
        let mut due = pin!(pass(woken));
        if woken.is_err() {
            due.await;
            woken = Ok(());
            continue;
        }
        let mut moved = pin!(pin.wait_for_any_edge());
        woken = poll_fn(|context| match moved.as_mut().poll(context) {
            Poll::Ready(Ok(())) => Poll::Ready(Ok(())),
            Poll::Ready(Err(_)) => Poll::Ready(Err(Causes::FAULT)),
            Poll::Pending => due.as_mut().poll(context).map(|_| Ok(())),
        })
        .await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pins::broken::Broken;
    use core::cell::Cell;
    use core::pin::Pin;
    use core::task::{Context, Waker};
    use embedded_hal::digital::ErrorType;

    /// What comes of the next wait: nothing yet, an edge, or a failure.
    #[derive(Clone, Copy, Debug, PartialEq, Eq)]
    enum Comes {
        Nothing,
        Edge,
        Failure,
    }

    /// A pin under the test's hand, and how often it was asked.
    struct Wire<'a>(&'a Cell<Comes>, &'a Cell<u32>);

    impl ErrorType for Wire<'_> {
        type Error = Broken;
    }

    impl Wire<'_> {
        async fn comes(&self) -> Result<(), Broken> {
            poll_fn(|_| {
                self.1.set(self.1.get() + 1);
                match self.0.replace(Comes::Nothing) {
                    Comes::Nothing => Poll::Pending,
                    Comes::Edge => Poll::Ready(Ok(())),
                    Comes::Failure => Poll::Ready(Err(Broken)),
                }
            })
            .await
        }
    }

    impl Wait for Wire<'_> {
        async fn wait_for_high(&mut self) -> Result<(), Broken> {
            self.comes().await
        }

        async fn wait_for_low(&mut self) -> Result<(), Broken> {
            self.comes().await
        }

        async fn wait_for_rising_edge(&mut self) -> Result<(), Broken> {
            self.comes().await
        }

        async fn wait_for_falling_edge(&mut self) -> Result<(), Broken> {
            self.comes().await
        }

        async fn wait_for_any_edge(&mut self) -> Result<(), Broken> {
            self.comes().await
        }
    }

    /// The least executor there is: one look at a future that never ends.
    fn look<F: Future>(future: Pin<&mut F>) {
        let looked = future.poll(&mut Context::from_waker(Waker::noop()));
        assert!(looked.is_pending());
    }

    async fn over(done: &Cell<bool>) {
        poll_fn(|_| {
            if done.replace(false) {
                Poll::Ready(())
            } else {
                Poll::Pending
            }
        })
        .await;
    }

    #[test]
    fn an_edge_or_the_deadline_makes_a_pass_and_neither_brings_a_time() {
        let (comes, asked, done) = (Cell::new(Comes::Nothing), Cell::new(0), Cell::new(false));
        let passes = Cell::new(0);
        let mut loops = pin!(serve(Wire(&comes, &asked), |woken| {
            assert_eq!(woken, Ok(()));
            passes.set(passes.get() + 1);
            over(&done)
        }));
        look(loops.as_mut());
        look(loops.as_mut());
        assert_eq!((passes.get(), asked.get()), (1, 2));
        comes.set(Comes::Edge);
        look(loops.as_mut());
        assert_eq!((passes.get(), comes.get()), (2, Comes::Nothing));
        done.set(true);
        look(loops.as_mut());
        assert_eq!(passes.get(), 3);
        // One look, one question to the pin and one more after each pass: nothing goes round here.
        assert_eq!(asked.get(), 6);
    }

    #[test]
    fn a_pin_that_fails_is_told_and_does_not_spin() {
        let (comes, asked, done) = (Cell::new(Comes::Failure), Cell::new(0), Cell::new(false));
        let (passes, failures) = (Cell::new(0), Cell::new(0));
        let mut loops = pin!(serve(Wire(&comes, &asked), |woken| {
            passes.set(passes.get() + 1);
            if woken == Err(Causes::FAULT) {
                failures.set(failures.get() + 1);
            }
            over(&done)
        }));
        for turn in 1..=3 {
            // Broken still, and the deadline alone wakes.
            for _ in 0..10 {
                comes.set(Comes::Failure);
                look(loops.as_mut());
            }
            assert_eq!((failures.get(), asked.get()), (turn, turn));
            assert_eq!(passes.get(), 2 * turn);
            done.set(true);
            look(loops.as_mut());
        }
        // Whole again.
        comes.set(Comes::Nothing);
        done.set(true);
        look(loops.as_mut());
        comes.set(Comes::Edge);
        let before = (passes.get(), failures.get());
        look(loops.as_mut());
        assert_eq!((passes.get(), failures.get()), (before.0 + 1, before.1));
    }
}
