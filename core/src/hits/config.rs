//! What a user says of the spindle, checked once.

use crate::time::TickRate;

/// The shortest hit that counts: the hold of the line in front, ns.
pub const SHORTEST_HIT_NS: u64 = 20_000;

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum HitsError {
    /// No tooth, or more than there is room for.
    Teeth,
    /// A tooth period of less than four shortest hits: hits and gaps could not be told.
    TooFast,
    /// A turn of more than 2^30 ticks.
    TooSlow,
}

impl core::fmt::Display for HitsError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Teeth => "number of teeth is 0 or more than there is room for",
            Self::TooFast => "a tooth period is below 80 us: hits and gaps cannot be told",
            Self::TooSlow => "a turn lasts more than 2^30 ticks",
        })
    }
}

impl core::error::Error for HitsError {}

/// Spindle and cutter.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HitsConfig {
    /// A tooth period, ticks.
    pub(super) tooth: u32,
    pub(super) teeth: u8,
    /// 1.25 turns, ticks.
    pub(super) apart: u32,
}

impl HitsConfig {
    /// A cutter of `teeth` at one turn in `turn_ns` nanoseconds, counted in ticks of `rate`;
    /// `room` is the `TEETH` of the [`Hits`](super::Hits) it is for.
    ///
    /// # Errors
    /// [`HitsError`].
    pub const fn new(
        rate: TickRate,
        turn_ns: u64,
        teeth: u8,
        room: usize,
    ) -> Result<Self, HitsError> {
        if teeth == 0 || teeth as usize > room {
            return Err(HitsError::Teeth);
        }
        if turn_ns < 4 * SHORTEST_HIT_NS * teeth as u64 {
            return Err(HitsError::TooFast);
        }
        let turn = rate.ticks_from_ns(turn_ns);
        if turn > 1 << 30 {
            return Err(HitsError::TooSlow);
        }
        let Some(tooth) = (turn as u32).checked_div(teeth as u32) else {
            return Err(HitsError::Teeth);
        };
        if tooth == 0 {
            return Err(HitsError::TooFast);
        }
        Ok(Self {
            tooth,
            teeth,
            apart: (turn + turn / 4) as u32,
        })
    }

    /// How many tooth periods `run` is, where it is a whole number within 12 % of one.
    pub(super) fn periods(&self, run: u32) -> Option<u32> {
        let half = self.tooth / 2;
        let whole = run.saturating_add(half).checked_div(self.tooth)?;
        let off = run.abs_diff(whole.saturating_mul(self.tooth));
        let near = u64::from(off) * 100 <= u64::from(self.tooth) * 12;
        (whole > 0 && near).then_some(whole)
    }
}
