//! What a walk goes through: a small link, and what probe and channel may do to it.

use trueonset::link::{LinkConfig, LinkConfigError, LinkPlan};
use trueonset::time::TickRate;

/// A closed configuration. One tick is 1 ms.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Setting {
    /// Its name.
    pub(crate) name: &'static str,
    /// Ticks in a slot.
    pub(crate) slot: u64,
    /// D, ticks.
    pub(crate) delay: u64,
    /// Silence allowed, ticks.
    pub(crate) dead: u64,
    /// U, ticks.
    pub(crate) bound: u64,
    /// Least time from edge to edge, ticks.
    pub(crate) apart: u64,
    /// An edge is told so many ticks after it happened at most; until then it is being confirmed.
    pub(crate) hold: u64,
    /// Frames of so many slots back may still be handed in.
    pub(crate) back: u64,
    /// Whether frames with the older edge occur, and hellos.
    pub(crate) older: bool,
    /// Whether hellos do.
    pub(crate) hello: bool,
    /// Frames with a bad tag may come: so many in `watch` ticks stop the line; 0: none come.
    pub(crate) flood: u8,
    /// Genuine frames out of time may come from a second sender: so many stop the line; 0: none.
    pub(crate) strangers: u8,
    /// How long both are remembered, ticks.
    pub(crate) watch: u64,
    /// The re-arm wire moves at will; otherwise it rises whenever something is latched.
    pub(crate) wire: bool,
    /// Ticks from one rise to the next that counts.
    pub(crate) lock: u64,
    /// Frames with contact open before a re-arm.
    pub(crate) open: u8,
    /// The receiver's main loop may stand still for so many ticks.
    pub(crate) stall: u8,
    /// The clock may lose its lock at any frame, and frames may contradict each other.
    pub(crate) unsure: bool,
    /// The probe may report a fault of its own.
    pub(crate) fault: bool,
    /// The probe may stand by.
    pub(crate) standby: bool,
}

impl Setting {
    /// A plain one, to change.
    pub(crate) const PLAIN: Self = Self {
        name: "plain",
        slot: 2,
        delay: 8,
        dead: 5,
        bound: 1,
        apart: 3,
        hold: 0,
        back: 2,
        older: false,
        hello: false,
        flood: 0,
        strangers: 0,
        watch: 0,
        wire: false,
        lock: 0,
        open: 1,
        stall: 0,
        unsure: false,
        fault: false,
        standby: false,
    };

    /// One of slots of a tick, to change: small enough for all its states to be gone through.
    pub(crate) const SMALL: Self = Self {
        slot: 1,
        delay: 3,
        dead: 2,
        bound: 0,
        apart: 2,
        ..Self::PLAIN
    };

    /// An edge older than this is told without its time, as one of 131 ms is in the full size.
    #[must_use]
    pub(crate) const fn age_range(&self) -> u64 {
        self.dead + 2 * self.bound + (self.back + 1) * self.slot
    }

    /// The core's configuration for it. The constructor checks every rule.
    ///
    /// # Errors
    /// The rule that is broken.
    pub(crate) const fn config(&self) -> Result<LinkConfig, LinkConfigError> {
        const MS: u64 = 1_000_000;
        let Ok(rate) = TickRate::from_hz(1_000) else {
            return Err(LinkConfigError::Slot);
        };
        LinkConfig::ideal(
            rate,
            LinkPlan {
                slot_ns: (self.slot * MS) as u32,
                beat_slots: 1,
                delay_ns: (self.delay * MS) as u32,
                dead_ns: (self.dead * MS) as u32,
                bound_ns: (self.bound * MS) as u32,
                apart_ns: (self.apart * MS) as u32,
                poll_ns: 0,
                blind_ns: 0,
                join_frames: 2,
                open_frames: self.open,
                lock_ns: if self.lock == 0 { 1 } else { self.lock * MS },
                watch_ns: if self.watch == 0 { 1 } else { self.watch * MS },
                bad_tags: if self.flood == 0 { 8 } else { self.flood },
                // With a watch of no time more than one a tick would be needed.
                strangers: if self.strangers == 0 {
                    4
                } else {
                    self.strangers
                },
                ..LinkPlan::INFRARED
            },
        )
    }
}

