//! Scatter of the arrivals, and which of them feed the line.

use crate::onset::math;

/// Arrivals in a block, of which the earliest counts.
const BLOCK: u8 = 8;
/// Arrivals over which scatter is averaged.
const AVERAGED: u32 = 64;
/// Blocks over which that of the minima is.
const BLOCKS_AVERAGED: u32 = 32;
/// Changes before which at least the presumed scatter is expected.
const PRESUMED: u32 = 8;
/// Blocks before which nothing is chosen.
const BLOCKS_SEEN: u32 = 8;

/// What feeds the line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Source {
    /// Every arrival: stamps of a capture unit.
    #[default]
    Arrivals,
    /// The earliest of eight arrivals: stamps with a tail of late ones, as software takes them.
    Minima,
}

/// A mean of sizes, ticks with 16 binary places: of all at first, then fading.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Mean {
    value_16: u64,
    count: u32,
}

impl Mean {
    fn add(&mut self, size_16: u64, averaged: u32) {
        self.count = (self.count + 1).min(averaged);
        // Sizes are below 2^48.
        let step = size_16 as i64 - self.value_16 as i64;
        let share = step.checked_div(i64::from(self.count)).unwrap_or(0);
        self.value_16 = self.value_16.saturating_add_signed(share);
    }

    /// What the mean is at most, as far as so few sizes can tell: 4/n more.
    fn cautious_16(&self) -> u64 {
        let more = self.value_16.saturating_mul(4);
        let more = more.checked_div(u64::from(self.count)).unwrap_or(more);
        self.value_16.saturating_add(more)
    }
}

/// Mean difference from one value to the next: no offset and no slow change adds to it.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Change {
    before_16: i64,
    primed: bool,
    mean: Mean,
}

impl Change {
    fn add(&mut self, value_16: i64, averaged: u32) {
        if self.primed {
            self.mean.add(value_16.abs_diff(self.before_16), averaged);
        }
        self.primed = true;
        self.before_16 = value_16;
    }
}

#[derive(Clone, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Jitter {
    source: Source,
    /// Size of the residuals that fed the line.
    fed: Mean,
    arrivals: Change,
    minima: Change,
    block: u8,
    least_32: i64,
    least_slot: u64,
}

/// What a residual comes to.
pub(super) enum Fed {
    /// Nothing yet.
    Nothing,
    /// This residual (ticks, 32 binary places) of this slot feeds the line.
    Residual(u64, i64),
    /// Another source from now on; the line starts anew from this residual.
    Changed(u64, i64),
}

impl Jitter {
    pub(super) fn source(&self) -> Source {
        self.source
    }

    /// Residuals that fed the line, up to what is averaged.
    pub(super) fn fed(&self) -> u32 {
        self.fed.count
    }

    /// Mean size of those, at most. What the line lags behind adds to it.
    pub(super) fn fed_16(&self) -> u64 {
        self.fed.cautious_16()
    }

    /// Mean size of the scatter of all arrivals, whatever the line makes of them: 3/4 of the mean
    /// change, which is √2 times as large. Before enough were seen at least `presumed_16`.
    pub(super) fn scatter_16(&self, presumed_16: u64) -> u64 {
        let mean = self.arrivals.mean;
        let scatter = mean.value_16 - mean.value_16 / 4;
        if mean.count < PRESUMED {
            scatter.max(presumed_16)
        } else {
            scatter
        }
    }

    /// Whether scatter of `large_16` and more waits for a decision about the source.
    pub(super) fn undecided(&self, large_16: u64) -> bool {
        self.source == Source::Arrivals
            && self.minima.mean.count < BLOCKS_SEEN
            && self.arrivals.mean.value_16 > large_16
    }

    /// The scatter seen so far says nothing of what comes.
    pub(super) fn distrust(&mut self) {
        self.fed = Mean::default();
    }

    /// A residual of a later slot.
    pub(super) fn add(&mut self, slot: u64, residual_32: i64, large_16: u64) -> Fed {
        let size_16 = residual_32.unsigned_abs() >> 16;
        self.arrivals.add(residual_32 >> 16, AVERAGED);
        if self.block == 0 || residual_32 < self.least_32 {
            self.least_32 = residual_32;
            self.least_slot = slot;
        }
        self.block += 1;
        let ended = self.block >= BLOCK;
        if ended {
            self.block = 0;
            self.minima.add(self.least_32 >> 16, BLOCKS_AVERAGED);
            if self.choose(large_16) {
                self.fed = Mean::default();
                return Fed::Changed(self.least_slot, self.least_32);
            }
        }
        match self.source {
            Source::Arrivals => {
                self.fed.add(size_16, AVERAGED);
                Fed::Residual(slot, residual_32)
            }
            Source::Minima if ended => {
                self.fed
                    .add(self.least_32.unsigned_abs() >> 16, BLOCKS_AVERAGED);
                Fed::Residual(self.least_slot, self.least_32)
            }
            Source::Minima => Fed::Nothing,
        }
    }

    /// A line through one in eight scatters √8 times as much for the same scatter of its input:
    /// minima pay where they scatter less than a third of the arrivals. Between a quarter and a
    /// half nothing changes, and scatter as small as that of a capture unit stays with the arrivals.
    fn choose(&mut self, large_16: u64) -> bool {
        if self.minima.mean.count < BLOCKS_SEEN {
            return false;
        }
        let all = self.arrivals.mean.value_16;
        let least = self.minima.mean.value_16;
        let chosen = match self.source {
            Source::Arrivals if all > large_16 && math::mul(least, 4) < all => Source::Minima,
            Source::Minima if all < large_16 / 2 || math::mul(least, 2) > all => Source::Arrivals,
            same => same,
        };
        let changed = chosen != self.source;
        self.source = chosen;
        changed
    }
}
