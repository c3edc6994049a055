//! The truth beside the link: what the probe did, what was heard, and what must never be.

use trueonset::frame::{Contact, Kind, Mark};
use trueonset::lines::{Causes, Decision};
use trueonset::link::{Heard, Link, LinkConfig, Outcome, State, Stored, Zero};
use trueonset::playout::{EdgeRemarks, PlayedEdge};
use trueonset::time::Instant;

use crate::adversary::Adversary;
use crate::setting::Setting;

/// Edges remembered until nothing can be said of them any more.
const EDGES: usize = 8;
/// Slots whose frames are remembered, at most.
const BACK: usize = 4;
/// Zero of the walk: late enough for anything to lie before it.
const BEGIN_SLOT: u64 = 40;

/// A rule that was broken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Broken {
    /// Name of the rule.
    pub(crate) rule: &'static str,
    /// What happened.
    pub(crate) what: String,
}

fn broken(rule: &'static str, what: impl Into<String>) -> Result<(), Broken> {
    Err(Broken {
        rule,
        what: what.into(),
    })
}

/// An edge that happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Edge {
    at: u64,
    number: u8,
    /// The line said run when it happened.
    under_run: bool,
    /// READY was up.
    under_ready: bool,
    /// A frame of the live link told that it happened.
    named: bool,
    /// Its time was in an accepted frame.
    timed: bool,
    /// It was told to the control.
    told: bool,
    /// The line's level takes it into account: it was told, or contact was known at a join or a
    /// re-arm after it.
    settled: bool,
    /// The line was armed again after the receiver had heard of it.
    rearmed: bool,
}

/// What the probe says at the start of a slot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Snapshot {
    number: u8,
    /// Ages of the newest and the older edge, ticks; none: beyond the range.
    newest: Option<u32>,
    older: Option<u32>,
    /// A frame of this slot was accepted.
    taken: bool,
}

/// What probe, channel and machine do in a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Choice {
    /// An edge happens.
    pub(crate) edge: bool,
    /// Error of the clock.
    pub(crate) error: i8,
    /// What is handed in.
    pub(crate) air: Air,
    /// Level of the re-arm wire.
    pub(crate) wire: bool,
    /// The main loop stands still.
    pub(crate) stall: bool,
}

impl std::fmt::Display for Choice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.edge {
            f.write_str("edge, ")?;
        }
        match self.air {
            Air::Nothing => f.write_str("silence")?,
            Air::BadTag => f.write_str("bad tag")?,
            Air::Second => f.write_str("second sender")?,
            Air::Frame {
                back,
                kind,
                replay,
                says,
            } => {
                let sent = if replay { "replayed" } else { "sent" };
                write!(f, "{kind:?} frame {sent} {back} slots back ({says:?})")?;
            }
        }
        write!(f, ", clock {:+}", self.error)?;
        if self.wire {
            f.write_str(", wire high")?;
        }
        if self.stall {
            f.write_str(", main loop stands")?;
        }
        Ok(())
    }
}

/// What comes out of the air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Air {
    /// Nothing.
    Nothing,
    /// The frame of so many slots back, stamped when it was sent or (a replay) now.
    Frame {
        /// Slots back.
        back: u64,
        /// Its kind.
        kind: Kind,
        /// Sent again now.
        replay: bool,
        /// What else it says.
        says: Says,
    },
    /// A bad tag.
    BadTag,
    /// A genuine frame of a slot far from the present one: a second sender with the same key.
    Second,
}

/// What a frame says besides edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Says {
    /// Contact as it is, measuring.
    Plain,
    /// An edge is being confirmed.
    Between,
    /// The probe has a fault.
    Fault,
    /// It stands by.
    Standby,
}

/// A state of the walk: the link under test and the truth beside it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct World {
    link: Link<Adversary>,
    now: u64,
    edges: [Edge; EDGES],
    count: u8,
    number: u8,
    newest_at: u64,
    older_at: u64,
    sent: [Snapshot; BACK],
    /// Start of the newest slot whose genuine frame was accepted, and the number it told.
    life: u64,
    seen: u8,
    /// When the latest edge happened that was told with its time.
    told_at: u64,
    decision: Decision,
    first: bool,
    stalled: u8,
    wire: bool,
    /// No rise counts before this.
    locked_until: u64,
    /// Something was latched, and no re-arm was granted since.
    held: bool,
    /// The newest frame told a fault.
    fault: bool,
    /// Newest frames with contact open since the last latch.
    open: u8,
    /// When bad tags and strangers came while the link lived, newest first.
    bad: [u64; 2],
    strange: [u64; 2],
}

