//! Set membership: where the slot start must lie, frame by frame.

use super::config::ClockConfig;
use super::line::Sight;
use super::moment::Length;
use crate::onset::math;
use crate::time::Instant;

/// Slots of silence after which the intervals begin anew.
const SILENCE: u32 = 1 << 16;
/// Offsets are held to this, 1/256 ticks.
const MOST_256: i64 = 1 << 54;

/// An interval of offsets (1/256 ticks) or rates (ticks a slot, 24 binary places).
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Range {
    low: i64,
    high: i64,
}

impl Range {
    const fn about(centre: i64, half: i64) -> Self {
        Self {
            low: centre - half,
            high: centre + half,
        }
    }

    fn widened(self, by: i64) -> Self {
        Self {
            low: self.low - by,
            high: self.high + by,
        }
    }

    fn common(self, other: Self) -> Option<Self> {
        let low = self.low.max(other.low);
        let high = self.high.min(other.high);
        (low <= high).then_some(Self { low, high })
    }
}

/// Intervals against a line of nominal slots from an anchor.
///
/// From frame to frame the interval moves with the whole range of rates, and is cut with that of
/// the new frame. Once in a memory the chord from the anchor bounds the rates: mean rate over the
/// chord, give or take what drift can do in that time.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Monitor {
    anchor_slot: u64,
    anchor: Instant,
    /// Offsets at the anchor and at the newest slot.
    first: Range,
    newest: Range,
    rates: Range,
}

impl Monitor {
    /// From one arrival.
    #[inline(always)] // So that it is made in its place, and not on the stack.
    pub(super) fn new(config: &ClockConfig, slot: u64, arrival: Instant, half_256: u64) -> Self {
        let first = Range::about(0, half(half_256));
        Self {
            anchor_slot: slot,
            anchor: arrival,
            first,
            newest: first,
            rates: Range::about(0, config.tolerance_24),
        }
    }

    /// Anew from one arrival.
    #[inline(never)]
    pub(super) fn restart(
        &mut self,
        config: &ClockConfig,
        slot: u64,
        arrival: Instant,
        half_256: u64,
    ) {
        *self = Self::new(config, slot, arrival, half_256);
    }

    /// A frame after the newest, at most `half_256` off. Whether it contradicts those before; all
    /// begins anew from it then.
    pub(super) fn add(
        &mut self,
        config: &ClockConfig,
        seen: &Sight,
        arrival: Instant,
        half_256: u64,
    ) -> bool {
        let silent = seen.slots > SILENCE;
        let consistent = !silent
            && match self.narrow(config, seen, arrival, half_256) {
                Some((chord, offset)) if chord >= config.memory => {
                    let anchored = self.anchor(config, seen.slot, chord, arrival, offset);
                    anchored.is_some()
                }
                narrowed => narrowed.is_some(),
            };
        if !consistent {
            self.restart(config, seen.slot, arrival, half_256);
        }
        !consistent && !silent
    }

    /// `None` where that frame cannot be; what stands here then is of no use any more.
    #[inline(never)]
    fn narrow(
        &mut self,
        config: &ClockConfig,
        seen: &Sight,
        arrival: Instant,
        half_256: u64,
    ) -> Option<(u32, i64)> {
        // At most 2^16 slots, of drifts of up to 2^40 and rates below 2^46.
        let (slot, n) = (seen.slot, i64::from(seen.slots));
        let tolerated = Range::about(0, config.tolerance_24);
        let rates = self.rates.widened(config.drift_24 * n).common(tolerated)?;
        let moved = Range {
            low: self.newest.low + ((n * rates.low) >> 16),
            high: self.newest.high + ((n * rates.high) >> 16) + 1,
        };
        // A memory and a silence at most: below 2^21 slots of 2^26 ticks.
        let chord = u32::try_from(slot.saturating_sub(self.anchor_slot)).ok()?;
        let nominal = Length::periods(config.slot_32, chord);
        let nominal_256 = ((nominal.whole << 8) | u64::from(nominal.part_32 >> 24)) as i64;
        let since_anchor = arrival.since(self.anchor).ticks();
        let offset = (since_anchor.clamp(-(MOST_256 >> 8), MOST_256 >> 8) << 8) - nominal_256;
        self.newest = moved.common(Range::about(offset, half(half_256)))?;
        self.rates = rates;
        Some((chord, offset))
    }

    /// The chord of so many slots from the anchor bounds the rates, and the frame of `slot` becomes
    /// the anchor.
    #[inline(never)]
    fn anchor(
        &mut self,
        config: &ClockConfig,
        slot: u64,
        chord: u32,
        arrival: Instant,
        offset: i64,
    ) -> Option<()> {
        let newest = self.newest;
        let mean = Range {
            low: rate_24(newest.low - self.first.high, chord)?,
            high: rate_24(newest.high - self.first.low, chord)? + 1,
        };
        // Below 2^61.
        let drift = config.drift_24 * i64::from(chord);
        self.rates = self.rates.common(mean.widened(drift))?;
        self.first = Range {
            low: newest.low - offset,
            high: newest.high - offset,
        };
        self.newest = self.first;
        self.anchor_slot = slot;
        self.anchor = arrival;
        Some(())
    }
}

fn half(half_256: u64) -> i64 {
    half_256.min(MOST_256 as u64) as i64
}

/// `offset_256 / chord`, rounded down, as ticks a slot with 24 binary places; below 2^62.
fn rate_24(offset_256: i64, chord: u32) -> Option<i64> {
    let size = offset_256.unsigned_abs();
    let whole = math::quotient(size, chord);
    if whole >> 46 != 0 {
        return None;
    }
    // Below the chord, that is below 2^21.
    let rest = size - whole * u64::from(chord);
    let part = math::quotient(rest << 16, chord);
    let rate = (whole << 16 | part) as i64;
    // Further down where anything is left.
    let left = part * u64::from(chord) != rest << 16;
    Some(if offset_256 < 0 {
        -rate - i64::from(left)
    } else {
        rate
    })
}
