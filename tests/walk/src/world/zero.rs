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
        let now = self.now;
        let done = self.done(setting);
        self.link = self.link.moved(config, zero);
        let back = |at: u64| at.saturating_sub(ticks);
        self.forget_edges(setting, done, ticks, number);
        self.number = self.number.wrapping_sub(number) & 31;
        // Edges unseen beyond those remembered are as many as there are.
        let newest = self.number;
        let back_to = |edge: &Edge| newest.wrapping_sub(edge.number) & 31;
        let remembered = self.known().iter().map(back_to).max();
        let unseen = newest.wrapping_sub(self.seen.wrapping_sub(number)) & 31;
        let unseen = unseen.min(remembered.map_or(0, |most| most + 1));
        self.seen = newest.wrapping_sub(unseen) & 31;
        let range = now.saturating_sub(setting.age_range());
        self.newest_at = back(self.newest_at.max(range));
        self.older_at = if setting.older {
            back(self.older_at.max(range))
        } else {
            0
        };
        for (k, sent) in self.sent.iter_mut().enumerate() {
            sent.number = sent.number.wrapping_sub(number) & 31;
            if k as u64 >= setting.back {
                *sent = Snapshot::default();
            }
        }
        let long = setting.dead + setting.bound + 1;
        // The order matters while one is left that might come too late.
        let told_at = back(self.told_at.max(now - kept(setting)));
        let earlier = self
            .known()
            .iter()
            .any(|edge| !edge.told && edge.at < told_at);
        self.told_at = if earlier { told_at } else { 0 };
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
            self.fault = false;
        }
        self.open = self.open.min(setting.open);
        self.now = back(now);
    }

    /// Of each edge, whether nothing more can be said of it.
    fn done(&self, setting: &Setting) -> [bool; EDGES] {
        let heard_by_any_join = (self.slot(setting) - (setting.back - 1)) * setting.slot;
        self.edges.map(|edge| {
            // A link that does not live tells what it had timed before, and nothing that the frames
            // of its next join know already.
            let missed = self.link.state() != State::Live
                && edge.at <= heard_by_any_join
                && !edge.under_run
                && !edge.under_ready
                && !self.link.is_waiting(edge.number);
            edge.told || missed || self.now - edge.at > kept(setting)
        })
    }

    /// Keeps the edges that matter, on a zero `ticks` later, numbers counted from `number` on.
    fn forget_edges(&mut self, setting: &Setting, done: [bool; EDGES], ticks: u64, number: u8) {
        let newest = self.number;
        let long_ago = self.now - kept(setting);
        // The one that rules the line stays, and the last one that will when it is heard of.
        let mut edges = [Edge::default(); EDGES];
        let mut count = 0;
        let all = &self.edges[..usize::from(self.count)];
        let ruling = all.iter().rposition(|edge| edge.settled);
        let next = all
            .iter()
            .zip(done)
            .rposition(|(edge, done)| done && !edge.settled);
        for (k, (edge, done)) in all.iter().zip(done).enumerate() {
            if done && Some(k) != ruling && Some(k) != next.filter(|next| Some(*next) > ruling) {
                continue;
            }
            let mut edge = *edge;
            if done {
                (edge.timed, edge.told) = (true, true);
                (edge.named, edge.rearmed, edge.doubted) = (false, false, false);
                edge.at = long_ago;
                // How many edges came since does not matter where they are more than are kept.
                let since = newest.wrapping_sub(edge.number) & 31;
                let far = EDGES as u8 + (since & 1);
                edge.number = newest.wrapping_sub(since.min(far)) & 31;
            }
            edge.under_ready &= !edge.timed;
            edge.under_run &= edge.number & 1 == 1;
            if edge.settled {
                edge.named = false;
                edge.timed |= !edge.under_ready;
            }
            edge.at = edge.at.saturating_sub(ticks);
            edge.number = edge.number.wrapping_sub(number) & 31;
            edges[count] = edge;
            count += 1;
        }
        (self.edges, self.count) = (edges, count as u8);
    }
}

/// Ticks after which an edge has left or was missed for good.
const fn kept(setting: &Setting) -> u64 {
    setting.delay + setting.dead + 2 * setting.bound + 2 * setting.slot + 8
}
