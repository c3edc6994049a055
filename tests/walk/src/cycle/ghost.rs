//! The truth about a cycle, and what a verdict must not say against it.
//!
//! It knows what happened, not how the machine thinks. For `whole`: **I1** READY at every step from
//! armed to judged, **I2** no flag, **I3** two touches or as many as planned, **I4** every touch in
//! the window, **I5** all agree, **I6** each held, released where it was made, and a sign of life
//! after it, **I7** no stray edge, **I11** no step out of its time. **I8** broken only by a touch
//! that is short, or without any by a probe proven alive, and as clean as `whole` (I1, I2, I6, I7,
//! I11); **I9** a cycle ends with a verdict, and an unproven one says why;
//! **I10** a verdict never changes until the next start. **I12** another attempt only as often as
//! planned, and after nothing but what may pass; it has to prove all of the above anew, life included.

use trueonset::gauge::check::{Motion, Output, Reasons, Verdict};

use super::choice::{Choice, Place};
use super::{HOLD, STEP, TOLD};
use crate::walk::{broken, Broken};

/// How far a touch has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
enum Phase {
    #[default]
    Before,
    Armed,
    Approach,
    Touched,
    Retract,
    /// The end of the travel without a touch, far enough or not; one may still be in flight.
    Limit(bool),
    /// Going back for another attempt.
    Again,
    Judged,
}

/// One touch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Touch {
    place: Option<Place>,
    held: bool,
    released: bool,
    beat: bool,
}

/// What was true in a cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Ghost {
    phase: Phase,
    /// Since the beginning of what the phase waits for, ticks.
    age: u64,
    touch: Touch,
    /// Begun since the last verdict.
    attempts: u8,
    /// Complete touches.
    touches: u8,
    first: Option<Place>,
    ready: bool,
    /// None while nobody knows.
    blocked: Option<bool>,
    /// A sign of life since the last verdict, or the end of the last attempt.
    alive: bool,
    gap: bool,
    flagged: bool,
    stray: bool,
    overdue: bool,
    apart: bool,
    misfit: bool,
    /// A touch without all of its evidence.
    unheld: bool,
}

impl Ghost {
    /// Whether a cycle is under way or judged.
    pub(super) fn began(&self) -> bool {
        self.phase != Phase::Before
    }

    /// Where the touch in hand was made.
    pub(super) const fn place(&self) -> Option<Place> {
        self.touch.place
    }

    /// Something happens while the axis does what it was told.
    pub(super) fn sees(&mut self, choice: Choice, motion: Motion) {
        match choice {
            Choice::Tick => self.ticks(),
            Choice::Ready(ready) => {
                self.ready = ready;
                self.gap |= !ready;
            }
            Choice::Blocked(blocked) => {
                self.blocked = Some(blocked);
                self.stray |= match self.phase {
                    Phase::Armed => blocked,
                    Phase::Touched => !blocked,
                    Phase::Retract => blocked && self.touch.released,
                    _ => false,
                };
            }
            Choice::Start | Choice::Go | Choice::Note => {}
            Choice::Touch(place) => self.touched(place, motion),
            Choice::TouchFlagged | Choice::TouchAstray | Choice::TouchWithoutDoubt => {
                // Anywhere else a touch is a stray one, whatever its flags.
                self.flagged |= matches!(self.phase, Phase::Approach | Phase::Limit(_));
                self.touched(Place::Whole, motion);
            }
            Choice::ReleasedAtMake | Choice::ReleasedElsewhere | Choice::ReleasedFlagged => {
                self.blocked = Some(false);
                let first = self.phase == Phase::Retract && !self.touch.released;
                let makes = choice != Choice::ReleasedElsewhere;
                // Anywhere else it is a stray one, whatever its flags.
                self.flagged |= self.phase == Phase::Retract && choice == Choice::ReleasedFlagged;
                self.stray |= !first;
                if first {
                    self.touch.released = true;
                    self.unheld |= !makes;
                    self.age = 0;
                }
            }
            Choice::Beat => {
                self.alive = true;
                self.touch.beat |= self.touch.released && self.ready;
            }
            Choice::LimitFar | Choice::LimitNear => {
                if self.phase == Phase::Approach {
                    self.phase = Phase::Limit(choice == Choice::LimitFar);
                    self.age = 0;
                }
            }
            Choice::Back => {
                if self.phase == Phase::Touched {
                    self.phase = Phase::Retract;
                    self.age = 0;
                }
            }
            Choice::End => {
                if self.phase == Phase::Retract {
                    self.touches += 1;
                    self.unheld |= !(self.touch.held && self.touch.released && self.touch.beat);
                }
            }
            Choice::Flag | Choice::Unfit => self.flagged = true,
        }
    }

    fn ticks(&mut self) {
        self.age = (self.age + 1).min(HOLD + STEP + 1);
        let most = match self.phase {
            Phase::Touched => HOLD + STEP,
            Phase::Limit(_) => TOLD + STEP,
            _ => STEP,
        };
        self.overdue |= self.age > most;
        if self.phase == Phase::Touched {
            self.touch.held |= self.age >= HOLD && self.blocked == Some(true);
        }
    }

