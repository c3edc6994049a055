//! The receiver's rules.

use super::config::{BAD_TAGS, STRANGERS};
use super::store::MarkStore;
use super::tally::Tally;
use super::window::Window;
use super::{LinkConfig, Placed, Slots, Stored, Write};
use crate::edge::Level;
use crate::frame::{Contact, Key, Kind, Mark, Opened, Report, Sealed};
use crate::lines::{Causes, Decision, Latch, Obstacles, Rearmed};
use crate::playout::{EdgeRemarks, PlayedEdge, Playout};
use crate::time::Instant;

/// A frame whose tag was good.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Heard {
    /// Start and slot that the tag vouches for.
    pub who: Mark,
    /// Which of the three kinds.
    pub kind: Kind,
    /// What the probe sees.
    pub contact: Contact,
    /// Number of the newest edge, 0 to 31; odd: touched.
    pub number: u8,
    /// Age at the slot's start of edge `number`, or of the one before in an older-edge frame, in
    /// 0.125 µs; `None`: too old to tell, or a hello.
    pub age_125ns: Option<u32>,
    /// The probe measures; otherwise it stands by.
    pub measuring: bool,
    /// The probe's self-test failed.
    pub fault: bool,
}

impl Heard {
    /// `report`, whose tag was good for `who`.
    #[must_use]
    pub const fn new(who: Mark, report: &Report) -> Self {
        Self {
            who,
            kind: report.kind,
            contact: report.contact,
            number: report.number,
            age_125ns: report.age_125ns,
            measuring: report.signs.measuring,
            fault: report.signs.self_test_failed,
        }
    }
}

/// What became of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Outcome {
    /// Accepted, and the probe lives up to its slot.
    Life,
    /// Accepted, but the time of an edge is missing, or the clock is not sure enough.
    Held,
    /// Accepted, of an older slot than the newest.
    Older,
    /// Accepted, on the way to a live link.
    Joining,
    /// Accepted; the probe stands by.
    Standby,
    /// Heard before.
    Duplicate,
    /// Does not fit the clock.
    Stranger,
    /// At or below what must not count again after a power loss.
    Old,
    /// Waits for the store.
    Waiting,
    /// Both stored records are bad: pair anew.
    Torn,
}

/// How far a link has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum State {
    /// Nothing is known of the probe.
    Down,
    /// So many frames were heard in a row.
    Joining(u8),
    /// Edges are followed.
    Live,
}

/// The receiver's side of a link, from frames to lines.
///
/// Time comes in with every call. Time that runs back is taken for the latest seen.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Link<S> {
    slots: S,
    marks: MarkStore,
    window: Window,
    state: State,
    /// The start of the probe to which the clock belongs.
    boot: u32,
    /// Start of the newest slot up to which every edge has its time.
    last: Instant,
    /// Up to this number every edge has its time, and this is the newest one known to exist.
    known: u8,
    newest: u8,
    /// In contact, as the line says.
    touched: bool,
    /// The newest frame reports a fault.
    fault: bool,
    /// An edge without a time that was not told yet.
    untimed: Option<u8>,
    latch: Latch,
    bad_tags: Tally<BAD_TAGS>,
    strangers: Tally<STRANGERS>,
    playout: Playout,
    /// Lines were asked for since power-up.
    asked: bool,
    now: Instant,
}

impl<S: Slots> Link<S> {
    /// At power-up, with what the store holds.
    #[must_use]
    pub fn new(slots: S, stored: Stored) -> Self {
        Self {
            slots,
            marks: MarkStore::new(stored),
            window: Window::new(0),
            state: State::Down,
            boot: 0,
            last: Instant::default(),
            known: 0,
            newest: 0,
            touched: true,
            fault: false,
            untimed: None,
            latch: Latch::new(),
            bad_tags: Tally::new(),
            strangers: Tally::new(),
            playout: Playout::default(),
            asked: false,
            now: Instant::default(),
        }
    }

    /// The probe's time.
    #[must_use]
    pub const fn slots(&self) -> &S {
        &self.slots
    }

    /// How far the link has come.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Why the line is latched at stop.
    #[must_use]
    pub const fn causes(&self) -> Causes {
        self.latch.causes()
    }

    /// The greatest mark accepted: what a hello's boot number is lifted from.
    #[must_use]
    pub const fn floor(&self) -> Mark {
        self.marks.floor
    }

    /// Whether both stored marks are bad: no frame counts until paired anew.
    #[must_use]
    pub fn is_torn(&self) -> bool {
        self.marks.is_torn()
    }

