//! Time: instants that do not wrap, signed spans, one tick rate.
//!
//! | type | what it counts | range |
//! |---|---|---|
//! | [`TickRate`] | ticks in a second, stated once | 1 Hz to 4.29 GHz |
//! | [`Instant`] | ticks since a zero the caller chose | 2^64 ticks: 584 years at 1 GHz |
//! | [`Span`] | signed ticks between two instants | ±2^63 ticks |
//! | [`FineInstant`] | an instant with its 1/256 parts | as [`Instant`] |
//! | [`Counter`] | how a 16, 24 or 32-bit hardware counter becomes an [`Instant`] | |
//!
//! Nothing here reads a clock. Arithmetic saturates at the ends of the range; none of it wraps
//! and none of it panics.

mod counter;
mod rate;

pub use counter::{Bits, Counter, Stamp};
pub use rate::{TickRate, TimeError};

/// A moment on the capture clock, in ticks since a zero of the caller's choice.
///
/// 64 bits do not wrap in the life of a machine, so instants may be ordered. Raw counter values
/// may not: they have no order, which is why they never get a type of their own here and go
/// through [`Counter`] first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Instant(u64);

impl Instant {
    /// The instant `ticks` after the zero.
    #[must_use]
    pub const fn from_ticks(ticks: u64) -> Self {
        Self(ticks)
    }

    /// Ticks since the zero.
    #[must_use]
    pub const fn ticks(self) -> u64 {
        self.0
    }

    /// Signed span from `earlier` to `self`; saturates at ±2^63 ticks.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Span {
        let ahead = self.0 >= earlier.0;
        let distance = if ahead {
            self.0 - earlier.0
        } else {
            earlier.0 - self.0
        };
        let ticks = if distance > i64::MAX as u64 {
            i64::MAX
        } else {
            distance as i64
        };
        Span(if ahead { ticks } else { -ticks })
    }

    /// The instant `span` later (earlier where negative); saturates at both ends.
    #[must_use]
    pub const fn saturating_add(self, span: Span) -> Self {
        Self(self.0.saturating_add_signed(span.0))
    }

    /// Unsigned distance to an earlier instant, saturated to 32 bits; 0 if `earlier` is later.
    pub(crate) const fn run_since(self, earlier: Self) -> u32 {
        let distance = self.0.saturating_sub(earlier.0);
        if distance > u32::MAX as u64 {
            u32::MAX
        } else {
            distance as u32
        }
    }

    /// `ticks` later; saturates.
    #[must_use]
    pub const fn plus(self, ticks: u32) -> Self {
        Self(self.0.saturating_add(ticks as u64))
    }
}

/// A signed distance between two instants, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Span(i64);

impl Span {
    /// A span of `ticks`.
    #[must_use]
    pub const fn from_ticks(ticks: i64) -> Self {
        Self(ticks)
    }

    /// Its ticks.
    #[must_use]
    pub const fn ticks(self) -> i64 {
        self.0
    }
}

/// An instant known more finely than the tick: `whole + part_256 / 256` ticks.
///
/// Half a tick of capture truncation is real time (31 ns at 16 MHz), so an onset keeps it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct FineInstant {
    whole: Instant,
    part_256: u8,
}

impl FineInstant {
    /// `whole` moved by a signed number of 1/256 ticks; saturates at both ends.
    #[must_use]
    pub const fn new(whole: Instant, parts_256: i32) -> Self {
        // Euclidean: the part is never negative, the whole steps down instead.
        let steps = parts_256.div_euclid(256) as i64;
        let part_256 = parts_256.rem_euclid(256) as u8;
        match whole.0.checked_add_signed(steps) {
            Some(ticks) => Self {
                whole: Instant(ticks),
                part_256,
            },
            None if steps < 0 => Self {
                whole: Instant(0),
                part_256: 0,
            },
            None => Self {
                whole: Instant(u64::MAX),
                part_256: 255,
            },
        }
    }

    /// The whole tick at or before this moment.
    #[must_use]
    pub const fn whole(self) -> Instant {
        self.whole
    }

    /// 1/256 ticks after [`whole`](Self::whole), 0 to 255.
    #[must_use]
    pub const fn part_256(self) -> u8 {
        self.part_256
    }

    /// The nearest whole tick, a half rounded up.
    #[must_use]
    pub const fn nearest(self) -> Instant {
        Instant(self.whole.0.saturating_add((self.part_256 >> 7) as u64))
    }
}

/// Ticks with eight binary places, as the `fixed` crate writes them; saturates at 2^56 ticks.
#[cfg(feature = "fixed")]
impl From<FineInstant> for fixed::types::U56F8 {
    fn from(fine: FineInstant) -> Self {
        let whole = fine.whole.0.min((1 << 56) - 1);
        Self::from_bits(whole << 8 | u64::from(fine.part_256))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_signed_and_saturate() {
        let early = Instant::from_ticks(5);
        let late = Instant::from_ticks(12);
        assert_eq!(late.since(early), Span::from_ticks(7));
        assert_eq!(early.since(late), Span::from_ticks(-7));
        let end = Instant::from_ticks(u64::MAX);
        assert_eq!(end.since(early).ticks(), i64::MAX);
        assert_eq!(early.since(end).ticks(), -i64::MAX);
        assert_eq!(end.saturating_add(Span::from_ticks(1)), end);
        assert_eq!(
            early.saturating_add(Span::from_ticks(-9)),
            Instant::from_ticks(0)
        );
    }

    #[test]
    fn runs_saturate_at_32_bits_and_never_go_negative() {
        let start = Instant::from_ticks(10);
        assert_eq!(Instant::from_ticks(10).run_since(start), 0);
        assert_eq!(Instant::from_ticks(9).run_since(start), 0);
        assert_eq!(
            Instant::from_ticks(10 + (1 << 32)).run_since(start),
            u32::MAX
        );
        assert_eq!(
            Instant::from_ticks(9 + (1 << 32)).run_since(start),
            u32::MAX
        );
        assert_eq!(
            Instant::from_ticks(8 + (1 << 32)).run_since(start),
            u32::MAX - 1
        );
    }

    #[test]
    fn parts_borrow_from_the_whole_tick() {
        let at = Instant::from_ticks(100);
        let back = FineInstant::new(at, -128);
        assert_eq!((back.whole().ticks(), back.part_256()), (99, 128));
        assert_eq!(back.nearest().ticks(), 100);
        let on = FineInstant::new(at, 300);
        assert_eq!((on.whole().ticks(), on.part_256()), (101, 44));
        assert_eq!(on.nearest().ticks(), 101);
        let floor = FineInstant::new(Instant::from_ticks(0), -1);
        assert_eq!((floor.whole().ticks(), floor.part_256()), (0, 0));
        let end = FineInstant::new(Instant::from_ticks(u64::MAX), 300);
        assert_eq!((end.whole().ticks(), end.part_256()), (u64::MAX, 255));
    }
}
