//! Set membership: where the slot start must lie, frame by frame.

use super::config::ClockConfig;
use super::moment::Length;
use crate::time::Instant;

/// Slots of silence after which the intervals begin anew.
const SILENCE: u64 = 1 << 16;
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
    fn about(centre: i64, half: i64) -> Self {
        Self {
            low: centre - half,
            high: centre + half,
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
    slot: u64,
    rates: Range,
}

impl Monitor {
    pub(super) fn new(config: &ClockConfig, slot: u64, arrival: Instant, half_256: u64) -> Self {
        let first = Range::about(0, half(half_256));
        Self {
            anchor_slot: slot,
            anchor: arrival,
            first,
            newest: first,
            slot,
            rates: Range::about(0, config.tolerance_24),
        }
    }

    /// A frame of a later slot, at most `half_256` off. Whether it contradicts those before; all
    /// begins anew from it then.
    pub(super) fn add(
        &mut self,
        config: &ClockConfig,
        slot: u64,
        arrival: Instant,
        half_256: u64,
    ) -> bool {
        let since = slot.saturating_sub(self.slot);
        let consistent = if since > SILENCE {
            None
        } else {
            self.narrowed(config, slot, arrival, half_256)
        };
        let clash = consistent.is_none() && since <= SILENCE;
        *self = consistent.unwrap_or_else(|| Self::new(config, slot, arrival, half_256));
        clash
    }

    fn narrowed(
        &self,
        config: &ClockConfig,
        slot: u64,
        arrival: Instant,
        half_256: u64,
    ) -> Option<Self> {
        // At most 2^16; rates below 2^46.
        let n = slot.saturating_sub(self.slot) as i64;
        let widened = |by: i64| Range {
            low: self.rates.low.saturating_sub(by),
            high: self.rates.high.saturating_add(by),
        };
        let tolerated = Range::about(0, config.tolerance_24);
        let rates = widened(config.drift_24.saturating_mul(n)).common(tolerated)?;
        let moved = Range {
            low: self.newest.low + ((n * rates.low) >> 16),
            high: self.newest.high + ((n * rates.high) >> 16) + 1,
        };
        // A memory and a silence at most: below 2^21 slots of 2^26 ticks.
        let chord = slot.saturating_sub(self.anchor_slot);
        let nominal = Length::periods(config.slot_32, u32::try_from(chord).ok()?);
        let nominal_256 = ((nominal.whole << 8) | u64::from(nominal.part_32 >> 24)) as i64;
        let since_anchor = arrival.since(self.anchor).ticks();
        let seen = (since_anchor.clamp(-(MOST_256 >> 8), MOST_256 >> 8) << 8) - nominal_256;
        let newest = moved.common(Range::about(seen, half(half_256)))?;
        let next = Self {
            newest,
            slot,
            rates,
            ..self.clone()
        };
        if chord < u64::from(config.memory) {
            return Some(next);
        }
        let drift = config.drift_24.saturating_mul(chord as i64);
        let bounds = Range {
            low: rate_24(newest.low - self.first.high, chord)?.saturating_sub(drift),
            high: rate_24(newest.high - self.first.low, chord)?
                .saturating_add(1)
                .saturating_add(drift),
        };
        let anchored = Range {
            low: newest.low - seen,
            high: newest.high - seen,
        };
        Some(Self {
            anchor_slot: slot,
            anchor: arrival,
            first: anchored,
            newest: anchored,
            rates: rates.common(bounds)?,
            ..next
        })
    }
}

fn half(half_256: u64) -> i64 {
    half_256.min(MOST_256 as u64) as i64
}

/// `offset_256 / chord`, rounded down, as ticks a slot with 24 binary places.
fn rate_24(offset_256: i64, chord: u64) -> Option<i64> {
    let chord = chord as i64;
    let whole = offset_256.checked_div_euclid(chord)?;
    let rest = offset_256.checked_rem_euclid(chord)?;
    // The rest is below 2^21.
    whole
        .checked_mul(1 << 16)?
        .checked_add((rest << 16).checked_div(chord)?)
}