    /// Whether the clock places the newest slot heard within the plan's bound.
    #[must_use]
    pub fn is_sure(&self, config: &LinkConfig) -> bool {
        is_sure(config, self.slots.begin(self.window.newest()))
    }

    /// The start of the probe that the clock belongs to.
    #[must_use]
    pub const fn boot(&self) -> u32 {
        self.boot
    }

    /// A write that the caller should make now.
    #[must_use]
    pub fn want(&self) -> Option<Write> {
        self.marks.want()
    }

    /// The write that is [wanted](Self::want) has become durable; any other mark changes nothing.
    pub fn stored(&mut self, mark: Mark) {
        self.marks.stored(mark);
    }

    /// What to write on a warning that power fails, into both places: the next start waits for
    /// slots, not minutes. From here on no frame counts that this mark does not cover, whether
    /// power fails or not; the next write is asked for at once. A write that was under way is
    /// written over by this one, and not told as stored. Nothing is to be written where nothing
    /// was stored.
    #[must_use]
    pub fn close(&mut self, config: &LinkConfig) -> Option<Write> {
        self.marks.close(config)
    }

    /// Latches the line at stop.
    pub fn latch(&mut self, cause: Causes) {
        self.latch.set(cause);
    }

    /// The place for which the tag of a frame is good: the slot with its low bits `nearest` to the
    /// clock, or what a hello claims.
    #[must_use]
    pub fn open(&self, key: &Key, sealed: &Sealed, nearest: Option<u64>) -> Option<(Mark, Opened)> {
        if let Some(slot) = nearest {
            let who = Mark {
                boot: self.boot,
                slot,
            };
            if let Some(opened) = sealed.open(key, who) {
                return Some((who, opened));
            }
        }
        let who = sealed.claim(self.marks.floor.boot)?;
        Some((who, sealed.open(key, who)?))
    }

    fn advance(&mut self, config: &LinkConfig, now: Instant) -> Instant {
        self.now = self.now.max(now);
        if self.state != State::Down && self.is_silent(config, self.now) {
            if let State::Joining(_) = self.state {
                self.slots.forget();
            }
            self.down();
        }
        self.now
    }

    fn is_silent(&self, config: &LinkConfig, now: Instant) -> bool {
        now.ticks_since(self.last) > config.dead
    }

    /// Edges known to exist whose time, or that of one before, is missing: 0 to 2.
    fn gap(&self) -> u8 {
        self.newest.wrapping_sub(self.known) & 31
    }

    fn down(&mut self) {
        if self.state == State::Live && self.gap() > 0 {
            // It will never be timed now.
            self.latch.set(Causes::SEQUENCE);
        }
        self.state = State::Down;
    }

    /// A frame with this probe's number and a good CRC whose tag fits nothing.
    pub fn bad_tag(&mut self, config: &LinkConfig, now: Instant) {
        let now = self.advance(config, now);
        // An unknown start of the probe is normal before the join.
        if self.state == State::Live {
            self.bad_tags.note(now);
            if self.is_flooded(config, now) {
                self.latch.set(Causes::FLOOD);
            }
        }
    }

    fn is_flooded(&self, config: &LinkConfig, now: Instant) -> bool {
        self.bad_tags
            .reached(config.plan().bad_tags, config.watch, now)
    }

    fn are_two(&self, config: &LinkConfig, now: Instant) -> bool {
        self.strangers
            .reached(config.plan().strangers, config.watch, now)
    }

    /// A genuine frame, `arrival` at the start of its slot, `now` when it is handed in.
    #[inline(never)]
    pub fn frame(
        &mut self,
        config: &LinkConfig,
        now: Instant,
        arrival: Instant,
        heard: &Heard,
    ) -> Outcome {
        let now = self.advance(config, now);
        if arrival > now {
            // No frame arrives in the future.
            return Outcome::Stranger;
        }
        let slot = heard.who.slot;
        if !(heard.who.boot == self.boot && self.slots.fits(slot, arrival)) {
            return self.stranger(config, now, arrival, heard);
        }
        if self.window.has(slot) {
            return Outcome::Duplicate;
        }
        if !self.marks.covers(config, heard.who) {
            return Outcome::Waiting;
        }
        let is_newest = self.window.mark(slot);
        self.marks.floor = self.marks.floor.max(heard.who);
        if !is_newest {
            let time = self.time(heard);
            self.narrow(config, heard, time);
            return Outcome::Older;
        }
        self.slots.update(slot, arrival);
        self.observe(heard);
        if !heard.measuring {
            self.down();
            return Outcome::Standby;
        }
        match self.state {
            State::Live => self.follow(config, heard),
            State::Joining(count) => self.join(config, heard, count.saturating_add(1)),
            State::Down => self.join(config, heard, 1),
        }
    }

