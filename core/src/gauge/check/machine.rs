//! The steps of a check.

use super::config::{CheckConfig, Judged};
use super::Reasons;
use crate::flags::Flags;
use crate::latch::Latched;
use crate::time::Instant;

/// What happens to a check, each at its instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Input {
    /// The control begins a check.
    Start,
    /// The control may start the approach.
    Go,
    /// The probe was touched there.
    Touch(Latched),
    /// The probe was released there.
    Released(Latched),
    /// An authentic sign of life: a beat of the link, or a supervised wire found sound for a hold.
    Beat,
    /// READY stands, or has fallen.
    Ready(bool),
    /// Whether something blocks the probe, as its state says apart from a touch: it is to be told
    /// before the first start, as nothing else says that the way is free.
    Blocked(bool),
    /// The approach has stopped at the end of its travel. What has touched before may still be in
    /// flight: the verdict waits for it, and the touch counts as any other.
    Limit {
        /// There, nm.
        at_nm: i64,
    },
    /// The retract begins.
    Back,
    /// The retract has ended.
    End,
    /// A remark of probe or latch apart from a touch.
    Flag(Flags),
    /// Link, cells or light cannot vouch: late or lost edges, cells not known to last, too little
    /// light, a failed self-test.
    Unfit,
}

/// What the axis is to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Motion {
    /// Stand.
    Hold,
    /// Approach at the planned feed.
    Advance,
    /// Go back to where the approach began.
    Retract,
}

/// What a check comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Verdict {
    /// The tool is whole.
    Whole {
        /// Mean length, nm.
        length_nm: i64,
        /// Its standard uncertainty, pm, with what is bounded in it.
        doubt_pm: u32,
        /// Remarks that forbid nothing, `same_spot` among them.
        notes: Flags,
    },
    /// The tool is broken.
    Broken {
        /// `short` or `absent`.
        reasons: Reasons,
    },
    /// Neither is proven: clean, look, measure again.
    Unproven {
        /// Why; the first is the one to tell.
        reasons: Reasons,
    },
}

/// What a step has to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct Output {
    /// What the axis is to do.
    pub motion: Motion,
    /// The verdict, from the step that reaches it until the next start.
    pub verdict: Option<Verdict>,
    /// Why another attempt is due: the axis goes back, and [`Input::Start`] begins anew, with
    /// nothing kept of what was. Only for what may pass (`link`, `stuck`, `held`, `disagree`,
    /// `early`), and as often as the plan allows. Where that is `early` or `disagree` a chip may
    /// lie there: clean, or take another spot.
    pub again: Option<Reasons>,
    /// When [`Check::poll`] is to be called at the latest. A call beyond a deadline that is not
    /// the end of a hold is a step that came late: unproven.
    pub deadline: Option<Instant>,
}

/// Where a check stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum State {
    Idle,
    Armed,
    Approach,
    /// At the end of the travel without a touch, beyond the smallest break or not; at the instant
    /// none is in flight any more.
    Limit {
        beyond: bool,
        told_at: Instant,
    },
    /// In contact; a hold is over at the instant.
    Touched {
        made_nm: i64,
        held_at: Instant,
    },
    Retract {
        made_nm: i64,
    },
    /// The attempt came to nothing by what may pass.
    Again(Reasons),
    Judged(Verdict),
}

/// Evidence of the touch in hand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Evidence {
    held: bool,
    released: bool,
    beat: bool,
    /// What its length said.
    length: Reasons,
}

/// What the touches of a cycle have come to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    first_nm: i64,
    first_own_pm: u32,
    /// Of the differences from the first.
    apart_nm: i64,
    largest_own_pm: u32,
    largest_bound_nm: u32,
    notes: Flags,
}

/// A check of one tool, cycle after cycle. O(1) a call.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Check {
    state: State,
    /// Attempts begun since the last verdict.
    attempts: u8,
    /// Complete touches of this attempt.
    touches: u8,
    sums: Sums,
    evidence: Evidence,
    /// What has spoiled this attempt; never cleared inside one.
    dirty: Reasons,
    ready: bool,
    /// None before anything has told.
    blocked: Option<bool>,
    /// A sign of life since the last verdict, or the last attempt.
    alive: bool,
    deadline: Option<Instant>,
    late: u32,
}