impl World {
    /// The start: nothing heard, contact open.
    #[must_use]
    pub(crate) fn new(setting: &Setting) -> Self {
        let now = BEGIN_SLOT * setting.slot;
        let adversary = Adversary {
            slot: setting.slot,
            error: 0,
            bound: setting.bound as u32,
            gate: setting.bound,
            started: true,
        };
        let stored = Stored {
            mark: Some(Mark {
                boot: 0,
                slot: Mark::LAST_SLOT,
            }),
            place: 0,
        };
        let mut world = Self {
            link: Link::new(adversary, stored),
            now,
            edges: [Edge::default(); EDGES],
            count: 0,
            number: 0,
            newest_at: 0,
            older_at: 0,
            sent: [Snapshot::default(); BACK],
            life: 0,
            seen: 0,
            told_at: 0,
            decision: Decision::STOP,
            first: true,
            stalled: 0,
            wire: true,
            locked_until: 0,
            held: false,
            fault: false,
            open: 0,
            bad: [0; 2],
            strange: [0; 2],
        };
        world.snapshot(setting);
        world
    }

    /// All that may happen in the next tick.
    #[must_use]
    pub(crate) fn choices(&self, setting: &Setting) -> Vec<Choice> {
        let now = self.now + 1;
        let edges: &[bool] = if now - self.newest_at >= setting.apart {
            &[false, true]
        } else {
            &[false]
        };
        let mut airs = vec![Air::Nothing];
        for back in 0..setting.back {
            let mut kinds = vec![Kind::Normal];
            if setting.older {
                kinds.push(Kind::Older);
            }
            if setting.hello {
                kinds.push(Kind::Hello);
            }
            for kind in kinds {
                let mut says = vec![Says::Plain];
                if kind == Kind::Normal {
                    if setting.wire {
                        says.push(Says::Between);
                    }
                    if setting.fault {
                        says.push(Says::Fault);
                    }
                    if setting.standby {
                        says.push(Says::Standby);
                    }
                }
                for says in says {
                    for replay in [false, true] {
                        airs.push(Air::Frame {
                            back,
                            kind,
                            replay,
                            says,
                        });
                    }
                }
            }
        }
        if setting.flood > 0 {
            airs.push(Air::BadTag);
        }
        if setting.strangers > 0 {
            airs.push(Air::Second);
        }
        let wires: &[bool] = if setting.wire {
            &[false, true]
        } else {
            // Down and up in turn while something is latched: a rise every other tick.
            if self.link.causes().is_empty() || self.wire {
                &[false]
            } else {
                &[true]
            }
        };
        let stalls: &[bool] = if self.stalled < setting.stall {
            &[false, true]
        } else {
            &[false]
        };
        let bound = setting.bound as i8;
        let mut all = Vec::new();
        for &edge in edges {
            for &air in &airs {
                for &stall in stalls {
                    for &wire in wires {
                        for error in -bound..=bound {
                            all.push(Choice {
                                edge,
                                error,
                                air,
                                wire,
                                stall,
                            });
                        }
                    }
                }
            }
        }
        all
    }

    fn at(&self) -> Instant {
        Instant::from_ticks(self.now)
    }

    fn slot(&self, setting: &Setting) -> u64 {
        self.now / setting.slot
    }

    /// What frames of the slot that begins now will say.
    fn snapshot(&mut self, setting: &Setting) {
        let age = |at: u64| {
            let age = self.now - at;
            (at > 0 && age < setting.age_range()).then_some(age as u32)
        };
        let new = Snapshot {
            number: self.number,
            newest: age(self.newest_at),
            older: age(self.older_at),
            taken: false,
        };
        self.sent.rotate_right(1);
        self.sent[0] = new;
    }

    /// The next tick. What comes out is the world after it, on a zero of its own.
    ///
    /// # Errors
    /// The rule that was broken.
    pub(crate) fn step(
        &self,
        setting: &Setting,
        config: &LinkConfig,
        choice: Choice,
    ) -> Result<Self, Broken> {
        let mut world = self.clone();
        world.now += 1;
        let shown = world.decision.at(world.at());
        if choice.edge {
            world.edge(shown);
        }
        if world.now % setting.slot == 0 {
            world.snapshot(setting);
        }
        world.link.slots_mut().error = i64::from(choice.error);
        let was_live = world.link.state() == State::Live;
        world.hear(setting, config, choice.air)?;
        if choice.stall {
            world.stalled += 1;
            world.held |= !world.link.causes().is_empty();
        } else {
            world.stalled = 0;
            world.main_loop(setting, config, choice)?;
        }
        world.link.slots_mut().error = 0;
        if was_live && world.link.state() == State::Down {
            let lost = world
                .known()
                .iter()
                .any(|edge| edge.named && !edge.timed && !edge.settled);
            if lost && world.link.causes().is_empty() {
                return Err(Broken {
                    rule: "I10 latch",
                    what: "an edge known to exist ran out untimed and was not latched".to_owned(),
                });
            }
        }
        world.check(setting)?;
        world.forget(setting, config);
        Ok(world)
    }