    /// A genuine frame that the clock does not expect.
    #[inline(never)]
    fn stranger(
        &mut self,
        config: &LinkConfig,
        now: Instant,
        arrival: Instant,
        heard: &Heard,
    ) -> Outcome {
        let good = self.slots.is_good(now);
        if self.state == State::Down && !good {
            self.slots.forget();
        }
        if self.state == State::Live {
            // Before any look at the window: a copy whose counter lags would pass for repeats.
            self.strangers.note(now);
            if self.are_two(config, now) {
                self.latch.set(Causes::TWO_SENDERS);
            }
        }
        let known = good && heard.who.boot == self.boot;
        if self.state != State::Down || heard.kind != Kind::Hello || known {
            return Outcome::Stranger;
        }
        if self.marks.is_torn() {
            return Outcome::Torn;
        }
        if heard.who <= self.marks.floor {
            return Outcome::Old;
        }
        if !self.marks.covers(config, heard.who) {
            return Outcome::Waiting;
        }
        self.slots.start(heard.who.slot, arrival);
        self.window = Window::new(heard.who.slot);
        self.boot = heard.who.boot;
        self.marks.floor = heard.who;
        self.last = arrival;
        self.observe(heard);
        if !heard.measuring {
            return Outcome::Standby;
        }
        self.state = State::Joining(1);
        Outcome::Joining
    }

    /// Whether the newest frame sees contact open.
    fn observe(&mut self, heard: &Heard) {
        let open = heard.contact == Contact::Open && !is_fault(heard);
        self.latch.observe(open);
    }

    fn join(&mut self, config: &LinkConfig, heard: &Heard, count: u8) -> Outcome {
        let begin = self.slots.begin(heard.who.slot);
        self.last = self.last.max(begin.at);
        self.state = State::Joining(count);
        let sure = is_sure(config, begin);
        let sound = !is_fault(heard) && !is_contradiction(heard) && is_seen(heard);
        if count >= config.plan().join_frames && sure && sound {
            self.state = State::Live;
            self.known = heard.number & 31;
            self.newest = self.known;
            self.touched = heard.number & 1 == 1;
            self.playout.past();
            self.fault = false;
        }
        Outcome::Joining
    }

    /// The newest frame of a live link.
    fn follow(&mut self, config: &LinkConfig, heard: &Heard) -> Outcome {
        self.fault = is_fault(heard);
        if self.fault {
            self.latch.set(Causes::FAULT);
        }
        let all_timed = self.edge(config, heard);
        let clash = self.slots.is_clash();
        if clash {
            // Clock or probe is not as stated: no time on its way is to be relied upon.
            self.playout.clash();
        }
        let begin = self.slots.begin(heard.who.slot);
        let sure = is_sure(config, begin);
        if all_timed && !clash && sure && is_seen(heard) {
            self.last = self.last.max(begin.at);
            Outcome::Life
        } else {
            Outcome::Held
        }
    }

    /// What a frame says of edges; whether all of them have their times now.
    fn edge(&mut self, config: &LinkConfig, heard: &Heard) -> bool {
        let number = heard.number & 31;
        let gap = self.gap();
        let step = number.wrapping_sub(self.known) & 31;
        // A repeat of what has left makes nothing nearer.
        let repeat = step == 0 && self.playout.is_empty();
        let time = if repeat { None } else { self.time(heard) };
        if is_contradiction(heard) || step < gap || step > 2 {
            self.latch.set(Causes::SEQUENCE);
            self.known = number;
            self.newest = number;
            // What is new and has a time is told with a remark. A number far ahead was never told;
            // one behind may have been, and where two are open the newest waits already.
            let new = step > gap || gap == 1 && step == 1;
            if let (Some(time), Kind::Normal, 1..=15, true) = (time, heard.kind, step, new) {
                self.pend(number, time, EdgeRemarks::SEQUENCE, None);
            }
            return true;
        }
        self.newest = number;
        let before = number.wrapping_sub(1) & 31;
        match (step, heard.kind, time) {
            (0, ..) => {
                self.narrow(config, heard, time);
                true
            }
            // The first to name an edge tells of the one before: the time of the newest is missing.
            (1, Kind::Older, Some(_)) => {
                self.narrow(config, heard, time);
                false
            }
            (1, Kind::Normal, Some(time)) => {
                self.pend(number, time, EdgeRemarks::NONE, None);
                self.known = number;
                true
            }
            // The one between is missing.
            (2, Kind::Normal, Some(time)) => {
                if gap == 2 {
                    self.narrow(config, heard, Some(time));
                } else {
                    self.pend(number, time, EdgeRemarks::NONE, None);
                }
                false
            }
            (2, Kind::Older, Some(time)) => {
                self.pend(before, time, EdgeRemarks::NONE, Some(number));
                self.known = if gap == 2 { number } else { before };
                gap == 2
            }
            // The newest has its time, and this frame tells none.
            (2, Kind::Hello, _) if gap == 2 => false,
            // An edge is known to exist, and nothing tells when it happened: stop at once.
            _ => {
                self.latch.set(Causes::SEQUENCE);
                self.known = number;
                // Where the newest waits with its time, it is the one before that has none.
                self.untimed = Some(if gap == 2 { before } else { number });
                true
            }
        }
    }