/// The configurations of the full walk.
pub(crate) const ALL: &[Setting] = &[
    Setting {
        name: "small, edges told late",
        hold: 4,
        ..Setting::SMALL
    },
    Setting {
        name: "edges told late",
        apart: 4,
        hold: 7,
        ..Setting::PLAIN
    },
    Setting {
        name: "edges, worst clock",
        apart: 4,
        ..Setting::PLAIN
    },
    Setting {
        name: "older edges, worst clock",
        apart: 4,
        older: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "older edges close together",
        older: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "slots of three",
        slot: 3,
        delay: 10,
        dead: 7,
        apart: 5,
        older: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "three edges in one outage",
        bound: 0,
        apart: 2,
        delay: 9,
        dead: 7,
        older: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "hello anywhere",
        bound: 0,
        delay: 8,
        dead: 7,
        older: true,
        hello: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "hello, worst clock",
        apart: 4,
        older: true,
        hello: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "stalls",
        bound: 0,
        apart: 4,
        delay: 6,
        dead: 5,
        older: true,
        stall: 6,
        ..Setting::PLAIN
    },
    Setting {
        name: "stalls, worst clock",
        apart: 4,
        stall: 3,
        ..Setting::PLAIN
    },
    Setting {
        name: "flood and wire",
        bound: 0,
        apart: 5,
        delay: 6,
        dead: 5,
        flood: 2,
        watch: 4,
        wire: true,
        lock: 3,
        open: 2,
        ..Setting::PLAIN
    },
    Setting {
        name: "second sender and wire",
        bound: 0,
        apart: 5,
        delay: 6,
        dead: 5,
        strangers: 2,
        watch: 4,
        wire: true,
        lock: 3,
        ..Setting::PLAIN
    },
    Setting {
        name: "clash and lost lock",
        apart: 4,
        older: true,
        unsure: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "fault and wire",
        bound: 0,
        apart: 4,
        delay: 6,
        dead: 5,
        fault: true,
        wire: true,
        lock: 2,
        open: 2,
        ..Setting::PLAIN
    },
    Setting {
        name: "standby",
        bound: 0,
        apart: 4,
        delay: 6,
        dead: 5,
        standby: true,
        ..Setting::PLAIN
    },
    Setting {
        name: "all together, worst clock",
        apart: 6,
        hello: true,
        flood: 2,
        strangers: 2,
        watch: 2,
        stall: 2,
        ..Setting::PLAIN
    },
    Setting {
        name: "small edges",
        bound: 0,
        apart: 4,
        delay: 5,
        dead: 4,
        ..Setting::PLAIN
    },
    Setting {
        name: "small edges, worst clock",
        apart: 5,
        delay: 7,
        dead: 4,
        back: 1,
        ..Setting::PLAIN
    },
    Setting {
        name: "small older edges, worst clock",
        apart: 6,
        delay: 7,
        dead: 4,
        older: true,
        back: 1,
        ..Setting::PLAIN
    },
    Setting {
        name: "small hello anywhere",
        older: true,
        hello: true,
        ..Setting::SMALL
    },
    Setting {
        name: "small stalls",
        older: true,
        stall: 3,
        ..Setting::SMALL
    },
    Setting {
        name: "small three edges in one outage",
        apart: 1,
        dead: 3,
        delay: 4,
        older: true,
        ..Setting::SMALL
    },
    Setting {
        name: "small flood and wire",
        flood: 2,
        watch: 2,
        wire: true,
        lock: 2,
        open: 2,
        ..Setting::SMALL
    },
    Setting {
        name: "small second sender and wire",
        strangers: 2,
        watch: 2,
        wire: true,
        lock: 2,
        ..Setting::SMALL
    },
    Setting {
        name: "small fault and wire",
        fault: true,
        wire: true,
        lock: 2,
        open: 2,
        ..Setting::SMALL
    },
    Setting {
        name: "small standby",
        standby: true,
        ..Setting::SMALL
    },
    Setting {
        name: "small clash and lost lock",
        older: true,
        hello: true,
        unsure: true,
        ..Setting::SMALL
    },
    Setting {
        name: "small all together, worst clock",
        bound: 1,
        slot: 2,
        delay: 7,
        dead: 4,
        apart: 6,
        back: 1,
        hello: true,
        flood: 1,
        strangers: 1,
        watch: 1,
        stall: 1,
        unsure: true,
        ..Setting::SMALL
    },
    Setting {
        name: "small all together",
        hello: true,
        flood: 2,
        strangers: 2,
        watch: 2,
        stall: 2,
        ..Setting::SMALL
    },
];