    fn touched(&mut self, place: Place, motion: Motion) {
        self.blocked = Some(true);
        let moves = self.phase == Phase::Approach && motion == Motion::Advance;
        // In flight when the axis stopped.
        let late = matches!(self.phase, Phase::Limit(_)) && self.age <= TOLD;
        if !moves && !late {
            self.stray = true;
            return;
        }
        self.phase = Phase::Touched;
        self.age = 0;
        self.touch = Touch {
            place: Some(place),
            ..Touch::default()
        };
        self.misfit |= !place.fits();
        let first = *self.first.get_or_insert(place);
        self.apart |= first != place;
    }

    /// A verdict against the truth.
    pub(super) fn judges(&self, verdict: &Verdict, wanted: u8) -> Result<(), Broken> {
        match *verdict {
            Verdict::Whole { .. } => {
                self.is_clean("whole")?;
                self.each(
                    "whole",
                    [
                        ("I3", self.touches < wanted.max(2)),
                        ("I4", self.misfit),
                        ("I5", self.apart),
                    ],
                )
            }
            Verdict::Broken { reasons } => {
                let words = format!("broken {}", words(reasons));
                self.is_clean(&words)?;
                let proven = match reasons {
                    Reasons::SHORT => self.touches > 0 && self.touch.place == Some(Place::Short),
                    Reasons::ABSENT => {
                        self.alive
                            && self.blocked == Some(false)
                            && self.first.is_none()
                            && self.phase == Phase::Limit(true)
                            && self.age > TOLD
                    }
                    _ => false,
                };
                self.each(&words, [("I8", !proven)])
            }
            Verdict::Unproven { reasons } => {
                if reasons.is_empty() {
                    broken("I9", "unproven without a reason")
                } else {
                    Ok(())
                }
            }
        }
    }

    /// What has happened may pass, and an attempt is left.
    pub(super) fn may_try_again(&self, planned: u8) -> Result<(), Broken> {
        let grey = matches!(self.touch.place, Some(Place::Grey | Place::Short));
        let first_grey = matches!(self.first, Some(Place::Grey | Place::Short));
        let stays = self.flagged || self.overdue || grey || first_grey;
        // While a touch may be in flight, nothing is silent yet.
        let silent = matches!(self.phase, Phase::Limit(_)) && self.age > TOLD;
        self.each(
            "another attempt",
            [("I12", stays || silent || self.attempts >= planned)],
        )
    }

    /// What no verdict but unproven stands beside.
    fn is_clean(&self, verdict: &str) -> Result<(), Broken> {
        self.each(
            verdict,
            [
                ("I1", self.gap),
                ("I2", self.flagged),
                ("I6", self.unheld),
                ("I7", self.stray),
                ("I11", self.overdue),
            ],
        )
    }

    /// The first rule that is broken.
    fn each<const N: usize>(
        &self,
        verdict: &str,
        rules: [(&'static str, bool); N],
    ) -> Result<(), Broken> {
        for (rule, wrong) in rules {
            if wrong {
                let place = self.touch.place;
                broken(
                    rule,
                    format!("{verdict} after {} touches, {place:?}", self.touches),
                )?;
            }
        }
        Ok(())
    }

    /// What the machine has answered.
    pub(super) fn hears(&mut self, choice: Choice, output: &Output) {
        if choice == Choice::Start && self.may_start(output) {
            *self = Self {
                phase: Phase::Armed,
                attempts: if self.phase == Phase::Again {
                    self.attempts + 1
                } else {
                    1
                },
                ready: self.ready,
                blocked: self.blocked,
                alive: self.alive,
                gap: !self.ready,
                stray: self.blocked != Some(false),
                ..Self::default()
            };
        }
        if output.verdict.is_some() {
            // What is true of a cycle that is over no longer matters; life counts from the verdict.
            *self = Self {
                phase: Phase::Judged,
                ready: self.ready,
                blocked: self.blocked,
                alive: self.alive && self.phase == Phase::Judged,
                ..Self::default()
            };
            return;
        }
        if output.again.is_some() {
            // Nothing of it counts any more, life neither.
            *self = Self {
                phase: Phase::Again,
                attempts: self.attempts,
                age: if self.phase == Phase::Again {
                    self.age
                } else {
                    0
                },
                flagged: self.phase == Phase::Again && self.flagged,
                overdue: self.phase == Phase::Again && self.overdue,
                ready: self.ready,
                blocked: self.blocked,
                alive: self.alive && self.phase == Phase::Again,
                ..Self::default()
            };
            return;
        }
        let next = (choice == Choice::Go && self.phase == Phase::Armed)
            || (choice == Choice::End && self.phase == Phase::Retract);
        if next && output.motion == Motion::Advance {
            self.phase = Phase::Approach;
            self.age = 0;
            self.touch = Touch::default();
        }
    }

    /// A start counts where no cycle is under way.
    fn may_start(&self, output: &Output) -> bool {
        let waits = matches!(self.phase, Phase::Before | Phase::Judged | Phase::Again);
        output.verdict.is_none() && output.again.is_none() && waits
    }
}

fn words(reasons: Reasons) -> String {
    reasons.words().collect::<Vec<_>>().join(" ")
}
