//! All that may happen next to a pairing.

use super::memory::Wrote;
use super::{Pair, Pairings};

/// What becomes of a message and of its answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Answer {
    /// Both arrive.
    Whole,
    /// The message is damaged, and not answered.
    NoneHeard,
    /// The answer is lost,
    Lost,
    /// damaged,
    Damaged,
    /// or late.
    Late,
}

impl Answer {
    const SPOILT: [Self; 4] = [Self::NoneHeard, Self::Lost, Self::Damaged, Self::Late];
}

/// A message of the board, and what comes of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Exchange {
    pub(super) answer: Answer,
    /// Of the probe's write, if there is one.
    pub(super) wrote: Wrote,
}

impl Exchange {
    /// Undisturbed.
    pub(super) const WHOLE: Self = Self {
        answer: Answer::Whole,
        wrote: Wrote::Done,
    };
}

/// What happens next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Choice {
    /// Time passes.
    Tick,
    /// The button goes down, or up.
    Button,
    /// The cable goes into a probe, or out.
    Cable(Option<u8>),
    /// A message over the cable.
    Exchange(Exchange),
    /// A late answer arrives.
    Arrives,
    /// A key is drawn and stored.
    Draw(Wrote),
    /// The board writes what it wants to.
    BoardWrites(Wrote),
    /// A probe does.
    ProbeWrites(u8, Wrote),
    /// Eight frames of a probe are on the air.
    Frames(u8),
    /// A probe is touched, or let go; whether that is heard.
    Edge(u8, bool),
    /// The board loses its power.
    BoardStarts,
    /// A probe does.
    ProbeStarts(u8),
}

impl std::fmt::Display for Choice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tick => f.write_str("a tick passes"),
            Self::Button => f.write_str("the button moves"),
            Self::Cable(None) => f.write_str("the cable is pulled"),
            Self::Cable(Some(probe)) => write!(f, "the cable goes into probe {probe}"),
            Self::Exchange(Exchange { answer, wrote }) => {
                write!(f, "a message; answer {answer:?}, write {wrote:?}")
            }
            Self::Arrives => f.write_str("the late answer arrives"),
            Self::Draw(wrote) => write!(f, "a key is drawn, write {wrote:?}"),
            Self::BoardWrites(wrote) => write!(f, "the board writes: {wrote:?}"),
            Self::ProbeWrites(probe, wrote) => write!(f, "probe {probe} writes: {wrote:?}"),
            Self::Frames(probe) => write!(f, "frames of probe {probe}"),
            Self::Edge(probe, true) => write!(f, "an edge of probe {probe}"),
            Self::Edge(probe, false) => write!(f, "an edge of probe {probe}, not heard"),
            Self::BoardStarts => f.write_str("the board loses its power"),
            Self::ProbeStarts(probe) => write!(f, "probe {probe} loses its power"),
        }
    }
}

impl Pairings<'_> {
    /// All that may happen next.
    pub(super) fn all(&self, pair: &Pair) -> Vec<Choice> {
        let mut all = vec![Choice::Tick, Choice::Button];
        let probes = 0..pair.probes.len() as u8;
        if pair.plugged.is_none() {
            all.extend(probes.clone().map(|probe| Choice::Cable(Some(probe))));
        } else {
            all.push(Choice::Cable(None));
            self.exchanges(pair, &mut all);
        }
        if pair.late.is_some() {
            all.push(Choice::Arrives);
        }
        if pair.board.wants_draw() && pair.draws < self.plan.draws {
            all.extend(self.writes(pair).map(Choice::Draw));
        }
        if pair.board.want().is_some() {
            all.extend(self.writes(pair).map(Choice::BoardWrites));
        }
        for probe in probes {
            let side = &pair.probes[usize::from(probe)];
            if side.probe.want().is_some() {
                let writes = self.writes(pair);
                all.extend(writes.map(|wrote| Choice::ProbeWrites(probe, wrote)));
            }
            // Touches under a key that is confirmed on both sides are no part of this.
            let heard = Self::hears(pair, usize::from(probe)).is_some();
            let open = side
                .sends()
                .filter(|key| side.memory.open().any(|one| one == *key));
            let on_trial = pair.board.trial().is_some();
            if heard {
                all.push(Choice::Frames(probe));
            }
            if heard && on_trial {
                all.push(Choice::Edge(probe, true));
            }
            if open.is_some() && (!heard || pair.spoilt < self.plan.spoilt) {
                all.push(Choice::Edge(probe, false));
            }
            if pair.losses < self.plan.losses {
                all.push(Choice::ProbeStarts(probe));
            }
        }
        if pair.losses < self.plan.losses {
            all.push(Choice::BoardStarts);
        }
        all
    }

    /// What may become of a write.
    fn writes(&self, pair: &Pair) -> impl Iterator<Item = Wrote> {
        let losses = pair.losses < self.plan.losses;
        let refusals = pair.refusals < self.plan.refusals;
        Wrote::ALL.into_iter().filter(move |wrote| match wrote {
            Wrote::Done => true,
            Wrote::Refused => refusals,
            Wrote::LostBefore | Wrote::Torn | Wrote::LostAfter => losses,
        })
    }

    fn exchanges(&self, pair: &Pair, all: &mut Vec<Choice>) {
        let mut board = pair.board;
        let says = board.say(&self.config, super::NOW, pair.memory.records());
        let Some(says) = says else {
            return;
        };
        // Does the probe write for it?
        let number = pair.plugged.map_or(0, usize::from);
        let mut probe = pair.probes[number].probe;
        let stores = probe.hear(says.bytes()).is_ok_and(|write| write.is_some());
        let writes = stores || probe.want().is_some();
        for wrote in self
            .writes(pair)
            .filter(|wrote| writes || *wrote == Wrote::Done)
        {
            all.push(Choice::Exchange(Exchange {
                wrote,
                ..Exchange::WHOLE
            }));
        }
        if pair.spoilt < self.plan.spoilt {
            let spoilt = Answer::SPOILT.into_iter();
            all.extend(spoilt.map(|answer| {
                Choice::Exchange(Exchange {
                    answer,
                    ..Exchange::WHOLE
                })
            }));
        }
    }
}
