//! How long a main loop may sleep.

use crate::time::{Bits, Instant, TickRate};

/// A sleep that would be shorter than a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoSleep;

impl core::fmt::Display for NoSleep {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("half the patience is shorter than a tick: nothing would be slept")
    }
}

impl core::error::Error for NoSleep {}

/// The longest sleep of a main loop. What a deadline of the rooms leaves open, as a link that is
/// down does, this bounds: a watchdog is fed, and a counter is read before it has turned round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sleep {
    most: u32,
}

impl Sleep {
    /// On a counter of `bits` that counts ticks of `rate`: half of `patience_ns`, the shortest time
    /// after which something gives the loop up, such as a watchdog or the sights of a wired probe;
    /// and no more than a quarter turn, so that a wake late by as much still reads the counter
    /// within the half turn that [`Capture::count`](super::Capture::count) asks for.
    ///
    /// # Errors
    /// [`NoSleep`].
    pub const fn new(rate: TickRate, bits: Bits, patience_ns: u64) -> Result<Self, NoSleep> {
        let half = rate.ticks_from_ns(patience_ns) / 2;
        let quarter = bits.turn() / 4;
        let most = if half < quarter { half } else { quarter };
        if most == 0 {
            return Err(NoSleep);
        }
        // A quarter of the widest turn has 30 bits.
        Ok(Self { most: most as u32 })
    }

    /// Until when to sleep from `now` on: the first deadline, or the longest sleep.
    #[must_use]
    pub fn until(
        self,
        now: Instant,
        deadlines: impl IntoIterator<Item = Option<Instant>>,
    ) -> Instant {
        let most = now.plus(self.most);
        deadlines.into_iter().flatten().fold(most, Instant::min)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_loop_sleeps_for_ever_whatever_timer_and_watchdog_it_has() {
        let rate = TickRate::from_hz(16_000_000).unwrap();
        let now = Instant::from_ticks(7);
        let sleep = |bits, ns| Sleep::new(rate, bits, ns).unwrap().until(now, [None, None]);
        // Half of 40 ms, and a quarter of 4.1 ms and of 268 s.
        assert_eq!(sleep(Bits::B32, 40_000_000).ticks(), 7 + 320_000);
        assert_eq!(sleep(Bits::B16, 40_000_000).ticks(), 7 + 16_384);
        assert_eq!(sleep(Bits::B32, u64::MAX).ticks(), 7 + (1 << 30));
        let sleep = Sleep::new(rate, Bits::B24, 40_000_000).unwrap();
        let [soon, late] = [8, 1 << 40].map(|at| Some(Instant::from_ticks(at)));
        assert_eq!(Some(sleep.until(now, [late, soon])), soon);
        assert_eq!(sleep.until(now, [late]), sleep.until(now, []));
        assert_eq!(Sleep::new(rate, Bits::B32, 50), Err(NoSleep));
    }
}