    /// When the edge happened whose age `heard` tells, and the bound of that.
    fn time(&self, heard: &Heard) -> Option<(Instant, u32)> {
        let age = heard.age_125ns.filter(|_| heard.kind != Kind::Hello)?;
        let placed = self.slots.before(heard.who.slot, age);
        Some((placed.at, placed.bound?))
    }

    #[inline(never)]
    fn pend(
        &mut self,
        number: u8,
        (at, bound): (Instant, u32),
        remarks: EdgeRemarks,
        ahead_of: Option<u8>,
    ) {
        if !self.playout.take(number, at, bound, remarks, ahead_of) {
            self.latch.set(Causes::FULL);
        }
    }

    /// A repeat narrows the edge it tells of.
    fn narrow(&mut self, config: &LinkConfig, heard: &Heard, time: Option<(Instant, u32)>) {
        let number = match heard.kind {
            Kind::Older => heard.number.wrapping_sub(1) & 31,
            _ => heard.number & 31,
        };
        if let Some((at, bound)) = time {
            self.playout
                .narrow(number, at, bound, config.delay, self.now);
        }
    }

    /// Time has reached `now`: the next edge that leaves by then. Call until there is none, then
    /// ask for [`lines`](Self::lines).
    pub fn poll(&mut self, config: &LinkConfig, now: Instant) -> Option<PlayedEdge> {
        if self.playout.is_empty() && self.untimed.is_none() {
            // As nearly always; what time does besides, `lines` does as well.
            return None;
        }
        let now = self.advance(config, now);
        if let Some(number) = self.untimed.take() {
            return Some(PlayedEdge {
                number,
                touched: number & 1 == 1,
                onset: None,
                bound: 0,
                remarks: EdgeRemarks::NO_TIME.union(EdgeRemarks::SEQUENCE),
            });
        }
        let left = self.playout.leave(config.delay, now)?;
        let mut edge = left.leaving(now, config.poll, self.is_ready(config, now));
        if edge.bound > config.bound {
            edge.remarks.insert(EdgeRemarks::WIDE);
        }
        if !self.latch.causes().is_empty() {
            edge.remarks.insert(EdgeRemarks::SEQUENCE);
        }
        if !left.past {
            if edge.touched {
                self.touched = true;
                if edge
                    .remarks
                    .has(EdgeRemarks::LATE.union(EdgeRemarks::CLASH))
                {
                    self.latch.set(Causes::TIME);
                }
            } else if self.latch.causes().is_empty() {
                self.touched = false;
            }
        }
        Some(edge)
    }

    fn is_ready(&self, config: &LinkConfig, now: Instant) -> bool {
        self.state == State::Live && !self.is_silent(config, now) && self.latch.causes().is_empty()
    }

    /// What the outputs are to say from `now` on. The first answer after power-up is stop,
    /// whatever was heard.
    #[must_use]
    pub fn lines(&mut self, config: &LinkConfig, now: Instant) -> Decision {
        let now = self.advance(config, now);
        let first = !core::mem::replace(&mut self.asked, true);
        let next_due = self.playout.next_due(config.delay);
        let overdue = self.untimed.is_some() || next_due.is_some_and(|due| due <= now);
        if first || overdue || !self.is_ready(config, now) {
            return Decision::STOP;
        }
        let dead = self.last.later(config.dead);
        let due = next_due.map_or(dead, |due| due.earlier(1));
        Decision {
            ready: true,
            run: !self.touched,
            valid_until: Some(dead.min(due)),
        }
    }

    /// When the outputs change by themselves or an edge leaves: poll again by then.
    #[must_use]
    pub fn deadline(&self, config: &LinkConfig) -> Option<Instant> {
        let due = self.playout.next_due(config.delay);
        let dead = self.last.later(config.dead + 1);
        let dead = (self.state != State::Down).then_some(dead);
        match (due, dead) {
            (Some(due), Some(dead)) => Some(due.min(dead)),
            (due, dead) => due.or(dead),
        }
    }

