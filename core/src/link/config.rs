//! What a user says of a link, checked once against what keeps its promises.

use super::grade::log2_16;
use crate::time::TickRate;

/// Most frames that may be asked for to join or to re-arm.
const MOST_FRAMES: u8 = 100;
/// Bad tags and strangers that a link remembers at most.
pub(crate) const BAD_TAGS: usize = 8;
pub(crate) const STRANGERS: usize = 4;
/// What a clock slow by 3 % makes of a reserve of slots, %.
const SLOW_PERCENT: u64 = 97;

/// A better grade must have held for so long.
const CALM_NS: u64 = 10_000_000_000;
const HOUR_NS: i64 = 3_600_000_000_000;

/// A link as planned, in nanoseconds and slots. Start from [`INFRARED`](Self::INFRARED) or
/// [`RADIO`](Self::RADIO) and change what differs; [`LinkConfig::new`] refuses what breaks a
/// promise and names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct LinkPlan {
    /// T: from one slot to the next.
    pub slot_ns: u32,
    /// H: from one beat to the next without an edge, slots.
    pub beat_slots: u16,
    /// D: from contact to the edge of the output.
    pub delay_ns: u32,
    /// Silence after which READY falls.
    pub dead_ns: u32,
    /// U: greatest bound of a time that may keep READY.
    pub bound_ns: u32,
    /// How long before the begin of its slot the contact that a frame tells is looked at, and how
    /// long before the first edge that showed it an onset may lie, both together at most.
    pub blind_ns: u32,
    /// Least time from edge to edge that the probe sends.
    pub apart_ns: u32,
    /// Longest time from one poll of the receiver to the next that is not late.
    pub poll_ns: u32,
    /// Silence of a probe after its start.
    pub quiet_ns: u32,
    /// Frames heard before the link lives.
    pub join_frames: u8,
    /// Frames with contact open before a re-arm is granted.
    pub open_frames: u8,
    /// From one rise of the re-arm wire to the next that counts.
    pub lock_ns: u64,
    /// How long bad tags and strangers are remembered.
    pub watch_ns: u64,
    /// Bad tags in that time that stop the line, 1 to 8.
    pub bad_tags: u8,
    /// Frames of a second sender in that time that stop the line, 1 to 4.
    pub strangers: u8,
    /// Slots kept free below a stored mark.
    pub guard_slots: u32,
    /// Slots left at which the next mark is asked for.
    pub lead_slots: u32,
    /// Slots ahead of the present one that a mark reserves.
    pub reserve_slots: u32,
    /// Least mean time from write to write that the memory bears; 0: any.
    pub write_apart_ns: u64,
}

impl LinkPlan {
    /// Longest age a frame can tell, ns.
    pub const AGE_RANGE_NS: u64 = 131_071_750;
    /// Edge numbers, less the one that stands for none.
    pub const NUMBERS: u64 = 31;

    /// Infrared with slots of 1 ms: contact to output in 48 ms, for losses of up to two slots.
    pub const INFRARED: Self = Self {
        slot_ns: 1_000_000,
        beat_slots: 5,
        delay_ns: 48_000_000,
        dead_ns: 42_000_000,
        bound_ns: 4_000,
        blind_ns: 1_000_000,
        apart_ns: 1_500_000,
        poll_ns: 100_000,
        quiet_ns: 250_000_000,
        join_frames: 8,
        open_frames: 8,
        lock_ns: 1_000_000_000,
        watch_ns: 10_000_000_000,
        bad_tags: 8,
        strangers: 3,
        guard_slots: 45,
        lead_slots: 542,
        reserve_slots: 63_000,
        write_apart_ns: 60_000_000_000,
    };

    /// Radio with slots of 2 ms: contact to output in 64 ms.
    pub const RADIO: Self = Self {
        slot_ns: 2_000_000,
        beat_slots: 5,
        delay_ns: 64_000_000,
        dead_ns: 60_000_000,
        apart_ns: 2_000_000,
        guard_slots: 33,
        lead_slots: 271,
        reserve_slots: 31_500,
        ..Self::INFRARED
    };
}

/// The rule that a plan breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LinkConfigError {
    /// A slot outside 0.1 to 100 ms, or one that is shorter than a tick.
    Slot,
    /// Silence must be noticed before the delay is over, or a late touch could meet READY.
    DeadNotBelowDelay,
    /// Edges nearer than twice the bound: a release could overtake its touch.
    EdgesTooClose,
    /// 31 edges fit into one silence: as many as numbers look like none.
    EdgesOutnumberNumbers,
    /// A silence longer than an age can tell.
    AgeRange,
    /// The bound is above half a slot: slots could be taken for each other.
    Bound,
    /// Two beats do not fit into the silence allowed.
    Beat,
    /// The probe's silence after a start is no longer than the silence allowed.
    Quiet,
    /// Fewer than two frames to join, none to re-arm, or more than 100.
    Frames,
    /// Not 1 to 8 bad tags or not 1 to 4 strangers.
    Tallies,
    /// The guard does not cover what a receiver may have accepted without its mark.
    Guard,
    /// The lead is not above the guard.
    Lead,
    /// A reserve that is used up sooner than the memory bears a write.
    Reserve,
    /// More than a slot from poll to poll: a touch could leave late, and not be told so.
    Poll,
    /// Bad tags and strangers are not remembered, or re-arms are not held apart.
    Memory,
}

