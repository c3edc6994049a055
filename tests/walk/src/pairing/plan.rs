//! The small pairings that are walked through.

/// A board, one or two probes, and how much may happen.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    /// Its name.
    pub(crate) name: &'static str,
    /// Board and first probe share a key from the start; otherwise both are new.
    pub(super) paired: bool,
    /// There is a second probe, with a key of another board.
    pub(super) second: bool,
    /// Keys that may be drawn.
    pub(super) draws: u8,
    /// Losses of power, of either side, at rest or in the middle of a write.
    pub(super) losses: u8,
    /// Writes that a memory may refuse.
    pub(super) refusals: u8,
    /// Messages that may be lost, damaged or late.
    pub(super) spoilt: u8,
    /// Least that a touch by hand lasts, and is from the next one, ticks.
    pub(super) touch: u64,
    pub(super) apart: u64,
}

impl Plan {
    /// The window, ticks: two touches by hand fit into it, and a tick besides.
    pub(super) const fn window(&self) -> u64 {
        2 + 2 * self.touch + self.apart
    }

    /// Least time before each edge of two touches by hand, ticks.
    pub(super) const fn before(&self) -> [u64; 4] {
        [0, self.touch, self.apart, self.touch]
    }
}

/// The hold, ticks.
pub(super) const HOLD: u64 = 1;

/// All of them.
pub(crate) const ALL: &[Plan] = &[
    Plan {
        name: "pairing, touches by hand",
        paired: true,
        second: false,
        draws: 1,
        losses: 0,
        refusals: 0,
        spoilt: 1,
        touch: 1,
        apart: 2,
    },
    Plan {
        name: "pairing, key change, power lost",
        paired: true,
        second: false,
        draws: 1,
        losses: 2,
        refusals: 0,
        spoilt: 0,
        touch: 1,
        apart: 1,
    },
    Plan {
        name: "pairing, key change, memory refuses",
        paired: true,
        second: false,
        draws: 2,
        losses: 0,
        refusals: 2,
        spoilt: 0,
        touch: 1,
        apart: 1,
    },
    Plan {
        name: "pairing, key change, bad cable",
        paired: true,
        second: false,
        draws: 1,
        losses: 0,
        refusals: 0,
        spoilt: 2,
        touch: 1,
        apart: 1,
    },
    Plan {
        name: "pairing, wrong probe",
        paired: true,
        second: true,
        draws: 2,
        losses: 0,
        refusals: 0,
        spoilt: 0,
        touch: 1,
        apart: 1,
    },
    Plan {
        name: "pairing, wrong probe, power lost",
        paired: true,
        second: true,
        draws: 2,
        losses: 1,
        refusals: 0,
        spoilt: 0,
        touch: 1,
        apart: 1,
    },
    Plan {
        name: "pairing, from the factory, power lost",
        paired: false,
        second: false,
        draws: 2,
        losses: 1,
        refusals: 0,
        spoilt: 0,
        touch: 1,
        apart: 1,
    },
    Plan {
        name: "pairing, all of it",
        paired: true,
        second: true,
        draws: 2,
        losses: 2,
        refusals: 1,
        spoilt: 2,
        touch: 1,
        apart: 1,
    },
];
