//! How good the air is, and how often READY will fall on it.
//!
//! A beat is lost or heard. From the share of lost beats `p` and of first losses `f`, the chance
//! that a loss goes on is `1 − f/p`; READY falls where `K` beats in a row are lost, so
//!
//! ```text
//! falls a beat = f · (1 − f/p)^(K−1)        K = dead / beat
//! ```
//!
//! Exact for losses whose course forgets all but the beat before (Gilbert-Elliott channel at the
//! beats, textbook). Two memories: 2^16 beats judge the links that are nearly good enough, 2^11
//! beats find within seconds one that has become far too bad.

use super::config::LinkConfig;
use crate::frame::Mark;
use crate::onset::math;

/// How good the air is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Grade {
    /// READY will fall more than once an hour, or that is not known yet.
    Poor,
    /// Less than once an hour.
    Fair,
    /// Less than once in a hundred hours.
    Good,
}

/// A share of one, Q32.
const ONE: i64 = 1 << 32;
/// log2 of falls an hour, Q16, from which on a link is not good and not fair.
const FAIR_16: i32 = -435_412;
const POOR_16: i32 = 0;
/// Better by this before a grade improves: a quarter, log2 Q16.
const BETTER_16: i32 = 2 << 16;
/// The short memory speaks where it has seen so many first losses, and of so many falls an hour.
const EVIDENCE: i64 = 28;
const FAR_16: i32 = 3 << 16;

const LONG_BITS: u32 = 16;
const SHORT_BITS: u32 = 11;

/// Lost beats with a fading memory of 2^`bits` beats.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Memory {
    /// Shares of lost beats and of first losses, Q32.
    lost: i64,
    first: i64,
    /// Beats seen, up to the memory.
    beats: u32,
    bits: u32,
}

impl Memory {
    const fn new(bits: u32) -> Self {
        Self {
            lost: 0,
            first: 0,
            beats: 1,
            bits,
        }
    }

    /// So many beats, of which the first `lost` were lost in a row.
    fn beats(&mut self, beats: u16, lost: u16) {
        self.beats = (self.beats + u32::from(beats)).min(1 << self.bits);
        self.lost = self.faded(self.lost, beats, lost);
        self.first = self.faded(self.first, beats, u16::from(lost > 0));
    }

    /// A share after `new` beats of which so many count. At most 2^14 of them.
    fn faded(&self, share: i64, new: u16, counted: u16) -> i64 {
        let (up, down) = (i64::from(counted) * ONE, i64::from(new) * share);
        let change = math::quotient(up.abs_diff(down), self.beats) as i64;
        (share + if up < down { -change } else { change }).clamp(0, ONE)
    }

    /// log2 of the falls an hour that this leads to, Q16. Three more losses, of which one goes on,
    /// stand for what was not seen: an empty record is not a perfect one.
    fn falls_16(&self, config: &LinkConfig) -> i32 {
        let unseen = math::quotient(ONE as u64, self.beats) as i64;
        let stays = (self.lost - self.first).max(0) + unseen;
        let stay_16 = log2_16(stays) - log2_16(self.lost + 3 * unseen);
        let in_a_row = i32::from(config.fall_beats().saturating_sub(1));
        let first_16 = log2_16(self.first + 2 * unseen) - (32 << 16);
        first_16
            .saturating_add(stay_16.saturating_mul(in_a_row))
            .saturating_add(config.beats_per_h_log2_16())
    }

    /// First losses within the memory.
    fn seen(&self) -> i64 {
        (self.first * i64::from(self.beats)) >> 32
    }
}

/// Grades a link by the slots of the frames that came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Grader {
    long: Memory,
    short: Memory,
    grade: Grade,
    /// Beats for which a better grade would have held.
    calm: u32,
    newest: Option<Mark>,
    /// Slots since the last whole beat.
    slots: u16,
}