    /// The level of the re-arm wire; what came of it, where it rose. Arming again is an edge made
    /// by a person who has looked, never a level: a wire stuck high arms nothing, and neither does
    /// one that comes back high after it could not be read, which is latched as a fault.
    pub fn rearm(&mut self, config: &LinkConfig, now: Instant, wire: Level) -> Option<Rearmed> {
        let now = self.advance(config, now);
        let obstacles = Obstacles {
            live: self.state == State::Live && !self.is_silent(config, now),
            edge_pending: !self.playout.is_empty() || self.gap() > 0 || self.untimed.is_some(),
            cause_persists: self.fault || self.is_flooded(config, now) || self.are_two(config, now),
        };
        let plan = config.plan();
        let came = self
            .latch
            .wire(wire, now, config.lock, plan.open_frames, obstacles);
        if came == Some(Ok(())) {
            self.touched = self.known & 1 == 1;
        }
        came
    }
}

/// Another zero of time, for comparing states of a walk.
#[cfg(feature = "walk")]
#[derive(Clone, Copy, Debug)]
pub struct Zero {
    /// Ticks by which the new zero is later.
    pub ticks: u64,
    /// The same in slots.
    pub slots: u64,
    /// Numbers are counted from this one, which is even.
    pub number: u8,
    /// No slot below this can be heard any more.
    pub oldest: u64,
    /// What the walk is about.
    pub about: About,
}

/// What a walk is about; the rest is put to one value.
#[cfg(feature = "walk")]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// Edges and latches, with a store that covers everything.
    Edges,
    /// Join and store, where no bad tag and no stranger is remembered.
    Store,
}

#[cfg(feature = "walk")]
impl<S: Slots + Clone> Link<S> {
    /// The same link on another zero: equal to any that will act alike. What can no longer matter
    /// is put to one value.
    #[must_use]
    pub fn moved(&self, config: &LinkConfig, zero: Zero) -> Self {
        let mut link = self.clone();
        let now = link.now;
        let back = |at: Instant| at.earlier(zero.ticks);
        let long_ago = now.earlier(config.dead + 1);
        link.last = back(link.last.max(long_ago));
        link.now = back(now);
        link.window = link.window.moved(zero.slots, zero.oldest);
        match zero.about {
            About::Edges => link.marks.floor = Mark::default(),
            About::Store => {
                link.bad_tags.clear();
                link.strangers.clear();
            }
        }
        if link.state == State::Down && !link.slots.is_good(now) {
            link.slots.forget();
            link.window = Window::new(0);
            link.last = back(long_ago);
        }
        if link.state == State::Live {
            link.known = link.known.wrapping_sub(zero.number) & 31;
            link.newest = link.newest.wrapping_sub(zero.number) & 31;
        } else {
            // All of these are set anew by the next join.
            (link.known, link.newest, link.fault) = (0, 0, false);
            link.touched = true;
        }
        link.untimed = link
            .untimed
            .map(|number| number.wrapping_sub(zero.number) & 31);
        link.latch = link.latch.moved(zero.ticks, now, config.plan().open_frames);
        link.bad_tags = link.bad_tags.moved(zero.ticks, config.watch, now);
        link.strangers = link.strangers.moved(zero.ticks, config.watch, now);
        link.playout = link.playout.moved(zero.ticks, zero.number);
        link
    }

    /// Whether edge `number` has its time and did not leave yet.
    #[must_use]
    pub fn is_waiting(&self, number: u8) -> bool {
        self.playout.has(number) || self.untimed == Some(number)
    }

    /// The probe's time, to set its errors.
    pub fn slots_mut(&mut self) -> &mut S {
        &mut self.slots
    }
}

/// Whether a time is within the plan's bound.
fn is_sure(config: &LinkConfig, placed: Placed) -> bool {
    placed.bound.is_some_and(|bound| bound <= config.bound)
}

/// Whether the probe knows if there is contact. While it confirms an edge, that edge has begun and
/// is not told: such a frame is no word on the time before it.
fn is_seen(heard: &Heard) -> bool {
    heard.contact != Contact::Between
}

/// A fault of the probe's own.
fn is_fault(heard: &Heard) -> bool {
    heard.fault || heard.contact == Contact::Fault
}

/// Contact says another thing than the parity of the newest edge.
fn is_contradiction(heard: &Heard) -> bool {
    match heard.contact {
        Contact::Open => heard.number & 1 == 1,
        Contact::Touched => heard.number & 1 == 0,
        Contact::Between | Contact::Fault => false,
    }
}
