//! What must hold at every tick.

use trueonset::link::State;

use super::World;
use crate::setting::Setting;
use crate::walk::{broken, Broken};

impl World {
    /// What must hold at every tick, on the lines as the output stage shows them.
    pub(super) fn check(&mut self, setting: &Setting) -> Result<(), Broken> {
        let now = self.now;
        let shown = self.decision.at(self.at());
        if shown.ready && now > self.life + setting.dead + setting.bound {
            return broken("I1 life", "ready without a frame in time");
        }
        if self.held && shown.ready && self.stalled == 0 {
            return broken("I10 latch", "ready while latched");
        }
        let stalled = self.stalled > 0;
        let limit = setting.delay.max(setting.dead) + setting.bound + 1;
        for edge in self.known() {
            let touch = edge.number & 1 == 1;
            if touch && edge.under_run {
                if !shown.run {
                    edge.under_run = false;
                } else if now > edge.at + limit {
                    return broken(
                        "I6 stop",
                        format!("touch at {} still runs at {now}", edge.at),
                    );
                }
            }
            if shown.ready
                && edge.under_ready
                && !edge.timed
                && now > edge.at + setting.dead + setting.bound
            {
                return broken(
                    "O2 timed",
                    format!("ready at {now}, edge at {} has no time", edge.at),
                );
            }
            edge.under_ready &= shown.ready;
        }
        // The newest edge that the line knows of rules it.
        let all = &self.edges[..usize::from(self.count)];
        let newest = all.iter().rev().find(|edge| edge.settled);
        if let Some(edge) = newest {
            if shown.run && edge.number & 1 == 1 && !stalled {
                return broken("I10 latch", "the line runs after a touch was told");
            }
        }
        if setting.flood > 0 && self.link.state() == State::Live && shown.ready && !stalled {
            let last = self.bad[usize::from(setting.flood) - 1];
            if last > 0 && now - last <= setting.watch {
                return broken("F1 flood", "ready in a flood of bad tags");
            }
        }
        if setting.strangers > 0 && self.link.state() == State::Live && shown.ready && !stalled {
            let last = self.strange[usize::from(setting.strangers) - 1];
            if last > 0 && now - last <= setting.watch {
                return broken("T1 two", "ready with two senders");
            }
        }
        Ok(())
    }
}
