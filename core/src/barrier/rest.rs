//! The rest level: how much light there is with no blade near, how it scatters, where it drifts.
//!
//! Only means of whole blocks (some 40 ms) are looked at. A block within the gate, at most 0.16 %
//! below the rest level, or above it, moves the rest level by a share; a block 0.2 % below is
//! taken for an approaching blade and moves nothing. In between the share fades, so that neither
//! noise nor the chance of where blocks begin decides over a whole step. So a slow approach drags
//! the level by at most what it takes off within the gate, and film, which is slower, is
//! followed. The drift that film has is learned over minutes and goes on while a blade hides it.

use super::config::{BarrierConfig, DARKEST, PARTS};
use crate::flags::Flags;
use crate::onset::math;

/// Blocks until the rest level is known: a third of a second.
const SETTLES: u32 = 8;
/// Blocks over which the drift of film is learned, as a power of two: some six minutes.
const DRIFT_BITS: u32 = 13;
/// More light than the rest level by 1/8: it is learned anew.
const BRIGHTER_BITS: u32 = 3;
/// Swing of the parts of a block, as a share of the rest level, that counts as flicker: 1/128.
const FLICKER_BITS: u32 = 7;
/// Blocks in a row that must (or must not) flicker.
const FLICKERS: u8 = 4;
/// Blocks without any change of a single count: a second.
const FROZEN: u8 = 25;
/// One sample in so many at full scale makes the light saturated.
const SATURATED_BITS: u32 = 6;

/// Light below the gate that moves by less than this part of it stands still: 0.025 %. A blade at
/// 0.1 mm/min takes off more than twice that in three seconds where it leaves the gate.
const STANDS: u32 = 8;
/// So long it may stand still before the rest level is not to be relied upon, and before it is
/// learned anew.
const ASTRAY_MS: u32 = 3_000;
const LEARNT_MS: u32 = 30_000;

/// How far below the rest level a block may be: 1/512, 0.2 %.
fn gate(level: u32) -> u32 {
    level >> 9
}

/// Which part of its share a block takes, 1/65536, that is `below` the rest level: all of it up
/// to 13/16 of the gate, none from the gate on.
fn weight_65536(below: u32, gate: u32) -> u32 {
    let fades = (gate >> 4) * 3;
    let left = gate.saturating_sub(below).min(fades);
    // At most 2^23 · 3/16: left · 2^8 holds.
    (left << 8).checked_div(fades).unwrap_or(0) << 8
}

/// `level` changed by a number of its 1/65536 parts, held to its range.
fn moved(level: u32, by_65536: i64) -> u32 {
    let moved = i64::from(level) + (by_65536 >> 16);
    u32::try_from(moved.max(0)).unwrap_or(u32::MAX)
}

#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Rest {
    /// Rest level, 32 bit; 0 until the first block.
    level: u32,
    /// Change of the level from block to block, 1/65536 of that.
    drift_65536: i64,
    /// Noise of one sample, 24 bit.
    noise: u32,
    /// Of the part under way: sum of light and of its changes, counts.
    sum: u32,
    changes: u32,
    samples: u32,
    before: u16,
    full: u32,
    /// Of the block under way.
    block: u32,
    lowest: u16,
    highest: u16,
    first: u16,
    part: u8,
    /// Blocks followed, up to `SETTLES` and the time constant.
    followed: u32,
    /// Blocks since the level was last followed, and those of them in which the light stood still
    /// at about `stands`.
    unfollowed: u32,
    steady: u32,
    stands: u32,
    /// A block was followed since the level was stated.
    confirmed: bool,
    /// Level when the film was last looked at, and the blocks since.
    film_level: u32,
    film_age: u32,
    /// Change of level since, ‰ of the clean level an hour.
    film_rate: i16,
    flickering: u8,
    frozen: u8,
    saturated: bool,
    /// A part has ended since something came between.
    primed: bool,
}

impl Rest {
    pub(super) fn new() -> Self {
        Self {
            level: 0,
            drift_65536: 0,
            noise: 0,
            sum: 0,
            changes: 0,
            samples: 0,
            before: 0,
            full: 0,
            block: 0,
            lowest: u16::MAX,
            highest: 0,
            first: 0,
            part: 0,
            followed: 0,
            unfollowed: 0,
            steady: 0,
            stands: 0,
            confirmed: true,
            film_level: 0,
            film_age: 0,
            film_rate: 0,
            flickering: 0,
            frozen: 0,
            saturated: false,
            primed: false,
        }
    }

