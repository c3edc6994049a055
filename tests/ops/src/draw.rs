//! Numbers out of a seed, none of a width that differs between processors.

use fastrand::Rng;
use trueonset::flags::Flags;
use trueonset::time::{Instant, TickRate};

/// The source of all numbers.
pub(crate) struct Draw(Rng);

impl Draw {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Rng::with_seed(seed))
    }

    pub(crate) fn below(&mut self, end: u32) -> u32 {
        self.0.u32(0..end.max(1))
    }

    pub(crate) fn one_in(&mut self, count: u32) -> bool {
        self.below(count) == 0
    }

    pub(crate) fn yes(&mut self) -> bool {
        self.0.bool()
    }

    pub(crate) fn of<T: Copy, const N: usize>(&mut self, choices: [T; N]) -> T {
        let at = self.below(N as u32) as usize;
        choices[at]
    }

    /// Any size from one bit to 64 is as likely as any other.
    pub(crate) fn sized64(&mut self) -> u64 {
        let bits = self.below(64);
        self.0.u64(..) >> bits
    }

    pub(crate) fn sized32(&mut self) -> u32 {
        let bits = self.below(32);
        self.0.u32(..) >> bits
    }

    pub(crate) fn any32(&mut self) -> u32 {
        self.0.u32(..)
    }

    pub(crate) fn signed64(&mut self) -> i64 {
        let size = self.sized64() as i64;
        if self.yes() {
            size
        } else {
            size.wrapping_neg()
        }
    }

    /// From `-reach` to `reach`.
    pub(crate) fn about(&mut self, reach: u32) -> i64 {
        i64::from(self.below(reach.saturating_mul(2).saturating_add(1))) - i64::from(reach)
    }

    pub(crate) fn bytes<const N: usize>(&mut self) -> [u8; N] {
        let mut bytes = [0; N];
        self.0.fill(&mut bytes);
        bytes
    }

    /// Now and then an instant at a border.
    pub(crate) fn instant(&mut self) -> Instant {
        Instant::from_ticks(if self.one_in(8) {
            u64::MAX - u64::from(self.below(9))
        } else {
            self.sized64()
        })
    }

    pub(crate) fn rate(&mut self) -> TickRate {
        let hz = if self.yes() {
            self.of([1_000_000, 8_000_000, 16_000_000, 72_000_000, 1_000_000_000])
        } else {
            self.sized32()
        };
        TickRate::from_hz(hz).unwrap_or(TickRate::NANOSECONDS)
    }

    pub(crate) fn flags(&mut self) -> Flags {
        let mut flags = Flags::NONE;
        for flag in [
            Flags::OVERCAPTURE,
            Flags::TIME_BACK,
            Flags::LOST_EDGE,
            Flags::SAME_SPOT,
            Flags::UPPER,
        ] {
            if self.one_in(8) {
                flags.insert(flag);
            }
        }
        flags
    }
}
