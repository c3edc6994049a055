//! The main loop of the board: the re-arm wire, edges that leave, lines.

use trueonset::edge::Level;
use trueonset::lines::{Causes, Decision};
use trueonset::link::LinkConfig;
use trueonset::playout::{EdgeRemarks, PlayedEdge};

use super::{Choice, World};
use crate::setting::Setting;
use crate::walk::{broken, Broken};

impl World {
    pub(super) fn main_loop(
        &mut self,
        setting: &Setting,
        config: &LinkConfig,
        choice: Choice,
    ) -> Result<(), Broken> {
        let now = self.at();
        self.rearm(setting, config, choice.wire)?;
        let mut told = 0;
        while let Some(played) = self.link.poll(config, now) {
            self.played(setting, &played)?;
            told += 1;
            if told > 8 {
                return broken("end", "a poll that never ends");
            }
        }
        self.decision = self.link.lines(config, now);
        if self.first && self.decision != Decision::STOP {
            return broken("P1 first", "the first decision is not stop");
        }
        self.first = false;
        if self.decision.run && !self.decision.ready {
            return broken("I2 stop", "run without ready");
        }
        self.held |= !self.link.causes().is_empty();
        let limit = setting.dead + setting.bound;
        match self.decision.valid_until {
            Some(until) if until < now => broken("V0 expired", "a decision born expired"),
            Some(until) if until.ticks() > self.life + limit => {
                broken("V1 valid", "valid beyond the newest slot + dead + bound")
            }
            None if self.decision.ready => broken("V1 valid", "ready without end"),
            _ => Ok(()),
        }
    }

    fn rearm(&mut self, setting: &Setting, config: &LinkConfig, wire: bool) -> Result<(), Broken> {
        let rose = wire && !self.wire;
        self.wire = wire;
        let held = self.held;
        let gone = |times: &[u64; 2], count: u8| {
            count == 0
                || times[usize::from(count) - 1] == 0
                || self.now - times[usize::from(count) - 1] > setting.watch
        };
        let calm = gone(&self.bad, setting.flood) && gone(&self.strange, setting.strangers);
        let came = self.link.rearm(config, self.at(), Level::from(wire));
        let locked = self.now < self.locked_until;
        if rose {
            self.locked_until = self.now + setting.lock;
        }
        let Some(came) = came else {
            return if rose {
                broken("R1 rise", "a rise went unanswered")
            } else {
                Ok(())
            };
        };
        if !rose {
            return broken("R1 rise", "a level was taken for a rise");
        }
        if came.is_err() {
            return Ok(());
        }
        if locked {
            return broken("R2 lock", "granted within the lock");
        }
        if !calm || self.fault {
            return broken("R3 cause", "granted while the cause goes on");
        }
        if held && self.open < setting.open {
            return broken(
                "R4 open",
                format!("granted after {} open frames", self.open),
            );
        }
        self.held = false;
        self.settle();
        for edge in self.known() {
            edge.rearmed |= edge.settled;
        }
        Ok(())
    }

    /// An edge was told to the control.
    fn played(&mut self, setting: &Setting, played: &PlayedEdge) -> Result<(), Broken> {
        let remarks = played.remarks;
        let (now, bound) = (self.now, setting.bound);
        // Numbers are those of the world before its zero moved: the link's are the same.
        let told_at = self.told_at;
        let found = self
            .known()
            .iter_mut()
            .rev()
            .find(|edge| edge.number == played.number);
        let Some(edge) = found else {
            return broken(
                "I3 once",
                "an edge was told that did not happen, or long ago",
            );
        };
        if played.touched != (edge.number & 1 == 1) {
            return broken("I4 bound", "told at the wrong level");
        }
        if edge.told {
            return broken("I3 once", format!("the edge of {} was told twice", edge.at));
        }
        let Some(onset) = played.onset else {
            edge.told = true;
            edge.settled = true;
            if self.link.causes().is_empty() {
                return broken("I10 latch", "an edge without time was not latched");
            }
            return Ok(());
        };
        let onset = onset.ticks();
        let wide = u64::from(played.bound);
        if wide > bound && !remarks.has(EdgeRemarks::WIDE) {
            return broken("I4 bound", "a bound above the greatest without a remark");
        }
        if edge.at.abs_diff(onset) > wide && !remarks.has(EdgeRemarks::CLASH) {
            return broken(
                "I4 bound",
                format!("onset {onset} ± {wide} of an edge at {}", edge.at),
            );
        }
        if edge.doubted && !remarks.has(EdgeRemarks::CLASH) {
            return broken(
                "I4c clash",
                format!("the edge of {} left as if no frame clashed", edge.at),
            );
        }
        if edge.rearmed {
            return broken("R5 pending", "armed again with an edge on its way");
        }
        edge.told = true;
        edge.settled = true;
        let at = edge.at;
        if told_at > at {
            return broken("O3 order", "told after a later one");
        }
        self.told_at = at;
        if remarks.is_empty() && now.abs_diff(at + setting.delay) > bound {
            return broken(
                "I4b delay",
                format!("left at {now}, contact {at} + {}", setting.delay),
            );
        }
        if played.touched {
            let after = self.link.causes();
            let mistimed = remarks.has(EdgeRemarks::LATE.union(EdgeRemarks::CLASH));
            let masked = remarks.has(EdgeRemarks::MASKED);
            if mistimed && !masked && !after.contains(Causes::TIME) {
                return broken("I10 latch", "a mistimed touch was not latched");
            }
        }
        Ok(())
    }
}