impl Default for Check {
    fn default() -> Self {
        Self::new()
    }
}

impl Check {
    /// Idle, READY not seen yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            state: State::Idle,
            attempts: 0,
            touches: 0,
            sums: Sums {
                first_nm: 0,
                first_own_pm: 0,
                apart_nm: 0,
                largest_own_pm: 0,
                largest_bound_nm: 0,
                notes: Flags::NONE,
            },
            evidence: Evidence {
                held: false,
                released: false,
                beat: false,
                length: Reasons::NONE,
            },
            dirty: Reasons::NONE,
            ready: false,
            blocked: None,
            alive: false,
            deadline: None,
            late: 0,
        }
    }

    /// Steps that came after their time, over all cycles (saturates).
    #[must_use]
    pub const fn late(&self) -> u32 {
        self.late
    }

    /// Complete touches of this attempt.
    #[must_use]
    pub const fn touches(&self) -> u8 {
        self.touches
    }

    /// Time has passed.
    pub fn poll(&mut self, now: Instant) -> Output {
        self.pass(now);
        self.output()
    }

    /// Something has happened.
    pub fn step(&mut self, config: &CheckConfig, input: Input, now: Instant) -> Output {
        self.pass(now);
        match input {
            Input::Ready(ready) => {
                self.ready = ready;
                if !ready {
                    self.spoil(config, Reasons::LINK, now);
                }
            }
            Input::Blocked(blocked) => {
                self.blocked = Some(blocked);
                // Nothing is there before the approach or after a release, and a touch stays.
                let stray = match self.state {
                    State::Armed => blocked,
                    State::Touched { .. } => !blocked,
                    State::Retract { .. } => blocked && self.evidence.released,
                    _ => false,
                };
                if stray {
                    self.spoil(config, Reasons::STUCK, now);
                }
            }
            Input::Flag(flags) => {
                let (noted, forbidden) = config.noted(flags);
                self.sums.notes.insert(noted);
                if !forbidden.is_empty() {
                    self.spoil(config, Reasons::FLAG, now);
                }
            }
            Input::Unfit => self.spoil(config, Reasons::FLAG, now),
            Input::Beat => self.beat(),
            Input::Touch(touch) => {
                self.blocked = Some(true);
                self.touch(config, &touch, now);
            }
            Input::Released(release) => {
                self.blocked = Some(false);
                self.release(config, &release, now);
            }
            Input::Start => self.start(config, now),
            Input::Go => {
                if self.state == State::Armed {
                    self.go(config, now);
                }
            }
            Input::Limit { at_nm } => {
                if self.state == State::Approach {
                    // One more than the ticks that it takes, for those it was rounded by.
                    let told_at = now.later(config.told).later(1);
                    let beyond = config.is_beyond_break(at_nm);
                    self.state = State::Limit { beyond, told_at };
                    self.deadline = Some(told_at);
                }
            }
            Input::Back => {
                if let State::Touched { made_nm, .. } = self.state {
                    self.state = State::Retract { made_nm };
                    self.deadline = Some(now.later(config.release));
                }
            }
            Input::End => {
                if matches!(self.state, State::Retract { .. }) {
                    self.end(config, now);
                }
            }
        }
        self.output()
    }

    /// What time alone brings: a hold that is over, a step that did not come.
    fn pass(&mut self, now: Instant) {
        if let State::Limit { beyond, told_at } = self.state {
            if now >= told_at {
                self.limit(beyond);
            }
        }
        if let State::Touched { held_at, .. } = self.state {
            self.evidence.held |= now >= held_at;
        }
        if self.deadline.is_some_and(|deadline| now > deadline) {
            self.late = self.late.saturating_add(1);
            let missing = match self.state {
                State::Retract { .. } if self.evidence.released => Reasons::LINK,
                State::Retract { .. } | State::Touched { .. } => Reasons::STUCK,
                _ => Reasons::SILENT,
            };
            self.dirty.insert(missing.union(Reasons::LATE));
            self.unproven();
        }
    }

    /// Nothing inside an attempt makes this good again. On the way to the plate it ends it.
    fn spoil(&mut self, config: &CheckConfig, reason: Reasons, now: Instant) {
        match self.state {
            State::Idle | State::Judged(_) => {}
            // Between attempts only what does not pass counts.
            State::Again(_) if reason.may_pass() => {}
            State::Approach | State::Limit { .. } | State::Again(_) => {
                self.dirty.insert(reason);
                self.give_up(config, now);
            }
            _ => self.dirty.insert(reason),
        }
    }

    fn start(&mut self, config: &CheckConfig, now: Instant) {
        self.attempts = match self.state {
            State::Idle | State::Judged(_) => 1,
            State::Again(_) => self.attempts.saturating_add(1),
            _ => return,
        };
        self.state = State::Armed;
        self.touches = 0;
        self.sums = Sums::default();
        self.evidence = Evidence::default();
        self.dirty = Reasons::NONE;
        self.dirty.insert_if(Reasons::LINK, !self.ready);
        self.dirty
            .insert_if(Reasons::STUCK, self.blocked != Some(false));
        self.deadline = Some(now.later(config.arm));
    }

    fn go(&mut self, config: &CheckConfig, now: Instant) {
        if self.dirty.is_empty() {
            self.approach(config, now);
        } else {
            self.give_up(config, now);
        }
    }

    fn approach(&mut self, config: &CheckConfig, now: Instant) {
        self.state = State::Approach;
        self.evidence = Evidence::default();
        self.deadline = Some(now.later(config.approach));
    }

    fn touch(&mut self, config: &CheckConfig, touch: &Latched, now: Instant) {
        if !matches!(self.state, State::Approach | State::Limit { .. }) {
            return self.spoil(config, Reasons::STUCK, now);
        }
        let judged = config.judge(touch);
        self.sums.notes.insert(config.noted(touch.flags).0);
        self.evidence.length = judged.reasons;
        if self.touches == 0 {
            self.sums.first_nm = judged.length_nm;
            self.sums.first_own_pm = judged.own_pm;
        } else if !self.first().agrees(&judged) {
            self.dirty.insert(Reasons::DISAGREE);
            self.dirty.insert(judged.reasons);
            return self.give_up(config, now);
        }
        let apart_nm = judged.length_nm.saturating_sub(self.sums.first_nm);
        self.sums.apart_nm = self.sums.apart_nm.saturating_add(apart_nm);
        self.sums.largest_own_pm = self.sums.largest_own_pm.max(judged.own_pm);
        self.sums.largest_bound_nm = self.sums.largest_bound_nm.max(touch.bound_nm);
        let held_at = now.later(config.hold);
        self.state = State::Touched {
            made_nm: touch.at_nm,
            held_at,
        };
        self.deadline = Some(held_at.later(config.release));
    }

    /// The first touch, as it was judged.
    fn first(&self) -> Judged {
        Judged {
            length_nm: self.sums.first_nm,
            own_pm: self.sums.first_own_pm,
            reasons: Reasons::NONE,
        }
    }

    fn release(&mut self, config: &CheckConfig, release: &Latched, now: Instant) {
        let State::Retract { made_nm } = self.state else {
            return self.spoil(config, Reasons::STUCK, now);
        };
        if self.evidence.released || !config.is_at_make(made_nm, release) {
            self.spoil(config, Reasons::STUCK, now);
        }
        let forbidden = config.noted(release.flags).1;
        self.dirty.insert_if(Reasons::FLAG, !forbidden.is_empty());
        if !self.evidence.released {
            self.evidence.released = true;
            self.deadline = Some(now.later(config.beat));
        }
    }

    fn beat(&mut self) {
        self.alive = true;
        if matches!(self.state, State::Retract { .. }) && self.evidence.released && self.ready {
            self.evidence.beat = true;
        }
    }

    /// The end of the travel without a touch, and without one in flight.
    fn limit(&mut self, beyond: bool) {
        let proven = self.touches == 0
            && self.dirty.is_empty()
            && self.ready
            && self.alive
            && self.blocked == Some(false)
            && beyond;
        if proven {
            self.judge(Verdict::Broken {
                reasons: Reasons::ABSENT,
            });
        } else {
            // Silence is not of what may pass.
            self.dirty.insert(Reasons::SILENT);
            self.unproven();
        }
    }

    /// The end of a retract: the touch is complete.
    fn end(&mut self, config: &CheckConfig, now: Instant) {
        self.touches = self.touches.saturating_add(1);
        let evidence = self.evidence;
        self.dirty.insert_if(Reasons::STUCK, !evidence.released);
        self.dirty
            .insert_if(Reasons::LINK, evidence.released && !evidence.beat);
        self.dirty.insert_if(Reasons::HELD, !evidence.held);
        if self.dirty.is_empty() && evidence.length == Reasons::SHORT {
            return self.judge(Verdict::Broken {
                reasons: Reasons::SHORT,
            });
        }
        self.dirty.insert(evidence.length);
        if !self.dirty.is_empty() {
            return self.give_up(config, now);
        }
        if self.touches < config.plan().touches {
            return self.approach(config, now);
        }
        let mut notes = self.sums.notes;
        notes.insert_if(Flags::SAME_SPOT, !config.plan().other_spot);
        let mean = self.sums.apart_nm.checked_div(i64::from(self.touches));
        self.judge(Verdict::Whole {
            length_nm: self.sums.first_nm.saturating_add(mean.unwrap_or(0)),
            doubt_pm: config.mean_doubt_pm(
                self.sums.largest_own_pm,
                self.sums.largest_bound_nm,
                self.touches,
            ),
            notes,
        });
    }

    /// The attempt proves nothing: another, where one is left and what was may pass.
    fn give_up(&mut self, config: &CheckConfig, now: Instant) {
        if self.attempts < config.plan().attempts && self.dirty.may_pass() {
            self.state = State::Again(self.dirty);
            self.alive = false;
            // The way back takes no longer than the one there.
            self.deadline = Some(now.later(config.approach));
        } else {
            self.unproven();
        }
    }

    fn unproven(&mut self) {
        // A short length beside anything else proves nothing.
        self.judge(Verdict::Unproven {
            reasons: self.dirty,
        });
    }

    fn judge(&mut self, verdict: Verdict) {
        self.state = State::Judged(verdict);
        self.alive = false;
        self.deadline = None;
    }

    fn output(&self) -> Output {
        let (motion, verdict) = match self.state {
            State::Idle | State::Armed | State::Limit { .. } => (Motion::Hold, None),
            State::Approach => (Motion::Advance, None),
            State::Touched { .. } if !self.evidence.held => (Motion::Hold, None),
            State::Touched { .. } | State::Retract { .. } | State::Again(_) => {
                (Motion::Retract, None)
            }
            State::Judged(verdict) => (Motion::Retract, Some(verdict)),
        };
        let deadline = match self.state {
            State::Touched { held_at, .. } if !self.evidence.held => Some(held_at),
            _ => self.deadline,
        };
        let again = match self.state {
            State::Again(reasons) => Some(reasons),
            _ => None,
        };
        Output {
            motion,
            verdict,
            again,
            deadline,
        }
    }
}

/// Another zero of time, for comparing states of a walk.
#[cfg(feature = "walk")]
impl Check {
    /// The same with all instants so many ticks earlier, and without what it has counted.
    #[must_use]
    pub fn moved(&self, ticks: u64) -> Self {
        let back = |at: Instant| at.earlier(ticks);
        let mut moved = self.clone();
        moved.deadline = self.deadline.map(back);
        moved.late = 0;
        moved.state = match self.state {
            State::Touched { made_nm, held_at } => State::Touched {
                made_nm,
                held_at: back(held_at),
            },
            State::Limit { beyond, told_at } => State::Limit {
                beyond,
                told_at: back(told_at),
            },
            state => state,
        };
        moved
    }
}
