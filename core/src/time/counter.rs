//! Widening: a narrow capture counter becomes a 64-bit instant.
//!
//! The counter shows only the low bits of time. The high bits come from the newest time known,
//! so somebody has to tell the time at least once every half turn ([`Counter::widen`] with the
//! counter read in a housekeeping call will do). What can be known, by source:
//!
//! | call | a stamp late by less than half a turn | half to one turn | one turn or more |
//! |---|---|---|---|
//! | [`Counter::widen`] | exact | right and reported | **invisible**: the counter reads the same |
//! | [`Counter::widen_with_turns`] (overflow count) | exact | exact | exact; a contradiction is reported |
//! | [`Counter::widen_with_coarse`] (second clock) | exact | exact | exact while the second clock is within a quarter turn; beyond, reported |
//!
//! A stamp may also lie a little *before* the newest time, when a housekeeping call ran between
//! the capture and its readout. [`Counter::allowing_back_step`] reserves that much of the turn;
//! a stamp late by `turn − back step` to one turn then looks like a back step.

use super::Instant;
use crate::flags::Flags;

/// Width of the hardware counter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Bits {
    /// 0 to 65 535.
    B16,
    /// 0 to 16 777 215.
    B24,
    /// 0 to 4 294 967 295.
    B32,
}

impl Bits {
    const fn mask(self) -> u32 {
        match self {
            Self::B16 => 0xffff,
            Self::B24 => 0x00ff_ffff,
            Self::B32 => u32::MAX,
        }
    }

    /// Whether `one` was shown before `other`, both less than half a turn apart.
    pub(crate) const fn is_before(self, one: u32, other: u32) -> bool {
        one.wrapping_sub(other) & self.mask() > self.mask() / 2
    }

    /// Ticks in one turn of the counter.
    #[must_use]
    pub const fn turn(self) -> u64 {
        self.mask() as u64 + 1
    }
}

/// A widened stamp and what was wrong with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[must_use]
pub struct Stamp {
    /// When it happened.
    pub at: Instant,
    /// Empty, or [`Flags::TIME_BACK`] where the high bits are in doubt.
    pub faults: Flags,
}

/// The newest time known of one hardware counter; shared by all channels that capture from it.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counter {
    newest: Instant,
    mask: u32,
    back_step: u32,
}

impl Counter {
    /// Latest start: half of the range remains.
    const LATEST: u64 = 1 << 63;

    /// A counter of `bits`, at `start` (at most 2^63 ticks, later ones are held to it), whose low
    /// bits are the counter's present value.
    #[must_use]
    pub const fn new(bits: Bits, start: Instant) -> Self {
        let newest = if start.0 < Self::LATEST {
            start
        } else {
            Instant(Self::LATEST)
        };
        Self {
            newest,
            mask: bits.mask(),
            back_step: 0,
        }
    }

    /// Lets stamps lie up to `ticks` before the newest time (held to a quarter turn).
    #[must_use]
    pub const fn allowing_back_step(mut self, ticks: u32) -> Self {
        let quarter = self.mask / 4;
        self.back_step = if ticks < quarter { ticks } else { quarter };
        self
    }

    /// A counter of `bits` that shows `reading` now, whose stamps wait in a queue, for a loop that
    /// may stand as long as a quarter turn.
    #[must_use]
    pub const fn behind_a_queue(bits: Bits, reading: u32) -> Self {
        let start = Instant((reading & bits.mask()) as u64);
        Self::new(bits, start).allowing_back_step(u32::MAX)
    }

    /// The newest time told so far.
    #[must_use]
    pub const fn newest(&self) -> Instant {
        self.newest
    }

    /// Widens the counter value `raw` with the counter alone.
    #[inline]
    pub fn widen(&mut self, raw: u32) -> Stamp {
        let ahead = raw.wrapping_sub(self.newest.0 as u32) & self.mask;
        if ahead <= self.mask / 2 {
            // The end of time is 68 years of the fastest counter from the latest start.
            self.newest = Instant(self.newest.0.wrapping_add(u64::from(ahead)));
            return Stamp {
                at: self.newest,
                faults: Flags::NONE,
            };
        }
        self.widen_far(ahead)
    }

