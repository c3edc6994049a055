//! Worlds that will go on alike become equal.

use trueonset::lines::Decision;
use trueonset::link::{About, LinkConfig, State, Zero};
use trueonset::time::Instant;

use super::{Edge, Snapshot, World, BEGIN_SLOT, EDGES};
use crate::setting::Setting;

impl World {
    /// Puts what no longer matters to one value, and the present to the zero of the walk.
    pub(super) fn forget(&mut self, setting: &Setting, config: &LinkConfig) {
        let slot = self.slot(setting);
        let slots = slot - BEGIN_SLOT;
        let ticks = slots * setting.slot;
        let number = self.number & !1;
        let zero = Zero {
            ticks,
            slots,
            number,
            oldest: slot - (setting.back - 1),
            about: About::Edges,
        };
        self.link = self.link.moved(config, zero);
        let now = self.now;
        let kept = setting.delay + setting.dead + 2 * setting.bound + 2 * setting.slot + 8;
        let back = |at: u64| at.saturating_sub(ticks);
        // The last one told stays, since it rules the line.
        let mut edges = [Edge::default(); EDGES];
        let mut count = 0;
        let all = &self.edges[..usize::from(self.count)];
        let ruling = all.iter().rposition(|edge| edge.settled);
        for (k, edge) in all.iter().enumerate() {
            let done = edge.told || now - edge.at > kept;
            if done && Some(k) != ruling {
                continue;
            }
            let mut edge = *edge;
            if done {
                (edge.timed, edge.told) = (true, true);
                edge.at = now - kept;
            }
            edge.under_ready &= !edge.timed;
            edge.at = back(edge.at);
            edge.number = edge.number.wrapping_sub(number) & 31;
            edges[count] = edge;
            count += 1;
        }
        (self.edges, self.count) = (edges, count as u8);
        self.number = self.number.wrapping_sub(number) & 31;
        self.seen = self.seen.wrapping_sub(number) & 31;
        let range = now.saturating_sub(setting.age_range());
        self.newest_at = back(self.newest_at.max(range));
        self.older_at = back(self.older_at.max(range));
        for (k, sent) in self.sent.iter_mut().enumerate() {
            sent.number = sent.number.wrapping_sub(number) & 31;
            if k as u64 >= setting.back {
                *sent = Snapshot::default();
            }
        }
        let long = setting.dead + setting.bound + 1;
        self.told_at = back(self.told_at.max(now - kept));
        self.life = back(self.life.max(now.saturating_sub(long)));
        if let Some(until) = self.decision.valid_until {
            self.decision = if until.ticks() < now {
                Decision::STOP
            } else {
                Decision {
                    valid_until: Some(Instant::from_ticks(back(until.ticks()))),
                    ..self.decision
                }
            };
        }
        self.locked_until = back(self.locked_until.max(now));
        for time in self.bad.iter_mut().chain(&mut self.strange) {
            *time = if now - *time > setting.watch {
                0
            } else {
                back(*time)
            };
        }
        if self.link.state() != State::Live {
            (self.bad, self.strange, self.fault) = ([0; 2], [0; 2], false);
        }
        self.open = self.open.min(setting.open);
        self.now = back(now);
    }
}