    /// Starts from a level known before. Until a block has confirmed it, nothing is settled.
    pub(super) fn known(&mut self, level: u32) {
        self.level = level << 8;
        self.film_level = self.level;
        self.followed = SETTLES;
        self.confirmed = false;
    }

    /// Rest level, 24 bit.
    pub(super) fn level(&self) -> u32 {
        self.level >> 8
    }

    pub(super) fn noise(&self, config: &BarrierConfig) -> u32 {
        // No less than the steps of the converter: step/√12.
        self.noise.max((config.step() >> 8) * 74)
    }

    /// Standard uncertainty of the rest level, 24 bit: noise of a block, averaged over the time
    /// constant (share/2 of its variance), and half as much again from blocks at the end of the
    /// gate.
    pub(super) fn unsure(&self, config: &BarrierConfig) -> u32 {
        let block = u32::from(config.part_bits) + PARTS.ilog2();
        let variance = math::square(self.noise(config)) >> block;
        math::root_up(math::mul(variance, config.rest_share_65536 * 3 / 4) >> 16)
    }

    pub(super) fn film_rate(&self) -> i16 {
        self.film_rate
    }

    /// What is wrong with the light at rest.
    pub(super) fn flags(&self, config: &BarrierConfig) -> Flags {
        let mut flags = Flags::NONE;
        flags.insert_if(
            Flags::NOT_SETTLED,
            self.followed < SETTLES
                || !self.confirmed
                || self.steady > config.blocks_in_ms(ASTRAY_MS)
                || self.unfollowed > config.vouched_blocks,
        );
        flags.insert_if(Flags::DARK, self.followed > 0 && self.level() < DARKEST);
        flags.insert_if(Flags::SATURATED, self.saturated);
        flags.insert_if(Flags::FLICKER, self.flickering >= FLICKERS);
        flags.insert_if(Flags::STUCK, self.frozen >= FROZEN);
        flags.insert_if(Flags::FILM, config.is_filmed(self.level()));
        flags
    }

    /// What was gathered of the block under way is forgotten: something came between.
    pub(super) fn interrupt(&mut self) {
        self.begin_block();
        self.primed = false;
    }

    fn begin_block(&mut self) {
        self.sum = 0;
        self.changes = 0;
        self.samples = 0;
        self.full = 0;
        self.block = 0;
        self.part = 0;
        self.lowest = u16::MAX;
        self.highest = 0;
    }

    /// A sample (counts) with nothing near. Whether a part has ended with it.
    #[inline]
    pub(super) fn sample(&mut self, config: &BarrierConfig, mut counts: u16) -> bool {
        if counts >= config.full_counts {
            counts = config.full_counts;
            self.full += 1;
        }
        self.sum += u32::from(counts);
        self.changes += u32::from(counts.abs_diff(self.before));
        self.before = counts;
        self.samples += 1;
        self.samples == config.part
    }

    /// Samples of the part under way.
    pub(super) fn samples(&self) -> u32 {
        self.samples
    }

    /// The end of a part. Whether the level may have changed.
    pub(super) fn end_part(&mut self, config: &BarrierConfig) -> bool {
        let bits = u32::from(config.part_bits);
        // At most 2^16 samples, 16 bit each now: sums hold in 32.
        self.sum <<= config.up_to_16();
        self.changes <<= config.up_to_16();
        let mean = (self.sum >> bits) as u16;
        if self.part == 0 {
            self.first = mean;
        }
        self.lowest = self.lowest.min(mean);
        self.highest = self.highest.max(mean);
        self.block += self.sum >> bits.saturating_sub(8) << 8_u32.saturating_sub(bits);
        // The first change after something came between was from that.
        if self.primed {
            self.scatter(bits);
        }
        self.primed = true;
        self.part += 1;
        let ended = u32::from(self.part) == PARTS;
        if ended {
            self.end_block(config, mean);
            self.begin_block();
        }
        self.sum = 0;
        self.changes = 0;
        self.samples = 0;
        ended
    }