    /// More than half a turn ahead of the newest time, or a little behind it.
    #[cold]
    fn widen_far(&mut self, ahead: u32) -> Stamp {
        // A step back that would begin before time does is none.
        let behind = self.mask - ahead + 1;
        let back = self.newest.0.checked_sub(u64::from(behind));
        if let (true, Some(at)) = (behind <= self.back_step, back) {
            return Stamp {
                at: Instant(at),
                faults: Flags::NONE,
            };
        }
        // A counter does not run backwards, so late is the likelier story; it is told as doubt.
        self.newest = self.newest.plus(ahead);
        Stamp {
            at: self.newest,
            faults: Flags::TIME_BACK,
        }
    }

    /// Widens `raw` with the count of counter overflows since the zero of time.
    ///
    /// Read count and counter without an overflow between them (read the count, the counter and
    /// the count again, until both counts agree). A result before the newest time by more than
    /// the allowed back step is reported: count and counter contradict each other.
    pub fn widen_with_turns(&mut self, raw: u32, turns: u32) -> Stamp {
        let at =
            Instant(u64::from(turns) * (u64::from(self.mask) + 1) + u64::from(raw & self.mask));
        self.settle(at, true)
    }

    /// Widens `raw` with a second, coarse clock that shows about the same time in ticks.
    ///
    /// The turn nearest to `coarse` is taken. If the two clocks differ by more than a quarter
    /// turn the turn could be the wrong one, which is reported.
    pub fn widen_with_coarse(&mut self, raw: u32, coarse: Instant) -> Stamp {
        let turn = u64::from(self.mask) + 1;
        let ahead = raw.wrapping_sub(coarse.0 as u32) & self.mask;
        let (at, apart) = if ahead <= self.mask / 2 {
            (coarse.0.saturating_add(u64::from(ahead)), ahead)
        } else {
            let behind = self.mask - ahead + 1;
            match coarse.0.checked_sub(u64::from(behind)) {
                Some(at) => (at, behind),
                // Before the zero of time: only the turn ahead is possible.
                None => (coarse.0.saturating_add(u64::from(ahead)), ahead),
            }
        };
        self.settle(Instant(at), u64::from(apart) <= turn / 4)
    }

