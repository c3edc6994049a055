//! Two channels of a timer on one pin.

use super::{Capture, Captured};
use crate::time::Bits;

/// Two channels on one pin, one a direction, as one unit that gives the earlier stamp first: a line
/// takes its edges in the order of time. One handler has it, for the interrupts of both.
///
/// A stamp may wait for less than half a turn.
#[derive(Debug)]
pub struct Channels<A, B> {
    a: A,
    b: B,
    /// Taken from a channel and not given yet.
    held: [Option<Captured>; 2],
    bits: Bits,
}

impl<A: Capture, B: Capture> Channels<A, B> {
    /// Both channels of one timer, whose counter has so many `bits`.
    pub const fn new(a: A, b: B, bits: Bits) -> Self {
        Self {
            a,
            b,
            held: [None; 2],
            bits,
        }
    }
}

impl<A: Capture, B: Capture> Capture for Channels<A, B> {
    fn take(&mut self) -> Option<Captured> {
        let [a, b] = &mut self.held;
        *a = a.or_else(|| self.a.take());
        *b = b.or_else(|| self.b.take());
        if b.is_some() {
            // The first may have been stamped after it was asked, and before the second.
            *a = a.or_else(|| self.a.take());
        }
        match (*a, *b) {
            (Some(one), Some(other)) if self.bits.is_before(other.raw, one.raw) => b.take(),
            (Some(_), _) => a.take(),
            (None, _) => b.take(),
        }
    }

    fn count(&self) -> u32 {
        self.a.count()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawn;
    use crate::edge::Level;
    use core::cell::RefCell;

    /// A pin and a timer, which goes on with every look at a register.
    struct Timer {
        now: u64,
        bits: Bits,
        /// When the pin moves next, and where it is until then.
        next: u64,
        high: bool,
        /// A register a direction.
        stamped: [Option<Captured>; 2],
        /// Edges, and those that were stamped over.
        edges: usize,
        over: usize,
        drawn: u64,
    }

    impl Timer {
        fn look(&mut self) {
            self.now += drawn::step(&mut self.drawn) % 8;
            while self.next <= self.now {
                self.high = !self.high;
                self.edges += 1;
                let register = &mut self.stamped[usize::from(self.high)];
                self.over += usize::from(register.is_some());
                *register = Some(Captured {
                    raw: (self.next % self.bits.turn()) as u32,
                    level: Level::from(self.high),
                    over: register.is_some(),
                });
                self.next += 1 + drawn::step(&mut self.drawn) % 40;
            }
        }
    }

    struct Channel<'a>(&'a RefCell<Timer>, usize);

    impl Capture for Channel<'_> {
        fn take(&mut self) -> Option<Captured> {
            let mut timer = self.0.borrow_mut();
            timer.look();
            timer.stamped[self.1].take()
        }

        fn count(&self) -> u32 {
            self.0.borrow().now as u32
        }
    }

    /// Whatever is stamped between two looks: in the order of time, over every wrap, and nothing
    /// missing that an over-capture does not tell.
    #[test]
    fn stamps_of_both_channels_come_in_the_order_of_time() {
        for bits in [Bits::B16, Bits::B24, Bits::B32] {
            let timer = RefCell::new(Timer {
                now: bits.turn() - 300_000 % bits.turn(),
                bits,
                next: bits.turn(),
                high: false,
                stamped: [None; 2],
                edges: 0,
                over: 0,
                drawn: 11,
            });
            let mut both = Channels::new(Channel(&timer, 0), Channel(&timer, 1), bits);
            let (mut before, mut told) = (0, 0);
            for _ in 0..100_000 {
                let Some(captured) = both.take() else {
                    continue;
                };
                let back = told > 0 && bits.is_before(captured.raw, before);
                assert!(!back, "{bits:?}: {captured:?} after {before}");
                before = captured.raw;
                told += 1;
            }
            assert_eq!(both.count(), timer.borrow().now as u32);
            let timer = timer.borrow();
            let waiting = both.held.iter().chain(&timer.stamped);
            let all = told + waiting.flatten().count() + timer.over;
            assert!(told > 10_000 && timer.over > 100, "{bits:?}: {told}");
            assert_eq!(all, timer.edges, "{bits:?}");
        }
    }
}