    fn edge(&mut self, shown: Decision) {
        self.number = (self.number + 1) & 31;
        self.older_at = self.newest_at;
        self.newest_at = self.now;
        if usize::from(self.count) == EDGES {
            self.edges.rotate_left(1);
            self.count -= 1;
        }
        self.edges[usize::from(self.count)] = Edge {
            at: self.now,
            number: self.number,
            under_run: shown.run,
            under_ready: shown.ready,
            named: false,
            timed: false,
            told: false,
            settled: false,
            rearmed: false,
        };
        self.count += 1;
    }

    fn known(&mut self) -> &mut [Edge] {
        &mut self.edges[..usize::from(self.count)]
    }

    fn hear(&mut self, setting: &Setting, config: &LinkConfig, air: Air) -> Result<(), Broken> {
        let causes = self.link.causes();
        let heard = self.take(setting, config, air);
        if self.link.causes() != causes {
            self.open = 0;
        }
        heard
    }

    fn take(&mut self, setting: &Setting, config: &LinkConfig, air: Air) -> Result<(), Broken> {
        let now = self.at();
        let was_live = self.link.state() == State::Live;
        match air {
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
                        self.accepted(&heard, begin, outcome, was_live);
                        Ok(())
                    }
                }
            }
        }
    }

    fn accepted(&mut self, heard: &Heard, begin: u64, outcome: Outcome, was_live: bool) {
        self.life = self.life.max(begin);
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
            let unseen = self.number.wrapping_sub(self.seen) & 31;
            let newest = self.number;
            for edge in self.known() {
                edge.named |= newest.wrapping_sub(edge.number) & 31 >= unseen && !edge.settled;
            }
        }
        let told = match heard.kind {
            Kind::Normal => heard.number,
            Kind::Older => heard.number.wrapping_sub(1) & 31,
            Kind::Hello => return,
        };
        if heard.age_125ns.is_some() && live && was_live {
            for edge in self.known() {
                edge.timed |= edge.number == told;
            }
        }
    }

    /// The line's level is that of the newest frame.
    fn settle(&mut self) {
        let seen = self.seen;
        let newest = self.number;
        for edge in self.known() {
            // Edges since the newest frame are not known.
            let unseen = newest.wrapping_sub(seen) & 31;
            let place = newest.wrapping_sub(edge.number) & 31;
            edge.settled |= place >= unseen;
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

    fn main_loop(
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
        let came = self.link.rearm(config, self.at(), wire);
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

    /// What must hold at every tick, on the lines as the output stage shows them.
    fn check(&mut self, setting: &Setting) -> Result<(), Broken> {
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

    /// Puts what no longer matters to one value, and the present to the zero of the walk.
    fn forget(&mut self, setting: &Setting, config: &LinkConfig) {
        let slot = self.slot(setting);
        let slots = slot - BEGIN_SLOT;
        let ticks = slots * setting.slot;
        let number = self.number & !1;
        let zero = Zero {
            ticks,
            slots,
            number,
            oldest: slot - (setting.back - 1),
            marks: false,
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

    /// With contact open, a perfect channel and a re-arm, READY comes; the ticks it took.
    ///
    /// # Errors
    /// It does not, or a rule breaks on the way.
    pub(crate) fn recovers(
        &self,
        setting: &Setting,
        config: &LinkConfig,
        path: &mut Vec<Choice>,
    ) -> Result<u32, Broken> {
        let mut world = self.clone();
        // Let go first, at the least spacing.
        for tick in 0..80 {
            let far = world.now + 1 - world.newest_at >= setting.apart;
            let choice = Choice {
                edge: world.number & 1 == 1 && far,
                error: 0,
                air: if (world.now + 1) % setting.slot == 0 {
                    Air::Frame {
                        back: 0,
                        kind: Kind::Normal,
                        replay: false,
                        says: Says::Plain,
                    }
                } else {
                    Air::Nothing
                },
                // A rise restarts the lock: one at a time.
                wire: !world.wire && world.now + 1 >= world.locked_until,
                stall: false,
            };
            path.push(choice);
            world = world.step(setting, config, choice)?;
            if world.decision.run {
                return Ok(tick);
            }
        }
        Err(Broken {
            rule: "J4 returns",
            what: "ready does not return on a perfect channel".to_owned(),
        })
    }
}
