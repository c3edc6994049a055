//! Ticks, nanoseconds, spans and flags, with numbers of every size.

use core::fmt::Write;

use trueonset::edge::queue_room;
use trueonset::flags::Flags;
use trueonset::onset::Doubt;
use trueonset::time::{Bits, Counter, FineInstant, Span};

use crate::{tell, Draw};

/// A counter that is read at any time.
pub(crate) struct Room {
    counter: Counter,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        Self {
            counter: counter(draw),
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        match draw.below(6) {
            0 => {
                let rate = draw.rate();
                tell!(told, rate.ns(draw.sized64()));
                tell!(told, rate.ticks_from_ns(draw.sized64()));
                tell!(told, Doubt::from_sixteenths(draw.sized32()).ns(rate));
            }
            1 => {
                let span = draw.instant().since(draw.instant());
                let to = draw.instant();
                let other = Span::from_ticks(draw.signed64());
                tell!(
                    told,
                    span,
                    to.saturating_add(span),
                    to.saturating_add(other)
                );
            }
            2 => {
                let fine = FineInstant::new(draw.instant(), draw.any32() as i32);
                tell!(told, fine.whole(), fine.part_256(), fine.nearest());
            }
            3 => {
                let flags = draw.flags();
                tell!(told, flags.union(draw.flags()), Flags::from_word("upper"));
                let _ = write!(told, "{flags}");
                // What no memory of 32 bits holds is told by its width.
                tell!(told, queue_room(draw.sized32() >> 8, draw.sized32() >> 8));
            }
            4 => {
                let stamp = match draw.below(3) {
                    0 => self.counter.widen(draw.any32()),
                    1 => self.counter.widen_with_turns(draw.any32(), draw.sized32()),
                    _ => self.counter.widen_with_coarse(draw.any32(), draw.instant()),
                };
                tell!(told, stamp, self.counter.newest());
            }
            _ => self.counter = counter(draw),
        }
    }
}

fn counter(draw: &mut Draw) -> Counter {
    let bits = draw.of([Bits::B16, Bits::B24, Bits::B32]);
    Counter::new(bits, draw.instant()).allowing_back_step(draw.sized32())
}