    /// The noise of one sample out of the mean change from one to the next: for white noise a
    /// change is 2/√π of its standard deviation on average.
    fn scatter(&mut self, bits: u32) {
        // One change a sample; √π/2 in 1/256 is 227.
        let seen = ((u64::from(self.changes) * 227) >> bits) as u32;
        self.frozen = if self.changes == 0 { self.frozen } else { 0 };
        if self.noise == 0 {
            self.noise = seen;
        }
        self.noise = self.noise - (self.noise >> 5) + (seen >> 5);
    }

    fn end_block(&mut self, config: &BarrierConfig, last: u16) {
        // The block holds sixteen means in 1/256.
        let mean = self.block << 4;
        self.frozen = if self.lowest == self.highest {
            self.frozen.saturating_add(1)
        } else {
            0
        };
        self.saturated = self.full << SATURATED_BITS >= PARTS << config.part_bits;
        self.look_for_flicker(last);
        if self.followed == 0 {
            self.level = mean;
            self.film_level = mean;
        }
        if mean > self.level.saturating_add(self.level >> BRIGHTER_BITS) {
            self.followed = 0;
            self.level = mean;
            self.drift_65536 = 0;
        }
        // Film goes on whether or not it can be seen.
        self.level = moved(self.level, self.drift_65536);
        let settling = self.followed < SETTLES;
        let below = self.level.saturating_sub(mean);
        let weight = if settling {
            1 << 16
        } else {
            weight_65536(below, gate(self.level))
        };
        if weight > 0 {
            self.follow(config, mean, weight);
            self.unfollowed = 0;
            self.steady = 0;
            self.confirmed = true;
        } else {
            self.unfollowed = self.unfollowed.saturating_add(1);
            self.stand(config, mean);
        }
        self.watch_film(config);
    }

    /// A block below the gate. An approaching blade goes on; light that stands still there has
    /// lost something else, and after a while it is the rest level.
    fn stand(&mut self, config: &BarrierConfig, mean: u32) {
        if mean.abs_diff(self.stands) > gate(self.level) / STANDS {
            self.stands = mean;
            self.steady = 0;
            return;
        }
        self.steady = self.steady.saturating_add(1);
        if self.steady > config.blocks_in_ms(LEARNT_MS) {
            self.followed = 0;
            self.steady = 0;
            self.drift_65536 = 0;
        }
    }

    /// Level and drift take their share of what they missed: a loop of second order, which lags
    /// behind no steady film.
    fn follow(&mut self, config: &BarrierConfig, mean: u32, weight_65536: u32) {
        let settling = self.followed < SETTLES;
        // The first blocks are averaged, later ones at the time constant.
        let average = 65_536_u32
            .checked_div(self.followed.saturating_add(1))
            .unwrap_or(0);
        let share = average.max(config.rest_share_65536);
        let share = (u64::from(share) * u64::from(weight_65536)) >> 16;
        let step = (i64::from(mean) - i64::from(self.level)) * share as i64;
        self.level = moved(self.level, step);
        self.followed = self.followed.saturating_add(1);
        if !settling {
            // No faster than what alone would leave the gate within a time constant.
            let most = i64::from(gate(self.level)) * i64::from(config.rest_share_65536);
            self.drift_65536 = (self.drift_65536 + (step >> DRIFT_BITS))
                .max(-most)
                .min(most);
        }
    }

    /// Flicker swings within a block and comes back; an approaching blade only goes one way.
    fn look_for_flicker(&mut self, last: u16) {
        let swing = u32::from(self.highest.saturating_sub(self.lowest));
        let gone = u32::from(self.first.abs_diff(last));
        let noise = self.noise >> 8;
        if swing > self.level >> (16 + FLICKER_BITS) && swing > 2 * gone && swing > noise {
            self.flickering = self.flickering.saturating_add(1);
        } else {
            self.flickering = self.flickering.min(2 * FLICKERS).saturating_sub(1);
        }
    }

    /// Every ten minutes: how fast the light goes.
    fn watch_film(&mut self, config: &BarrierConfig) {
        if config.clean == 0 {
            return;
        }
        self.film_age = self.film_age.saturating_add(1);
        if self.film_age < config.blocks_in_ms(600_000) {
            return;
        }
        let lost = i64::from(self.film_level) - i64::from(self.level);
        let rate = (lost * 6_000)
            .checked_div(i64::from(config.clean) << 8)
            .unwrap_or(0);
        self.film_rate = rate.clamp(i64::from(i16::MIN), i64::from(i16::MAX)) as i16;
        self.film_level = self.level;
        self.film_age = 0;
    }
}
