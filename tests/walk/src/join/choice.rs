//! All that may happen next to a board that joins.

use super::plan::{DEAD, MEMORY, QUIET};
use super::{Join, Joins};

/// What happens next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Choice {
    /// A slot passes. A probe that has sent all its slots goes on only where it is `endless`.
    Slot {
        /// For the way back to READY.
        endless: bool,
    },
    /// The probe starts anew.
    Restart,
    /// A frame is heard that was sent now or at any time before: start of the probe, slot.
    Hear(u8, u64),
    /// The write asked for begins.
    Begin,
    /// A record has become durable.
    Finish,
    /// The board loses its power.
    Lose(Loss),
}

/// What a loss of power makes of the records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Loss {
    pub(super) write: Cut,
    /// Which records went bad: one that was being written is torn, another is worn.
    pub(super) bad: [bool; 2],
}

/// What became of the last write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cut {
    /// There was none, or it left what was there.
    Undone,
    /// It was done, and the board did not get to know.
    Done,
    /// The board was warned, and closed the store in both records.
    Closed,
}

impl std::fmt::Display for Choice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Slot { .. } => f.write_str("a slot passes"),
            Self::Restart => f.write_str("the probe starts anew"),
            Self::Hear(start, slot) => write!(f, "heard: start {start}, slot {slot}"),
            Self::Begin => f.write_str("a write begins"),
            Self::Finish => f.write_str("a record is durable"),
            Self::Lose(Loss { write, bad }) => {
                write!(f, "power lost: last write {write:?}, bad records {bad:?}")
            }
        }
    }
}

impl Joins<'_> {
    /// All that may happen next.
    pub(super) fn all(&self, join: &Join) -> Vec<Choice> {
        let mut all = vec![Choice::Slot { endless: false }];
        if join.start + 1 < self.plan.starts && join.slot >= QUIET {
            all.push(Choice::Restart);
        }
        for start in 0..=join.start {
            for slot in QUIET..QUIET + join.sent[usize::from(start)] {
                all.push(Choice::Hear(start, slot));
            }
        }
        if join.writing.is_some() {
            all.push(Choice::Finish);
        } else if join.link.want().is_some() {
            all.push(Choice::Begin);
        }
        if join.losses < self.plan.losses {
            self.losses(join, &mut all);
        }
        all
    }

    fn losses(&self, join: &Join, all: &mut Vec<Choice>) {
        let bads: &[[bool; 2]] = if self.plan.tear {
            &[[false, false], [true, false], [false, true], [true, true]]
        } else {
            &[[false, false]]
        };
        let writing = join.writing.is_some();
        let closes = self.plan.tear && !writing && join.link.close(&self.config).is_some();
        for &bad in bads {
            let mut lose = |write| all.push(Choice::Lose(Loss { write, bad }));
            lose(Cut::Undone);
            if writing {
                lose(Cut::Done);
            }
            if closes {
                lose(Cut::Closed);
            }
        }
    }

    /// The slot from which on a probe that has sent all is no longer followed: nothing that was
    /// heard of it counts any more.
    pub(super) const fn end(&self) -> u64 {
        QUIET + self.plan.slots + DEAD + MEMORY
    }
}
