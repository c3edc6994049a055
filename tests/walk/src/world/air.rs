//! Frames handed in, and what the truth makes of them.

use trueonset::frame::{Contact, Kind, Mark};
use trueonset::link::{Heard, Link, LinkConfig, Outcome, State};
use trueonset::time::Instant;

use super::{Air, Choice, Edge, Says, Sure, World};
use crate::adversary::Adversary;
use crate::setting::Setting;
use crate::walk::{broken, Broken};

impl World {
    pub(super) fn hear(
        &mut self,
        setting: &Setting,
        config: &LinkConfig,
        choice: Choice,
    ) -> Result<(), Broken> {
        let causes = self.link.causes();
        let heard = self.take(setting, config, choice);
        if self.link.causes() != causes {
            self.open = 0;
        }
        heard
    }

    fn take(
        &mut self,
        setting: &Setting,
        config: &LinkConfig,
        choice: Choice,
    ) -> Result<(), Broken> {
        let now = self.at();
        let was_live = self.link.state() == State::Live;
        match choice.air {
            Air::Nothing => Ok(()),
            Air::BadTag => {
                self.link.bad_tag(config, now);
                if was_live && self.link.state() == State::Live {
                    self.bad = [self.now, self.bad[0]];
                }
                Ok(())
            }
            Air::Second => {
                let heard = Heard {
                    who: Mark {
                        boot: 0,
                        slot: self.slot(setting) - 20,
                    },
                    kind: Kind::Normal,
                    contact: Contact::Open,
                    number: 0,
                    age_125ns: None,
                    measuring: true,
                    fault: false,
                };
                let before = self.link.clone();
                let outcome = self.link.frame(config, now, now, &heard);
                self.strange_frame(&before, config, outcome, was_live)
            }
            Air::Frame {
                back,
                kind,
                replay,
                says,
            } => {
                let sent = self.sent[back as usize];
                let slot = self.slot(setting) - back;
                let age = match kind {
                    Kind::Normal => sent.newest,
                    Kind::Older => sent.older,
                    Kind::Hello => None,
                };
                let contact = match says {
                    Says::Between => Contact::Between,
                    Says::Fault => Contact::Fault,
                    _ if sent.between => Contact::Between,
                    _ if sent.number & 1 == 1 => Contact::Touched,
                    _ => Contact::Open,
                };
                let heard = Heard {
                    who: Mark { boot: 0, slot },
                    kind,
                    contact,
                    number: sent.number,
                    age_125ns: age,
                    measuring: says != Says::Standby,
                    fault: false,
                };
                let begin = slot * setting.slot;
                let arrival = if replay { self.now } else { begin };
                let before = self.link.clone();
                let outcome = self
                    .link
                    .frame(config, now, Instant::from_ticks(arrival), &heard);
                match outcome {
                    Outcome::Stranger => self.strange_frame(&before, config, outcome, was_live),
                    Outcome::Duplicate => self.unchanged(&before, config, "duplicate"),
                    _ if sent.taken => broken("I3 once", "a frame was taken twice"),
                    _ => {
                        self.sent[back as usize].taken = true;
                        self.accepted(&heard, begin, outcome, was_live, choice.sure);
                        Ok(())
                    }
                }
            }
        }
    }

    fn accepted(
        &mut self,
        heard: &Heard,
        begin: u64,
        outcome: Outcome,
        was_live: bool,
        sure: Sure,
    ) {
        // While the link joins, silence is counted from any frame.
        let vouches = heard.contact != Contact::Between && (sure == Sure::Yes || !was_live);
        if vouches {
            self.life = self.life.max(begin);
        }
        if outcome == Outcome::Older {
            return;
        }
        self.seen = heard.number;
        self.fault = heard.contact == Contact::Fault;
        self.open = if heard.contact == Contact::Open {
            (self.open + 1).min(8)
        } else {
            0
        };
        let live = self.link.state() == State::Live;
        if live && !was_live {
            self.settle();
        }
        if live && was_live {
            for edge in self.heard_of() {
                edge.named |= !edge.settled;
            }
        }
        let timed = match heard.kind {
            Kind::Normal => Some(heard.number),
            Kind::Older => Some(heard.number.wrapping_sub(1) & 31),
            Kind::Hello => None,
        };
        let timed = timed.filter(|_| heard.age_125ns.is_some() && sure != Sure::Unlocked);
        if live && was_live {
            for edge in self.known() {
                edge.timed |= timed == Some(edge.number);
                edge.doubted |= sure == Sure::Clash && edge.timed && !edge.told;
            }
        }
    }

    /// Edges that the newest frame knew of.
    fn heard_of(&mut self) -> impl Iterator<Item = &mut Edge> {
        let newest = self.number;
        let unseen = newest.wrapping_sub(self.seen) & 31;
        let all = self.known().iter_mut();
        all.filter(move |edge| newest.wrapping_sub(edge.number) & 31 >= unseen)
    }

    /// The line's level is that of the newest frame.
    pub(super) fn settle(&mut self) {
        for edge in self.heard_of() {
            edge.settled = true;
        }
    }

    fn strange_frame(
        &mut self,
        before: &Link<Adversary>,
        config: &LinkConfig,
        outcome: Outcome,
        was_live: bool,
    ) -> Result<(), Broken> {
        if outcome != Outcome::Stranger {
            return broken("I3 gate", format!("a frame out of its time: {outcome:?}"));
        }
        let live = was_live && self.link.state() == State::Live;
        if live {
            self.strange = [self.now, self.strange[0]];
            return Ok(());
        }
        self.unchanged(before, config, "stranger")
    }

    /// What is no frame of the probe changes nothing but time.
    fn unchanged(
        &self,
        before: &Link<Adversary>,
        config: &LinkConfig,
        what: &str,
    ) -> Result<(), Broken> {
        let mut timed = before.clone();
        // Time passes all the same.
        timed.bad_tag(config, self.at());
        let mut other = self.link.clone();
        other.bad_tag(config, self.at());
        if timed == other {
            Ok(())
        } else {
            broken("I5 unchanged", format!("a {what} changed the link"))
        }
    }
}
