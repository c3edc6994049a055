//! What a user says of a link, checked once against what keeps its promises.
//!
//! | promise | what keeps it | refused as |
//! |---|---|---|
//! | no touch is late while READY is up | silence is noticed before the delay is over | [`DeadNotBelowDelay`](LinkConfigError::DeadNotBelowDelay) |
//! | a time is told with its bound, in order | edges farther apart than two bounds | [`EdgesTooClose`](LinkConfigError::EdgesTooClose) |
//! | no edge is missed in silence | fewer edges in a silence than numbers | [`EdgesOutnumberNumbers`](LinkConfigError::EdgesOutnumberNumbers) |
//! | an edge is told once | what is unseen is younger than an age can tell | [`AgeRange`](LinkConfigError::AgeRange) |
//! | slots are told apart | a bound below half a slot | [`Bound`](LinkConfigError::Bound) |
//! | READY comes on a perfect channel | beats, frames, bound and poll that can be met | [`Beat`](LinkConfigError::Beat), [`Frames`](LinkConfigError::Frames), [`BoundBelowTicks`](LinkConfigError::BoundBelowTicks), [`Poll`](LinkConfigError::Poll) |
//! | no other start of the probe while READY is up | a silence after the start | [`Quiet`](LinkConfigError::Quiet) |
//! | nothing counts twice over losses of power | guard, lead | [`Guard`](LinkConfigError::Guard), [`Lead`](LinkConfigError::Lead) |
//! | the memory is not worn out | a reserve that lasts | [`Reserve`](LinkConfigError::Reserve) |
//! | flood and second sender stop the line | tallies that can be reached | [`Tallies`](LinkConfigError::Tallies), [`Memory`](LinkConfigError::Memory) |
//! | a re-arm is a deed | a lock, and open contact seen | [`Memory`](LinkConfigError::Memory), [`Frames`](LinkConfigError::Frames) |
//!
//! All that depends on the probe's clock as well is checked by
//! [`ReceiverConfig`](crate::receiver::ReceiverConfig).

use super::grade::log2_16;
use crate::time::TickRate;

/// Greatest number of a probe: 12 bits.
pub(crate) const MOST_ID: u16 = 0xFFF;
/// Most frames that may be asked for to join or to re-arm.
const MOST_FRAMES: u8 = 100;
/// The step in which ages are told, ns: a slot is a whole number of them.
const STEP_NS: u64 = 125;
/// Fewest and most ticks in a slot that a clock follows.
const SLOT_TICKS: (u64, u64) = (256, 1 << 26);
/// Longest lock and memory, ns.
const HOUR: u64 = HOUR_NS as u64;
/// Bad tags and strangers that a link remembers at most.
pub(crate) const BAD_TAGS: usize = 8;
pub(crate) const STRANGERS: usize = 4;
/// What is left of a reserve of slots that a clock fast by 3 % uses up, %.
const FAST_PERCENT: u64 = 97;

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

    /// How long the probe may have gone unseen with READY up, ns.
    pub(crate) const fn unseen_ns(&self) -> u64 {
        self.dead_ns as u64 + 2 * self.bound_ns as u64
    }

    /// Checks what does not depend on the tick of either side. [`LinkConfig::new`] and
    /// [`HeadConfig::new`](crate::head::HeadConfig::new) do so.
    ///
    /// # Errors
    /// The first broken rule, [`LinkConfigError`].
    pub const fn check(&self) -> Result<(), LinkConfigError> {
        use LinkConfigError as E;
        let slot = self.slot_ns as u64;
        let (dead, bound) = (self.dead_ns as u64, self.bound_ns as u64);
        let unseen = self.unseen_ns();
        if !is_slot(self.slot_ns) {
            return Err(E::Slot);
        }
        if unseen + self.blind_ns as u64 >= self.delay_ns as u64 {
            return Err(E::DeadNotBelowDelay);
        }
        if self.apart_ns as u64 <= 2 * bound {
            return Err(E::EdgesTooClose);
        }
        if Self::NUMBERS * self.apart_ns as u64 <= unseen {
            return Err(E::EdgesOutnumberNumbers);
        }
        if unseen >= Self::AGE_RANGE_NS {
            return Err(E::AgeRange);
        }
        if 2 * bound > slot {
            return Err(E::Bound);
        }
        if self.beat_slots == 0 || 2 * self.beat_slots as u64 * slot > dead {
            return Err(E::Beat);
        }
        if self.quiet_ns as u64 <= unseen {
            return Err(E::Quiet);
        }
        if self.join_frames < 2
            || self.open_frames == 0
            || self.join_frames > MOST_FRAMES
            || self.open_frames > MOST_FRAMES
        {
            return Err(E::Frames);
        }
        if self.bad_tags == 0
            || self.bad_tags as usize > BAD_TAGS
            || self.strangers == 0
            || self.strangers as usize > STRANGERS
        {
            return Err(E::Tallies);
        }
        if self.guard_slots as u64 * slot < unseen + slot {
            return Err(E::Guard);
        }
        if self.lead_slots <= self.guard_slots || self.reserve_slots <= self.lead_slots {
            return Err(E::Lead);
        }
        let used_up = (self.reserve_slots - self.lead_slots) as u64 * slot;
        if used_up / 100 * FAST_PERCENT < self.write_apart_ns {
            return Err(E::Reserve);
        }
        if self.poll_ns > self.slot_ns {
            return Err(E::Poll);
        }
        let (lock, watch) = (self.lock_ns, self.watch_ns);
        if lock == 0 || watch == 0 || lock > HOUR || watch > HOUR {
            return Err(E::Memory);
        }
        Ok(())
    }
}