    fn settle(&mut self, at: Instant, sure: bool) -> Stamp {
        let behind = self.newest.run_since(at);
        if at > self.newest {
            self.newest = at;
        }
        Stamp {
            at,
            faults: if sure && behind <= self.back_step {
                Flags::NONE
            } else {
                Flags::TIME_BACK
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_of_time_hold_and_are_reported() {
        let mut late = Counter::new(Bits::B16, Instant::from_ticks(u64::MAX - 5));
        assert_eq!(late.widen(20).at.ticks(), (1 << 63) + 20);
        let mut early = Counter::new(Bits::B16, Instant::from_ticks(3)).allowing_back_step(100);
        assert_eq!(early.widen(0).at.ticks(), 0);
        let stamp = early.widen(0xfffe);
        assert_eq!((stamp.at.ticks(), stamp.faults), (0xfffe, Flags::TIME_BACK));
    }

    #[test]
    fn behind_a_queue_a_quarter_turn_back_is_exact_and_more_is_a_turn() {
        for (bits, quarter) in [
            (Bits::B16, 0x3fff),
            (Bits::B24, 0x3f_ffff),
            (Bits::B32, 0x3fff_ffff),
        ] {
            // What is above the counter's bits is none of it.
            let mut counter = Counter::behind_a_queue(bits, 0xff7f_fff0);
            let first = 0xff7f_fff0 & (bits.turn() - 1);
            assert_eq!(counter.newest().ticks(), first);
            let now = first + 0x4000;
            assert_eq!(counter.widen(now as u32).at.ticks(), now);
            let waited = counter.widen((now - quarter) as u32);
            assert_eq!(
                (waited.at.ticks(), waited.faults),
                (now - quarter, Flags::NONE)
            );
            let far = counter.widen((now - quarter - 1) as u32);
            assert!(far.at.ticks() > now);
        }
    }

    const ALL: [Bits; 3] = [Bits::B16, Bits::B24, Bits::B32];

    /// The law by 128-bit arithmetic: what the counter shows of a true time.
    fn shows(time: u128, bits: Bits) -> u32 {
        (time % u128::from(bits.turn())) as u32
    }

    #[test]
    fn late_by_less_than_half_a_turn_is_exact_and_up_to_a_turn_is_reported() {
        for bits in ALL {
            let turn = u128::from(bits.turn());
            let mut seed = 7;
            let mut time = turn - 3;
            let mut counter = Counter::new(bits, Instant::from_ticks(time as u64));
            for _ in 0..100_000 {
                let step = match crate::drawn::step(&mut seed) % 8 {
                    0 => turn / 2 - 1,
                    1 => turn / 2,
                    2 => turn - 1,
                    3 => 0,
                    _ => u128::from(crate::drawn::step(&mut seed)) % turn,
                };
                time += step;
                let stamp = counter.widen(shows(time, bits));
                assert_eq!(u128::from(stamp.at.ticks()), time, "{bits:?} step {step}");
                assert_eq!(
                    stamp.faults.is_empty(),
                    step < turn / 2,
                    "{bits:?} step {step}"
                );
            }
        }
    }

    #[test]
    fn a_whole_turn_is_invisible_alone_and_seen_with_help() {
        for bits in ALL {
            let turn = bits.turn();
            let start = Instant::from_ticks(turn * 3 + 11);
            let late = start.ticks() + turn + 2;
            let raw = shows(u128::from(late), bits);
            let alone = Counter::new(bits, start).widen(raw);
            assert_eq!(alone.at.ticks(), late - turn);
            assert!(alone.faults.is_empty());
            let counted = Counter::new(bits, start).widen_with_turns(raw, (late / turn) as u32);
            assert_eq!((counted.at.ticks(), counted.faults), (late, Flags::NONE));
            for off in [0, turn / 4 - 1] {
                let coarse = Instant::from_ticks(late - off);
                let seen = Counter::new(bits, start).widen_with_coarse(raw, coarse);
                assert_eq!((seen.at.ticks(), seen.faults), (late, Flags::NONE));
            }
            let vague = Instant::from_ticks(late - turn / 3);
            let seen = Counter::new(bits, start).widen_with_coarse(raw, vague);
            assert_eq!(seen.faults, Flags::TIME_BACK);
        }
    }

    #[test]
    fn coarse_clock_is_exact_across_wraps_on_both_sides() {
        for bits in ALL {
            let turn = bits.turn();
            let mut seed = 99;
            for _ in 0..50_000 {
                let time = turn + crate::drawn::step(&mut seed) % (turn * 1000);
                let apart = crate::drawn::step(&mut seed) % (turn / 2);
                let coarse = time - turn / 4 + apart;
                let mut counter = Counter::new(bits, Instant::from_ticks(0));
                let raw = shows(u128::from(time), bits);
                let stamp = counter.widen_with_coarse(raw, Instant::from_ticks(coarse));
                assert_eq!((stamp.at.ticks(), stamp.faults), (time, Flags::NONE));
            }
        }
    }

    #[test]
    fn a_back_step_is_taken_only_where_allowed() {
        for bits in ALL {
            let start = Instant::from_ticks(bits.turn() + 5);
            let raw = shows(u128::from(start.ticks() - 20), bits);
            let mut strict = Counter::new(bits, start);
            assert_eq!(strict.widen(raw).faults, Flags::TIME_BACK);
            let mut lenient = Counter::new(bits, start).allowing_back_step(20);
            let stamp = lenient.widen(raw);
            assert_eq!(stamp.at.ticks(), start.ticks() - 20);
            assert!(stamp.faults.is_empty());
            assert_eq!(lenient.newest(), start);
        }
    }

    #[test]
    fn a_contradicting_overflow_count_is_reported() {
        let mut counter = Counter::new(Bits::B16, Instant::from_ticks(5 << 16));
        let stamp = counter.widen_with_turns(9, 4);
        assert_eq!(stamp.faults, Flags::TIME_BACK);
        assert_eq!(stamp.at.ticks(), (4 << 16) + 9);
    }
}