impl Grader {
    /// Nothing heard yet: poor.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            long: Memory::new(LONG_BITS),
            short: Memory::new(SHORT_BITS),
            grade: Grade::Poor,
            calm: 0,
            newest: None,
            slots: 0,
        }
    }

    /// A genuine frame came, the newest so far. Frames that are not newer change nothing; those
    /// after a start of the probe begin a new row.
    pub fn heard(&mut self, config: &LinkConfig, who: Mark) {
        let before = self.newest.replace(who);
        let Some(before) = before.filter(|before| before.boot == who.boot) else {
            self.slots = 0;
            return;
        };
        if who.slot <= before.slot {
            self.newest = Some(before);
            return;
        }
        let beat = config.plan().beat_slots.max(1);
        // A silence that let READY fall counts as one fall, however long it was.
        let most = u64::from(config.fall_beats()) * u64::from(beat);
        let gap = (who.slot - before.slot).min(most.max(1)).min(1 << 14) as u16;
        let slots = self.slots.saturating_add(gap);
        let beats = slots.checked_div(beat).unwrap_or(0);
        self.slots = slots.checked_rem(beat).unwrap_or(0);
        let lost = (gap - 1).checked_div(beat).unwrap_or(0).min(beats);
        if beats > 0 {
            self.long.beats(beats, lost);
            self.short.beats(beats, lost);
            self.judge(config, beats, lost);
        }
    }

    /// The probe stands by: what comes after it begins a new row.
    pub fn rest(&mut self) {
        self.newest = None;
    }

    fn judge(&mut self, config: &LinkConfig, beats: u16, lost: u16) {
        let falls_16 = self.long.falls_16(config);
        let far = self.short.seen() >= EVIDENCE && self.short.falls_16(config) > FAR_16;
        // Seven eighths of a fall is a fall that luck prevented.
        let nearly = u32::from(lost) * 8 >= u32::from(config.fall_beats()) * 7;
        if far || nearly {
            (self.grade, self.calm) = (Grade::Poor, 0);
            return;
        }
        let worse = of(falls_16);
        if worse < self.grade {
            (self.grade, self.calm) = (worse, 0);
            return;
        }
        if of(falls_16.saturating_add(BETTER_16)) > self.grade {
            self.calm = self.calm.saturating_add(u32::from(beats));
        } else {
            self.calm = 0;
        }
        if self.calm >= config.calm_beats() {
            self.calm = 0;
            self.grade = match self.grade {
                Grade::Poor => Grade::Fair,
                _ => Grade::Good,
            };
        }
    }

    /// The grade.
    #[must_use]
    pub const fn grade(&self) -> Grade {
        self.grade
    }

    /// Falls of READY to be expected in 1000 hours by the long memory, at most 2^31.
    #[must_use]
    pub fn falls_per_1000_h(&self, config: &LinkConfig) -> u32 {
        // log2(1000), Q16.
        let log_16 = self.long.falls_16(config).saturating_add(653_117);
        let (whole, part) = (log_16 >> 16, (log_16 & 0xFFFF) as u64);
        // 2^x is about 1 + x·(0.656 + 0.344·x), the inverse of the logarithm below within 1 %.
        let mantissa = (1 << 16) + ((part * (42_992 + ((22_544 * part) >> 16))) >> 16);
        match whole {
            31.. => 1 << 31,
            0..=30 => ((mantissa << whole) >> 16) as u32,
            _ => (mantissa.checked_shr((16 - whole.max(-40)) as u32)).unwrap_or(0) as u32,
        }
    }
}

impl Default for Grader {
    fn default() -> Self {
        Self::new()
    }
}

const fn of(falls_16: i32) -> Grade {
    if falls_16 > POOR_16 {
        Grade::Poor
    } else if falls_16 > FAIR_16 {
        Grade::Fair
    } else {
        Grade::Good
    }
}

/// log2 of `x`, Q16, within 0.01; that of 1 for what is below.
pub(super) const fn log2_16(x: i64) -> i32 {
    let x = if x < 1 { 1 } else { x as u64 };
    let whole = x.ilog2();
    // The mantissa less 1, Q16.
    let part = (((x << (63 - whole)) >> 47) & 0xFFFF) as u32;
    // log2(1 + x) is about x + 0.344·x·(1 − x).
    let bow = (22_544 * ((part * (0x1_0000 - part)) >> 16)) >> 16;
    ((whole as i32) << 16) + (part + bow) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawn;
    use crate::link::LinkPlan;
    use crate::time::TickRate;

    fn config() -> LinkConfig {
        LinkConfig::new(TickRate::from_hz(16_000_000).unwrap(), LinkPlan::INFRARED).unwrap()
    }

    #[test]
    fn the_logarithm_is_that_of_the_processor() {
        for k in 0..4_000_i64 {
            let x = 1 + k * k * k * 61;
            let off = f64::from(log2_16(x)) / 65_536.0 - (x as f64).log2();
            assert!(off.abs() < 0.01, "{x}: {off}");
        }
        assert_eq!(log2_16(-5), 0);
        assert!(log2_16(i64::MAX) > 62 << 16);
    }

    #[test]
    fn no_slots_lead_astray() {
        let mut next = drawn::numbers(5);
        let (config, mut grader) = (config(), Grader::new());
        for _ in 0..20_000 {
            let who = Mark {
                boot: (next() % 3) as u32,
                slot: next() >> (next() % 64),
            };
            grader.heard(&config, who);
            let _ = grader.falls_per_1000_h(&config);
            assert!((0..=ONE).contains(&grader.long.lost));
        }
    }
}
