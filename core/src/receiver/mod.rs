//! Receiver: the board's side of a link, from bytes to lines.
//!
//! ```text
//!  bytes, captured arrival ─▶ frame ─▶ key ─▶ link ─▶ clock ─▶ playout ─▶ lines
//! ```
//!
//! Hand in every frame with the captured instant of its first edge; call
//! [`poll`](Receiver::poll) until nothing more leaves, then set the outputs to
//! [`lines`](Receiver::lines) and let hardware drop them after `valid_until`. Do so at least once
//! every `poll_ns` of the plan, and by [`deadline`](Receiver::deadline).
//!
//! **Time never runs back here.** A `now` that lies before the latest one counts as the latest. So
//! one `now` far ahead by mistake ends the link, and holds the line at stop until true time has
//! come there too. There is no way back within the receiver: of two times that contradict each
//! other it cannot know the wrong one, and to believe the earlier one may be to prolong a life that
//! has ended. The way back is a new start, and it comes by itself where the
//! [watchdog](crate::lines::Set::feed_watchdog) is fed only as the outputs say: they see time
//! stand from that moment on, and starve it. As after any loss of power, READY then waits for the
//! stored mark: a minute at most.

use crate::edge::Level;
use crate::frame::{Key, Mark, Opened, Report, Sealed, FRAME};
use crate::health::{Awaits, LinkVitals};
use crate::lines::{Causes, Decision, Rearmed};
use crate::link::{
    Grade, Grader, Heard, Link, LinkConfig, Outcome, ProbeTime, State, Stored, Write,
};
use crate::playout::{EdgeRemarks, PlayedEdge};
use crate::time::Instant;

mod config;

pub use config::{ReceiverConfig, ReceiverConfigError};

/// What became of bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Taken {
    /// Damaged on the way.
    Damaged,
    /// Of another probe.
    OtherProbe,
    /// This probe's number, and a tag that fits nothing.
    BadTag,
    /// Genuine, of a kind that this version does not know.
    UnknownKind,
    /// Genuine.
    Genuine(Outcome),
}

/// How often each became of bytes; the counts wrap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Counts {
    /// Accepted, the clock set by it or an edge narrowed.
    pub accepted: u32,
    /// Of these, without prolonging life.
    pub held: u32,
    /// Heard before.
    pub duplicates: u32,
    /// Genuine, and not as the clock has it.
    pub strangers: u32,
    /// Kept back by the store: old, waiting or torn.
    pub kept_back: u32,
    /// With a bad tag.
    pub bad_tags: u32,
    /// Damaged.
    pub damaged: u32,
    /// Of other probes, or of unknown kind.
    pub others: u32,
    /// Edges that left late: polls that did not come in time.
    pub late: u32,
    /// Re-arms granted.
    pub rearms: u32,
    /// Re-arms refused.
    pub refused: u32,
}

/// The board's side of a link.
pub struct Receiver {
    key: Key,
    id: u16,
    link: Link<ProbeTime>,
    counts: Counts,
    newest: Option<Report>,
    /// When the store kept a frame back, and none counted since.
    kept_back: Option<Instant>,
    grader: Grader,
    /// Why the line was latched before the newest re-arm.
    before: Causes,
}

impl Receiver {
    /// At power-up: number and clock of the probe, its key, and what the store holds.
    #[must_use]
    pub fn new(config: &ReceiverConfig, key: Key, stored: Stored) -> Self {
        Self {
            key,
            id: config.id,
            link: Link::new(ProbeTime::new(config.clock), stored),
            counts: Counts::default(),
            newest: None,
            kept_back: None,
            grader: Grader::new(),
            before: Causes::NONE,
        }
    }

    /// Bytes whose first edge was captured at `arrival`, handed in at `now`.
    pub fn frame(
        &mut self,
        config: &LinkConfig,
        now: Instant,
        arrival: Instant,
        bytes: &[u8; FRAME],
    ) -> Taken {
        let taken = self.take(config, now, arrival, bytes);
        let counts = &mut self.counts;
        let count = match taken {
            Taken::Damaged => &mut counts.damaged,
            Taken::OtherProbe | Taken::UnknownKind => &mut counts.others,
            Taken::BadTag => &mut counts.bad_tags,
            Taken::Genuine(outcome) => match outcome {
                Outcome::Life | Outcome::Older | Outcome::Joining | Outcome::Standby => {
                    &mut counts.accepted
                }
                Outcome::Held => {
                    counts.accepted = counts.accepted.wrapping_add(1);
                    &mut counts.held
                }
                Outcome::Duplicate => &mut counts.duplicates,
                Outcome::Stranger => &mut counts.strangers,
                Outcome::Old | Outcome::Waiting | Outcome::Torn => &mut counts.kept_back,
            },
        };
        *count = count.wrapping_add(1);
        taken
    }

    /// The report of a frame that this probe has sent. Apart from what is made of it, for less of
    /// the stack.
    #[inline(never)]
    fn opened(&self, arrival: Instant, bytes: &[u8; FRAME]) -> Result<(Mark, Report), Taken> {
        let sealed = Sealed::parse(bytes).map_err(|_| Taken::Damaged)?;
        if sealed.id() != self.id {
            return Err(Taken::OtherProbe);
        }
        let nearest = self.link.slots().nearest(sealed.slot_low(), arrival);
        match self.link.open(&self.key, &sealed, nearest) {
            Some((who, Opened::Report(report))) => Ok((who, report)),
            Some((_, Opened::Unknown(_))) => Err(Taken::UnknownKind),
            None => Err(Taken::BadTag),
        }
    }