/// Whether both sides can count slots of so many ns.
pub(crate) const fn is_slot(ns: u32) -> bool {
    ns >= 100_000 && ns <= 100_000_000 && ns as u64 % STEP_NS == 0
}

/// The rule that a plan breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LinkConfigError {
    /// A slot outside 0.1 to 100 ms, or not a whole number of 125 ns, the step of an age.
    Slot,
    /// Fewer than 256 or more than 2^26 ticks in a slot: no clock follows those.
    TicksPerSlot,
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
    /// The bound is not above three ticks and half a step of an age, 63 ns. A clock states no less:
    /// one tick for the capture of the arrival, one for the rest of its sum, one for the nearest
    /// tick. With a bound below that READY would never come.
    BoundBelowTicks,
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
    /// Less than a tick from poll to poll, which no loop can do: every edge would be late; or more
    /// than a slot: a touch could leave late, and not be told so.
    Poll,
    /// Bad tags and strangers are not remembered, or re-arms not held apart, for a tick at least;
    /// or for more than an hour.
    Memory,
}

impl core::fmt::Display for LinkConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Slot => "slot is not within 0.1 to 100 ms in whole steps of 125 ns",
            Self::TicksPerSlot => {
                "a slot has fewer than 256 or more than 2^26 ticks; state another tick rate"
            }
            Self::DeadNotBelowDelay => {
                "dead + blind + 2 bound is not below delay: a late touch could meet READY"
            }
            Self::EdgesTooClose => "apart is not above 2 bound: a release could overtake its touch",
            Self::EdgesOutnumberNumbers => {
                "31 apart is not above dead + 2 bound: a silence could hide 32 edges"
            }
            Self::AgeRange => "dead + 2 bound is not below 131 ms, the longest age a frame tells",
            Self::Bound => "bound is above half a slot",
            Self::BoundBelowTicks => {
                "bound is not above 3 ticks and 63 ns: no clock is so sure, ready would never come"
            }
            Self::Beat => "beat is 0 or two beats are longer than dead",
            Self::Quiet => "quiet is not above dead + 2 bound: a restart could go unnoticed",
            Self::Frames => "join is not 2 to 100 frames, or open is not 1 to 100",
            Self::Tallies => "bad tags are not 1 to 8, or strangers are not 1 to 4",
            Self::Guard => "guard is shorter than dead + 2 bound + a slot",
            Self::Lead => "lead is not above guard and below reserve",
            Self::Poll => {
                "poll is below a tick: every edge would be late; or above a slot: one could be untold"
            }
            Self::Memory => "watch or lock is not within a tick and an hour",
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
    calm_beats: u32,
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
        match Self::checked(rate, plan) {
            Ok(config) => match config.unmet() {
                Some(why) => Err(why),
                None => Ok(config),
            },
            Err(why) => Err(why),
        }
    }

    /// As [`new`](Self::new), without the rules that only a real clock and loop need: for walks
    /// through all states of small links, whose ticks are a good part of a slot.
    ///
    /// # Errors
    /// The first broken rule, [`LinkConfigError`].
    #[cfg(feature = "walk")]
    pub const fn ideal(rate: TickRate, plan: LinkPlan) -> Result<Self, LinkConfigError> {
        Self::checked(rate, plan)
    }

    /// What no real clock or loop could do.
    const fn unmet(&self) -> Option<LinkConfigError> {
        use LinkConfigError as E;
        const NS: u64 = 1_000_000_000;
        let (plan, rate) = (&self.plan, &self.rate);
        let slot_ticks = rate.ticks_from_ns(plan.slot_ns as u64);
        if slot_ticks < SLOT_TICKS.0 || slot_ticks > SLOT_TICKS.1 {
            return Some(E::TicksPerSlot);
        }
        let hz = rate.hz() as u64;
        if plan.bound_ns as u64 * hz <= 3 * NS + STEP_NS.div_ceil(2) * hz {
            return Some(E::BoundBelowTicks);
        }
        if self.poll == 0 {
            return Some(E::Poll);
        }
        if self.lock == 0 || self.watch == 0 {
            return Some(E::Memory);
        }
        None
    }

    const fn checked(rate: TickRate, plan: LinkPlan) -> Result<Self, LinkConfigError> {
        if let Err(why) = plan.check() {
            return Err(why);
        }
        let slot = plan.slot_ns as u64;
        // From 0.1 ms up, and two of them in `dead`: never 0.
        let beat_ns = plan.beat_slots as u64 * slot;
        let (Some(calm), Some(fall_beats)) = (
            CALM_NS.checked_div(beat_ns),
            (plan.dead_ns as u64).checked_div(beat_ns),
        ) else {
            return Err(LinkConfigError::Beat);
        };
        let config = Self {
            fall_beats: fall_beats as u16,
            calm_beats: if calm == 0 { 1 } else { calm as u32 },
            beats_per_h_log2_16: log2_16(HOUR_NS) - log2_16(beat_ns as i64),
            plan,
            rate,
            delay: rate.ticks_from_ns(plan.delay_ns as u64),
            dead: rate.ticks_from_ns(plan.dead_ns as u64),
            bound: rate.ticks_from_ns(plan.bound_ns as u64) as u32,
            poll: rate.ticks_from_ns(plan.poll_ns as u64),
            lock: rate.ticks_from_ns(plan.lock_ns),
            watch: rate.ticks_from_ns(plan.watch_ns),
        };
        // Each of them was rounded by itself.
        let blind = rate.ticks_from_ns(plan.blind_ns as u64);
        if config.dead + 2 * config.bound as u64 + blind >= config.delay {
            return Err(LinkConfigError::DeadNotBelowDelay);
        }
        Ok(config)
    }

    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &LinkPlan {
        &self.plan
    }

    pub(super) const fn fall_beats(&self) -> u16 {
        self.fall_beats
    }

    pub(super) const fn calm_beats(&self) -> u32 {
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
        // Half a tick of 16 MHz and more is rounded to one.
        assert_eq!(refused(|plan| plan.poll_ns = 32), None);
        for poll_ns in [0, 31, 1_000_001] {
            assert_eq!(refused(|plan| plan.poll_ns = poll_ns), Some(E::Poll));
        }
        for ns in [0, 31, HOUR + 1] {
            assert_eq!(refused(|plan| plan.watch_ns = ns), Some(E::Memory));
            assert_eq!(refused(|plan| plan.lock_ns = ns), Some(E::Memory));
        }
    }

    /// Slots that no side could count.
    #[test]
    fn a_slot_is_whole_steps_of_an_age_within_its_range() {
        for slot_ns in [
            0,
            1,
            99_875,
            100_000_125,
            u32::MAX,
            1_000_001,
            999_999,
            1_000_124,
        ] {
            let with = |plan: &mut LinkPlan| plan.slot_ns = slot_ns;
            assert_eq!(refused(with), Some(LinkConfigError::Slot), "{slot_ns}");
        }
        assert_eq!(refused(|plan| plan.slot_ns = 1_000_125), None);
    }

    /// 1 ms in ticks of `hz`, with a bound that fits.
    fn at(hz: u32, bound_ns: u32) -> Option<LinkConfigError> {
        let plan = LinkPlan {
            bound_ns,
            ..LinkPlan::INFRARED
        };
        LinkConfig::new(TickRate::from_hz(hz).unwrap(), plan).err()
    }

    #[test]
    fn ticks_and_bound_are_such_that_a_clock_can_do() {
        use LinkConfigError as E;
        assert_eq!(at(255_000, 20_000), Some(E::TicksPerSlot));
        assert_eq!(at(256_000, 20_000), None);
        assert_eq!(at(u32::MAX, 4_000), None);
        // Three ticks and 62.5 ns.
        for (hz, least) in [(16_000_000, 251), (8_000_000, 439), (1_000_000, 3_064)] {
            assert_eq!(at(hz, least), None, "{hz}");
            for bound_ns in [0, 1, least - 1] {
                assert_eq!(
                    at(hz, bound_ns),
                    Some(E::BoundBelowTicks),
                    "{hz} {bound_ns}"
                );
            }
        }
    }

    /// In ticks silence, bounds and delay are rounded one by one.
    #[test]
    fn what_holds_in_nanoseconds_holds_in_ticks() {
        let plan = LinkPlan {
            delay_ns: 43_012_001,
            blind_ns: 1_004_000,
            ..LinkPlan::INFRARED
        };
        let rate = |hz| TickRate::from_hz(hz).unwrap();
        assert!(LinkConfig::new(rate(1_000_000_000), plan).is_ok());
        assert_eq!(
            LinkConfig::new(rate(1_000_000), plan).err(),
            Some(LinkConfigError::DeadNotBelowDelay)
        );
    }
}