impl core::fmt::Display for LinkConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Slot => "slot is not within 0.1 to 100 ms of whole ticks",
            Self::DeadNotBelowDelay => {
                "dead + blind + 2 bound is not below delay: a late touch could meet READY"
            }
            Self::EdgesTooClose => "apart is not above 2 bound: a release could overtake its touch",
            Self::EdgesOutnumberNumbers => {
                "31 apart is not above dead + 2 bound: a silence could hide 32 edges"
            }
            Self::AgeRange => "dead + 2 bound is not below 131 ms, the longest age a frame tells",
            Self::Bound => "bound is above half a slot",
            Self::Beat => "beat is 0 or two beats are longer than dead",
            Self::Quiet => "quiet is not above dead + 2 bound: a restart could go unnoticed",
            Self::Frames => "join is not 2 to 100 frames, or open is not 1 to 100",
            Self::Tallies => "bad tags are not 1 to 8, or strangers are not 1 to 4",
            Self::Guard => "guard is shorter than dead + 2 bound + a slot",
            Self::Lead => "lead is not above guard and below reserve",
            Self::Poll => "poll is above a slot: a touch could leave late untold",
            Self::Memory => "watch or lock is 0",
            Self::Reserve => "reserve less lead is used up sooner than the memory bears a write",
        })
    }
}

impl core::error::Error for LinkConfigError {}

/// A plan that keeps its promises, in ticks of the receiver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LinkConfig {
    plan: LinkPlan,
    rate: TickRate,
    pub(crate) delay: u64,
    pub(crate) dead: u64,
    pub(crate) bound: u32,
    pub(crate) poll: u64,
    pub(crate) lock: u64,
    pub(crate) watch: u64,
    /// Beats lost in a row that let READY fall.
    fall_beats: u16,
    /// Beats in ten seconds.
    calm_beats: u16,
    /// log2 of the beats in an hour, Q16.
    beats_per_h_log2_16: i32,
}

impl LinkConfig {
    /// Checks `plan` for a receiver that counts ticks of `rate`. Take 8 MHz or more: half a tick
    /// adds to every bound.
    ///
    /// # Errors
    /// The first broken rule, [`LinkConfigError`].
    pub const fn new(rate: TickRate, plan: LinkPlan) -> Result<Self, LinkConfigError> {
        use LinkConfigError as E;
        let slot = plan.slot_ns as u64;
        let (dead, bound) = (plan.dead_ns as u64, plan.bound_ns as u64);
        let unseen = dead + 2 * bound;
        let slot_ticks = rate.ticks_from_ns(slot);
        if slot < 100_000 || slot > 100_000_000 || slot_ticks == 0 {
            return Err(E::Slot);
        }
        if unseen + plan.blind_ns as u64 >= plan.delay_ns as u64 {
            return Err(E::DeadNotBelowDelay);
        }
        if plan.apart_ns as u64 <= 2 * bound {
            return Err(E::EdgesTooClose);
        }
        if LinkPlan::NUMBERS * plan.apart_ns as u64 <= unseen {
            return Err(E::EdgesOutnumberNumbers);
        }
        if unseen >= LinkPlan::AGE_RANGE_NS {
            return Err(E::AgeRange);
        }
        if 2 * bound > slot {
            return Err(E::Bound);
        }
        if plan.beat_slots == 0 || 2 * plan.beat_slots as u64 * slot > dead {
            return Err(E::Beat);
        }
        if plan.quiet_ns as u64 <= unseen {
            return Err(E::Quiet);
        }
        if plan.join_frames < 2
            || plan.open_frames == 0
            || plan.join_frames > MOST_FRAMES
            || plan.open_frames > MOST_FRAMES
        {
            return Err(E::Frames);
        }
        if plan.bad_tags == 0
            || plan.bad_tags as usize > BAD_TAGS
            || plan.strangers == 0
            || plan.strangers as usize > STRANGERS
        {
            return Err(E::Tallies);
        }
        if plan.guard_slots as u64 * slot < unseen + slot {
            return Err(E::Guard);
        }
        if plan.lead_slots <= plan.guard_slots || plan.reserve_slots <= plan.lead_slots {
            return Err(E::Lead);
        }
        let used_up = (plan.reserve_slots - plan.lead_slots) as u64 * slot;
        if used_up / 100 * SLOW_PERCENT < plan.write_apart_ns {
            return Err(E::Reserve);
        }
        if plan.poll_ns > plan.slot_ns {
            return Err(E::Poll);
        }
        if plan.lock_ns == 0 || plan.watch_ns == 0 {
            return Err(E::Memory);
        }
        // From 0.1 ms up, and two of them in `dead` or fewer than 2^16.
        let beat_ns = plan.beat_slots as u64 * slot;
        let calm = CALM_NS / beat_ns;
        Ok(Self {
            fall_beats: (dead / beat_ns) as u16,
            calm_beats: if calm == 0 { 1 } else { calm as u16 },
            beats_per_h_log2_16: log2_16(HOUR_NS) - log2_16(beat_ns as i64),
            plan,
            rate,
            delay: rate.ticks_from_ns(plan.delay_ns as u64),
            dead: rate.ticks_from_ns(dead),
            bound: rate.ticks_from_ns(bound) as u32,
            poll: rate.ticks_from_ns(plan.poll_ns as u64),
            lock: rate.ticks_from_ns(plan.lock_ns),
            watch: rate.ticks_from_ns(plan.watch_ns),
        })
    }

    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &LinkPlan {
        &self.plan
    }

