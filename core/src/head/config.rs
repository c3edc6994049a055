//! What the probe's side is told, checked once.

use crate::link::{LinkConfigError, LinkPlan, MOST_ID};
use crate::time::TickRate;

/// From one beat to the next while the probe stands by, ns.
const STANDBY_NS: u32 = 100_000_000;

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum HeadConfigError {
    /// A slot that is no whole number of ticks of the probe's clock.
    SlotTicks,
    /// A number above 4095.
    Id,
    /// The plan breaks a promise.
    Plan(LinkConfigError),
}

impl core::fmt::Display for HeadConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::SlotTicks => "slot is no whole number of ticks of the probe's clock",
            Self::Id => "number of the probe is above 4095",
            Self::Plan(why) => return why.fmt(f),
        })
    }
}

impl core::error::Error for HeadConfigError {}

/// Settings of the probe's side, out of the same plan as the receiver's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HeadConfig {
    pub(super) rate: TickRate,
    pub(super) id: u16,
    /// T, ticks.
    pub(super) slot: u64,
    /// H, and the beat in standby, slots.
    pub(super) beat: u64,
    pub(super) standby: u64,
    /// Slots in which a new edge is told again and again: D and one more.
    pub(super) repeats: u64,
    /// Slots of silence after a start.
    pub(super) quiet: u64,
    /// Least time from edge to edge, ticks.
    pub(super) apart: u64,
}

impl HeadConfig {
    /// For probe number `id` (12 bits) whose clock counts ticks of `rate`.
    ///
    /// # Errors
    /// [`HeadConfigError`].
    pub const fn new(rate: TickRate, id: u16, plan: &LinkPlan) -> Result<Self, HeadConfigError> {
        const NS: u64 = 1_000_000_000;
        if id > MOST_ID {
            return Err(HeadConfigError::Id);
        }
        if let Err(why) = plan.check() {
            return Err(HeadConfigError::Plan(why));
        }
        // Below 2^64.
        let product = plan.slot_ns as u64 * rate.hz() as u64;
        let slot_ns = plan.slot_ns;
        // A slot of 0 is none of the plan's, and would divide here.
        if product % NS != 0 || slot_ns == 0 {
            return Err(HeadConfigError::SlotTicks);
        }
        Ok(Self {
            rate,
            id,
            slot: product / NS,
            beat: plan.beat_slots as u64,
            standby: STANDBY_NS.div_ceil(slot_ns) as u64,
            repeats: plan.delay_ns.div_ceil(slot_ns) as u64 + 1,
            quiet: plan.quiet_ns.div_ceil(slot_ns) as u64,
            // Rounded up: never nearer than the plan has it.
            apart: (plan.apart_ns as u64 * rate.hz() as u64).div_ceil(NS),
        })
    }
}
