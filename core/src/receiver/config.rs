//! Which probe a receiver hears, and whether its clock goes with the plan.

use crate::clock::ClockConfig;
use crate::link::{LinkConfig, LinkConfigError, LinkPlan, MOST_ID};

/// Why a probe and its clock were refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ReceiverConfigError {
    /// A number above 4095: no frame carries it.
    Id,
    /// The clock counts other ticks than the link.
    Rate,
    /// The clock has other slots than the plan.
    Slot,
    /// What the oscillator may drift within the memory of the clock is more than the plan's bound:
    /// READY would not last.
    Bound,
    /// The rule that the plan breaks where the probe's clock is as fast as it may be. What the
    /// probe counts, edges apart, ages, slots, is shorter then.
    Fast(LinkConfigError),
}

impl core::fmt::Display for ReceiverConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Id => "number of the probe is above 4095",
            Self::Rate => "clock and link count ticks of different rates",
            Self::Slot => "slot of the clock is not that of the plan",
            Self::Bound => "the oscillator drifts beyond bound: ready would not last",
            Self::Fast(why) => {
                f.write_str("with the probe's clock as fast as it may be: ")?;
                return why.fmt(f);
            }
        })
    }
}

impl core::error::Error for ReceiverConfigError {}

/// A probe and its clock that go with a plan.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ReceiverConfig {
    pub(super) id: u16,
    pub(super) clock: ClockConfig,
}

impl ReceiverConfig {
    /// Probe number `id` (12 bits) with that clock, on that link.
    ///
    /// # Errors
    /// [`ReceiverConfigError`].
    pub const fn new(
        link: &LinkConfig,
        id: u16,
        clock: ClockConfig,
    ) -> Result<Self, ReceiverConfigError> {
        use ReceiverConfigError as E;
        if id > MOST_ID {
            return Err(E::Id);
        }
        if clock.rate().hz() != link.rate().hz() {
            return Err(E::Rate);
        }
        if clock.slot_ns() != link.plan().slot_ns {
            return Err(E::Slot);
        }
        if clock.least_bound() > link.bound as u64 {
            return Err(E::Bound);
        }
        match fast(link.plan(), clock.fastest_ppm()) {
            Some(why) => Err(E::Fast(why)),
            None => Ok(Self { id, clock }),
        }
    }
}

/// The rules of the plan in which the probe's time stands against the receiver's.
const fn fast(plan: &LinkPlan, fastest_ppm: u32) -> Option<LinkConfigError> {
    use LinkConfigError as E;
    const WHOLE: u64 = 1_000_000;
    let part = WHOLE - fastest_ppm as u64;
    // Below 2^48 ns each, by 2^20: nothing saturates but what is long in any case.
    let unseen = plan.unseen_ns() * WHOLE;
    let apart = plan.apart_ns as u64 * part;
    if apart <= 2 * plan.bound_ns as u64 * WHOLE {
        return Some(E::EdgesTooClose);
    }
    if LinkPlan::NUMBERS * apart <= unseen {
        return Some(E::EdgesOutnumberNumbers);
    }
    if unseen >= LinkPlan::AGE_RANGE_NS * part {
        return Some(E::AgeRange);
    }
    if plan.quiet_ns as u64 * part <= unseen {
        return Some(E::Quiet);
    }
    let slot = plan.slot_ns as u64;
    let guard = (plan.guard_slots as u64 * slot).saturating_mul(part);
    if guard < unseen + slot * WHOLE {
        return Some(E::Guard);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Oscillator;
    use crate::time::TickRate;

    const CRYSTAL: Oscillator = Oscillator::CRYSTAL;

    fn rate(hz: u32) -> TickRate {
        TickRate::from_hz(hz).unwrap()
    }

    fn refused(plan: LinkPlan, id: u16, clock: ClockConfig) -> Option<ReceiverConfigError> {
        let link = LinkConfig::new(rate(16_000_000), plan).unwrap();
        ReceiverConfig::new(&link, id, clock).err()
    }

    fn with(
        oscillator: Oscillator,
        change: impl FnOnce(&mut LinkPlan),
    ) -> Option<ReceiverConfigError> {
        let mut plan = LinkPlan::INFRARED;
        change(&mut plan);
        let clock = ClockConfig::new(rate(16_000_000), plan.slot_ns, oscillator).unwrap();
        refused(plan, 5, clock)
    }

    #[test]
    fn a_number_and_a_clock_that_do_not_go_with_the_plan_are_refused_by_name() {
        use ReceiverConfigError as E;
        let clock = |hz, slot_ns| ClockConfig::new(rate(hz), slot_ns, CRYSTAL).unwrap();
        let plan = LinkPlan::INFRARED;
        assert_eq!(refused(plan, 0xFFF, clock(16_000_000, 1_000_000)), None);
        for id in [0x1000, u16::MAX] {
            assert_eq!(refused(plan, id, clock(16_000_000, 1_000_000)), Some(E::Id));
        }
        assert_eq!(refused(plan, 5, clock(8_000_000, 1_000_000)), Some(E::Rate));
        // Twice the slot at half the rate has as many ticks.
        assert_eq!(refused(plan, 5, clock(8_000_000, 2_000_000)), Some(E::Rate));
        for slot_ns in [2_000_000, 1_000_125] {
            assert_eq!(refused(plan, 5, clock(16_000_000, slot_ns)), Some(E::Slot));
        }
    }

    #[test]
    fn a_bound_that_the_oscillator_outruns_is_refused() {
        let with_bound = |oscillator, bound_ns| with(oscillator, |plan| plan.bound_ns = bound_ns);
        // 93.6 ppm/s over the square of 80 ms is 0.6 us; three ticks and half a step more.
        assert_eq!(
            with_bound(Oscillator::RC, 600),
            Some(ReceiverConfigError::Bound)
        );
        assert_eq!(with_bound(Oscillator::RC, 1_000), None);
        assert_eq!(with_bound(CRYSTAL, 500), None);
        assert_eq!(with_bound(CRYSTAL, 260), Some(ReceiverConfigError::Bound));
    }

    /// Both plans hold for both oscillators; each rule is broken by 2 % where it just held.
    #[test]
    fn a_plan_must_hold_for_a_fast_probe() {
        use LinkConfigError as E;
        for oscillator in [CRYSTAL, Oscillator::RC] {
            assert_eq!(with(oscillator, |_| {}), None);
            assert_eq!(with(oscillator, |plan| *plan = LinkPlan::RADIO), None);
        }
        let only_slow = |why, change: fn(&mut LinkPlan)| {
            assert_eq!(with(CRYSTAL, change), None, "{why:?}");
            let why = ReceiverConfigError::Fast(why);
            assert_eq!(with(Oscillator::RC, change), Some(why));
        };
        only_slow(E::EdgesOutnumberNumbers, |plan| plan.apart_ns = 1_360_000);
        only_slow(E::Quiet, |plan| plan.quiet_ns = 42_500_000);
        only_slow(E::Guard, |plan| plan.guard_slots = 44);
        only_slow(E::AgeRange, |plan| {
            plan.dead_ns = 130_000_000;
            plan.delay_ns = 140_000_000;
            plan.apart_ns = 5_000_000;
            plan.guard_slots = 200;
        });
        only_slow(E::EdgesTooClose, |plan| {
            plan.dead_ns = 10_000_000;
            plan.bound_ns = 490_000;
            plan.apart_ns = 981_000;
        });
    }
}
