//! The small links whose joins are walked through.

use trueonset::link::{LinkConfig, LinkConfigError, LinkPlan};
use trueonset::time::TickRate;

/// Slots that a probe keeps silent after its start: the first one that it sends.
pub(super) const QUIET: u64 = 3;
/// Silence allowed, slots.
pub(super) const DEAD: u64 = 2;
/// The clock lasts so long without a frame, slots: longer than the link lives.
pub(super) const MEMORY: u64 = 4;

/// A closed configuration. A slot is one tick of 1 ms.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    /// Its name.
    pub(crate) name: &'static str,
    /// Starts of the probe.
    pub(super) starts: u8,
    /// Slots sent after each.
    pub(super) slots: u64,
    /// Losses of the board's power.
    pub(super) losses: u8,
    /// Closes of the store after which power stays.
    pub(super) closes: u8,
    /// A write may tear its record, a record may go bad by itself, and a loss may announce itself.
    /// Otherwise a write is done or not at all.
    pub(super) tear: bool,
    /// The store knows the first start of the probe from pairing; otherwise only the one before.
    pub(super) known: bool,
    /// A frame may be handed in a slot after it arrived.
    pub(super) late: bool,
    /// Slots ahead that a mark reserves.
    pub(super) reserve: u32,
}

/// Slots left at which the next mark is asked for.
pub(super) const LEAD: u32 = 4;

impl Plan {
    /// The core's configuration for it.
    ///
    /// # Errors
    /// The rule that is broken.
    pub(super) const fn config(&self) -> Result<LinkConfig, LinkConfigError> {
        const MS: u64 = 1_000_000;
        let Ok(rate) = TickRate::from_hz(1_000) else {
            return Err(LinkConfigError::Slot);
        };
        LinkConfig::ideal(
            rate,
            LinkPlan {
                slot_ns: MS as u32,
                beat_slots: 1,
                delay_ns: ((DEAD + 1) * MS) as u32,
                dead_ns: (DEAD * MS) as u32,
                bound_ns: 0,
                apart_ns: MS as u32,
                poll_ns: 0,
                blind_ns: 0,
                quiet_ns: (QUIET * MS) as u32,
                join_frames: 2,
                open_frames: 1,
                guard_slots: DEAD as u32 + 1,
                lead_slots: LEAD,
                reserve_slots: self.reserve,
                write_apart_ns: 0,
                ..LinkPlan::INFRARED
            },
        )
    }
}

/// The configurations of the full walk.
pub(crate) const ALL: &[Plan] = &[
    Plan {
        name: "join, two starts, one loss",
        starts: 2,
        slots: 6,
        losses: 1,
        closes: 0,
        tear: true,
        known: false,
        late: false,
        reserve: 5,
    },
    Plan {
        name: "join, two starts, two losses",
        starts: 2,
        slots: 5,
        losses: 2,
        closes: 0,
        tear: true,
        known: true,
        late: false,
        reserve: 5,
    },
    Plan {
        name: "join, one start, one loss",
        starts: 1,
        slots: 9,
        losses: 1,
        closes: 0,
        tear: true,
        known: true,
        late: true,
        reserve: 6,
    },
    Plan {
        name: "join, whole writes",
        starts: 1,
        slots: 12,
        losses: 1,
        closes: 0,
        tear: false,
        known: false,
        late: false,
        reserve: 6,
    },
    Plan {
        name: "join, few whole writes",
        starts: 1,
        slots: 9,
        losses: 1,
        closes: 0,
        tear: false,
        known: true,
        late: false,
        reserve: 5,
    },
    Plan {
        name: "join, closed, then goes on",
        starts: 1,
        slots: 6,
        losses: 1,
        closes: 1,
        tear: true,
        known: true,
        late: false,
        reserve: 5,
    },
    Plan {
        name: "join, closed, then goes on, two starts",
        starts: 2,
        slots: 3,
        losses: 1,
        closes: 1,
        tear: false,
        known: false,
        late: false,
        reserve: 5,
    },
    Plan {
        name: "join, two short starts, one loss",
        starts: 2,
        slots: 4,
        losses: 1,
        closes: 0,
        tear: true,
        known: true,
        late: false,
        reserve: 5,
    },
    Plan {
        name: "join, two short starts, two losses",
        starts: 2,
        slots: 3,
        losses: 2,
        closes: 0,
        tear: true,
        known: true,
        late: false,
        reserve: 5,
    },
];