    fn take(
        &mut self,
        config: &LinkConfig,
        now: Instant,
        arrival: Instant,
        bytes: &[u8; FRAME],
    ) -> Taken {
        let (who, report) = match self.opened(arrival, bytes) {
            Ok(opened) => opened,
            Err(Taken::BadTag) => {
                self.link.bad_tag(config, now);
                return Taken::BadTag;
            }
            Err(other) => return other,
        };
        let heard = Heard::new(who, &report);
        let outcome = self.link.frame(config, now, arrival, &heard);
        match outcome {
            Outcome::Waiting | Outcome::Old => self.kept_back = Some(now),
            Outcome::Life | Outcome::Held | Outcome::Joining | Outcome::Standby => {
                self.kept_back = None;
            }
            Outcome::Older | Outcome::Duplicate | Outcome::Stranger | Outcome::Torn => {}
        }
        if matches!(
            outcome,
            Outcome::Life | Outcome::Held | Outcome::Joining | Outcome::Standby
        ) {
            self.newest = Some(report);
            if report.signs.measuring {
                self.grader.heard(config, who);
            } else {
                self.grader.rest();
            }
        }
        Taken::Genuine(outcome)
    }

    /// The next edge that leaves by `now`; call until there is none.
    pub fn poll(&mut self, config: &LinkConfig, now: Instant) -> Option<PlayedEdge> {
        let edge = self.link.poll(config, now)?;
        if edge.remarks.has(EdgeRemarks::LATE) {
            self.counts.late = self.counts.late.wrapping_add(1);
        }
        Some(edge)
    }

    /// What the outputs are to say from `now` on.
    #[must_use]
    pub fn lines(&mut self, config: &LinkConfig, now: Instant) -> Decision {
        self.link.lines(config, now)
    }

    /// When to poll again at the latest.
    #[must_use]
    pub fn deadline(&self, config: &LinkConfig) -> Option<Instant> {
        self.link.deadline(config)
    }

    /// The level of the re-arm wire; what came of it, where it rose. One that cannot be read is
    /// latched as a fault, and counts as a rise only once it was seen low again.
    pub fn rearm(&mut self, config: &LinkConfig, now: Instant, wire: Level) -> Option<Rearmed> {
        let causes = self.causes();
        let came = self.link.rearm(config, now, wire)?;
        let count = if came.is_ok() {
            self.before = causes;
            &mut self.counts.rearms
        } else {
            &mut self.counts.refused
        };
        *count = count.wrapping_add(1);
        Some(came)
    }

    /// A write that the store should make now.
    #[must_use]
    pub fn want(&self) -> Option<Write> {
        self.link.want()
    }

    /// The write that is [wanted](Self::want) has become durable; any other mark changes nothing.
    pub fn stored(&mut self, mark: Mark) {
        self.link.stored(mark);
    }

    /// What to write on a warning that power fails, into both places. Where power stays after all,
    /// frames count again once the next write that is wanted is durable. A write that was under
    /// way is written over by this one, and not told as stored.
    #[must_use]
    pub fn close(&mut self, config: &LinkConfig) -> Option<Write> {
        self.link.close(config)
    }

    /// Latches the line at stop, for a cause of the caller's own.
    pub fn latch(&mut self, cause: Causes) {
        self.link.latch(cause);
    }

    /// Why the line is latched at stop.
    #[must_use]
    pub const fn causes(&self) -> Causes {
        self.link.causes()
    }

    /// Why it was latched before the newest re-arm that was granted.
    #[must_use]
    pub const fn causes_before(&self) -> Causes {
        self.before
    }

    /// How far the link has come.
    #[must_use]
    pub const fn state(&self) -> State {
        self.link.state()
    }

    /// The probe's time.
    #[must_use]
    pub const fn time(&self) -> &ProbeTime {
        self.link.slots()
    }

    /// What became of all bytes so far.
    #[must_use]
    pub const fn counts(&self) -> &Counts {
        &self.counts
    }

    /// How good the air is.
    #[must_use]
    pub const fn grade(&self) -> Grade {
        self.grader.grade()
    }

    /// Falls of READY to be expected in 1000 hours of this air.
    #[must_use]
    pub fn falls_per_1000_h(&self, config: &LinkConfig) -> u32 {
        self.grader.falls_per_1000_h(config)
    }

    /// What [`Health`](crate::health::Health) wants to know.
    #[must_use]
    pub fn vitals(&self, config: &LinkConfig, now: Instant) -> LinkVitals {
        let time = self.time();
        LinkVitals {
            state: self.state(),
            awaits: self.awaits(config, now),
            grade: self.grade(),
            out_of_tolerance: time
                .clock()
                .is_some_and(|clock| clock.out_of_tolerance(time.config())),
        }
    }

    /// What a link that does not live waits for.
    fn awaits(&self, config: &LinkConfig, now: Instant) -> Awaits {
        // What stands in for a silent probe is forgotten like a bad tag.
        let fresh = |at: Instant| now.ticks_since(at) <= config.watch;
        let joins = config.plan().join_frames;
        match self.state() {
            _ if self.link.is_torn() => Awaits::Pairing,
            _ if self.kept_back.is_some_and(fresh) => Awaits::Mark,
            State::Joining(count) if count >= joins && !self.link.is_sure(config) => Awaits::Clock,
            _ => Awaits::Frames,
        }
    }

    /// The newest genuine report.
    #[must_use]
    pub const fn newest(&self) -> Option<&Report> {
        self.newest.as_ref()
    }
}

#[cfg(test)]
mod tests;
