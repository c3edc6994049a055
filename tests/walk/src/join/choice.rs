//! All that may happen next to a board that joins.

use super::plan::{DEAD, MEMORY, QUIET};
use super::{Join, Joins, Watched};

/// What happens next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Choice {
    /// At the beginning: this frame is watched, start of the probe and slot.
    WatchFrame(u8, u64),
    /// At the beginning: the writes are.
    WatchWrites,
    /// A slot passes. A probe that has sent all its slots goes on only where it is `endless`.
    Slot {
        /// For the way back to READY.
        endless: bool,
    },
    /// The probe starts anew.
    Restart,
    /// A frame is heard that was sent now or at any time before.
    Hear {
        /// Start of the probe.
        start: u8,
        /// Its slot.
        slot: u64,
        /// It arrived a slot ago, when it was sent, and is handed in now.
        late: bool,
    },
    /// The write asked for begins.
    Begin,
    /// A record has become durable.
    Finish,
    /// The board is warned, closes the store in both records, and its power stays. Whether a write
    /// that was under way is told as done all the same.
    Close {
        /// It is.
        told: bool,
    },
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
            Self::WatchFrame(start, slot) => write!(f, "watched: start {start}, slot {slot}"),
            Self::WatchWrites => f.write_str("watched: the writes"),
            Self::Restart => f.write_str("the probe starts anew"),
            Self::Hear { start, slot, late } => {
                let late = if *late { " (handed in late)" } else { "" };
                write!(f, "heard: start {start}, slot {slot}{late}")
            }
            Self::Begin => f.write_str("a write begins"),
            Self::Finish => f.write_str("a record is durable"),
            Self::Close { told } => {
                let told = if *told {
                    ", and an older write told"
                } else {
                    ""
                };
                write!(f, "the store is closed, and goes on{told}")
            }
            Self::Lose(Loss { write, bad }) => {
                write!(f, "power lost: last write {write:?}, bad records {bad:?}")
            }
        }
    }
}

impl Joins<'_> {
    /// All that may happen next.
    pub(super) fn all(&self, join: &Join) -> Vec<Choice> {
        if join.watched == Watched::Nothing {
            return self.watches();
        }
        let mut all = vec![Choice::Slot { endless: false }];
        if join.start + 1 < self.plan.starts && join.slot >= QUIET {
            all.push(Choice::Restart);
        }
        for start in 0..=join.start {
            for slot in QUIET..QUIET + join.sent[usize::from(start)] {
                all.push(Choice::Hear {
                    start,
                    slot,
                    late: false,
                });
            }
        }
        let sent = QUIET + join.sent[usize::from(join.start)];
        if self.plan.late && join.slot > QUIET && join.slot <= sent {
            all.push(Choice::Hear {
                start: join.start,
                slot: join.slot - 1,
                late: true,
            });
        }
        if join.writing.is_some() {
            all.push(Choice::Finish);
        } else if join.link.want().is_some() {
            all.push(Choice::Begin);
        }
        if join.closes < self.plan.closes && join.link.clone().close(&self.config).is_some() {
            all.push(Choice::Close { told: false });
            if join.writing.is_some() {
                all.push(Choice::Close { told: true });
            }
        }
        if join.losses < self.plan.losses {
            self.losses(join, &mut all);
        }
        all
    }

    /// Each frame that may be sent, and the writes.
    fn watches(&self) -> Vec<Choice> {
        let slots = QUIET..QUIET + self.plan.slots;
        let of = |start| {
            let slots = slots.clone();
            slots.map(move |slot| Choice::WatchFrame(start, slot))
        };
        let frames = (0..self.plan.starts).flat_map(of);
        frames.chain([Choice::WatchWrites]).collect()
    }

    fn losses(&self, join: &Join, all: &mut Vec<Choice>) {
        let bads: &[[bool; 2]] = if self.plan.tear {
            &[[false, false], [true, false], [false, true], [true, true]]
        } else {
            &[[false, false]]
        };
        let writing = join.writing.is_some();
        let closes = self.plan.tear && !writing && join.link.clone().close(&self.config).is_some();
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