    pub(super) const fn fall_beats(&self) -> u16 {
        self.fall_beats
    }

    pub(super) const fn calm_beats(&self) -> u16 {
        self.calm_beats
    }

    pub(super) const fn beats_per_h_log2_16(&self) -> i32 {
        self.beats_per_h_log2_16
    }

    /// The receiver's ticks.
    #[must_use]
    pub const fn rate(&self) -> TickRate {
        self.rate
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(change: impl FnOnce(&mut LinkPlan)) -> Option<LinkConfigError> {
        let mut plan = LinkPlan::INFRARED;
        change(&mut plan);
        LinkConfig::new(TickRate::from_hz(16_000_000).unwrap(), plan).err()
    }

    #[test]
    fn the_plans_given_hold_and_every_rule_has_its_name() {
        use LinkConfigError as E;
        assert_eq!(refused(|_| {}), None);
        assert_eq!(refused(|plan| *plan = LinkPlan::RADIO), None);
        assert_eq!(refused(|plan| plan.slot_ns = 0), Some(E::Slot));
        assert_eq!(
            refused(|plan| plan.dead_ns = 46_992_000),
            Some(E::DeadNotBelowDelay)
        );
        let nearly = |plan: &mut LinkPlan| {
            plan.dead_ns = 46_991_999;
            plan.apart_ns = 2_000_000;
        };
        assert_eq!(refused(nearly), Some(E::Guard));
        assert_eq!(
            refused(|plan| plan.apart_ns = 8_000),
            Some(E::EdgesTooClose)
        );
        assert_eq!(
            refused(|plan| plan.apart_ns = 1_355_000),
            Some(E::EdgesOutnumberNumbers)
        );
        assert_eq!(
            refused(|plan| plan.blind_ns = 5_992_000),
            Some(E::DeadNotBelowDelay)
        );
        assert_eq!(refused(|plan| plan.poll_ns = 1_000_001), Some(E::Poll));
        assert_eq!(refused(|plan| plan.watch_ns = 0), Some(E::Memory));
        assert_eq!(refused(|plan| plan.lock_ns = 0), Some(E::Memory));
        let long = |plan: &mut LinkPlan| {
            plan.dead_ns = 131_063_750;
            plan.delay_ns = 140_000_000;
            plan.apart_ns = 5_000_000;
        };
        assert_eq!(refused(long), Some(E::AgeRange));
        assert_eq!(
            refused(|plan| {
                plan.bound_ns = 500_001;
                plan.delay_ns = 60_000_000;
                plan.apart_ns = 2_000_000;
            }),
            Some(E::Bound)
        );
        assert_eq!(refused(|plan| plan.beat_slots = 22), Some(E::Beat));
        assert_eq!(refused(|plan| plan.beat_slots = 0), Some(E::Beat));
        assert_eq!(refused(|plan| plan.quiet_ns = 42_008_000), Some(E::Quiet));
        assert_eq!(refused(|plan| plan.join_frames = 1), Some(E::Frames));
        assert_eq!(refused(|plan| plan.open_frames = 0), Some(E::Frames));
        assert_eq!(refused(|plan| plan.bad_tags = 9), Some(E::Tallies));
        assert_eq!(refused(|plan| plan.strangers = 0), Some(E::Tallies));
        assert_eq!(refused(|plan| plan.guard_slots = 43), Some(E::Guard));
        assert_eq!(refused(|plan| plan.lead_slots = 45), Some(E::Lead));
        assert_eq!(refused(|plan| plan.lead_slots = 63_000), Some(E::Lead));
        assert_eq!(
            refused(|plan| plan.reserve_slots = 62_000),
            Some(E::Reserve)
        );
    }
}
