//! Scatter of the arrivals, and which of them feed a line.

use super::config::ClockConfig;
use super::line::{Line, Sight};
use crate::onset::math;
use crate::time::Instant;

/// Arrivals in a block, of which the earliest counts.
const BLOCK: u8 = 8;
/// Arrivals over which the scatter is averaged.
const AVERAGED: u32 = 64;
/// Changes before which at least the presumed scatter is expected.
const PRESUMED: u32 = 8;

/// What feeds the clock.
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
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Mean {
    value_16: u64,
    count: u32,
}

impl Mean {
    const NONE: Self = Self {
        value_16: 0,
        count: 0,
    };

    fn add(&mut self, size_16: u64) {
        self.count = (self.count + 1).min(AVERAGED);
        let apart = size_16.abs_diff(self.value_16);
        // A wide division costs more than all the rest, and is hardly ever needed: 64 is a shift.
        let share = if self.count == AVERAGED {
            apart >> AVERAGED.ilog2()
        } else {
            math::quotient(apart, self.count)
        };
        // Sizes are below 2^48.
        if size_16 < self.value_16 {
            self.value_16 -= share;
        } else {
            self.value_16 += share;
        }
    }

    /// What the mean is at most as far as so few sizes can tell: some 6/n more, until it fades.
    fn cautious_16(&self) -> u64 {
        let few = (AVERAGED - self.count.min(AVERAGED)) / 10;
        if few == 0 {
            return self.value_16;
        }
        self.value_16 + math::quotient(self.value_16 * u64::from(few), self.count)
    }
}

/// Mean change from one residual to the next: no offset and no slow change adds to it.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Change {
    before_16: i64,
    primed: bool,
    mean: Mean,
}

impl Change {
    /// Before the first residual.
    pub(super) const NONE: Self = Self {
        before_16: 0,
        primed: false,
        mean: Mean::NONE,
    };

    /// A residual, ticks with 32 binary places.
    fn add(&mut self, residual_32: i64) {
        let value_16 = residual_32 >> 16;
        if self.primed {
            self.mean.add(value_16.abs_diff(self.before_16));
        }
        self.primed = true;
        self.before_16 = value_16;
    }

    /// Mean size of the scatter of all arrivals, whatever the line makes of them: 3/4 of the mean
    /// change, which is √2 times as large. Before enough were seen at least `presumed_16`.
    pub(super) fn scatter_16(&self, presumed_16: u64) -> u64 {
        let scatter = self.mean.value_16 - self.mean.value_16 / 4;
        if self.mean.count < PRESUMED {
            scatter.max(presumed_16)
        } else {
            scatter
        }
    }
}

/// A line and the size of the residuals that fed it. What the line lags behind adds to them.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Path {
    pub(super) line: Line,
    fed: Mean,
    pub(super) change: Change,
}

impl Path {
    pub(super) const fn new(line: Line) -> Self {
        Self {
            line,
            fed: Mean::NONE,
            change: Change::NONE,
        }
    }

    /// Takes in a later slot. The first of a line tells its slope, and is no scatter.
    pub(super) fn feed(&mut self, config: &ClockConfig, seen: &Sight) {
        if !self.line.is_new() {
            self.fed.add(seen.residual_32.unsigned_abs() >> 16);
            self.change.add(seen.residual_32);
        }
        self.line.update(config, seen);
    }

    /// Residuals counted, up to what is averaged.
    pub(super) fn fed(&self) -> u32 {
        self.fed.count
    }

    /// What was seen so far says nothing of what comes.
    pub(super) fn distrust(&mut self) {
        self.fed = Mean::NONE;
    }

    /// How far scatter moves the line at its own slot, at most, 1/256 ticks.
    pub(super) fn noise_256(&self, config: &ClockConfig) -> u64 {
        (self.line.noise_16(config, self.fed.cautious_16()) >> 8) + 1
    }
}

/// The earliest arrival of a block: least residual, ticks with 32 binary places.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Block {
    count: u8,
    least_32: i64,
    slot: u64,
    arrival: Instant,
}

impl Block {
    /// Before the first arrival.
    pub(super) const NONE: Self = Self {
        count: 0,
        least_32: 0,
        slot: 0,
        arrival: Instant::from_ticks(0),
    };

    /// A further arrival. Slot and instant of the earliest, where a block has ended with it.
    pub(super) fn add(
        &mut self,
        slot: u64,
        arrival: Instant,
        residual_32: i64,
    ) -> Option<(u64, Instant)> {
        if self.count == 0 || residual_32 < self.least_32 {
            self.least_32 = residual_32;
            self.slot = slot;
            self.arrival = arrival;
        }
        self.count += 1;
        let ended = self.count >= BLOCK;
        if ended {
            self.count = 0;
        }
        ended.then_some((self.slot, self.arrival))
    }
}
