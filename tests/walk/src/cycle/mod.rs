//! A check for breakage, with everything that may happen to it at any time.
//!
//! The world is the shipping state machine beside a ghost that keeps the truth: what probe and axis
//! really did. Each verdict is held against it, by the invariants of [`ghost`].

mod choice;
pub(crate) mod faults;
mod ghost;

use choice::Choice;
use ghost::Ghost;
use trueonset::budget::Dof;
use trueonset::gauge::check::{
    Allowance, Check, CheckConfig, CheckPlan, CheckTimes, Motion, Output, Verdict,
};
use trueonset::gauge::{Reference, Side};
use trueonset::time::{Instant, TickRate};

use crate::walk::{broken, Broken, Rules};

/// The present, at which every state is looked at.
const NOW: u64 = 16;
/// How long each step may take, and a hold lasts, ticks.
const STEP: u64 = 1;
const HOLD: u64 = 2;
/// How late a contact may be told.
const TOLD: u64 = 1;

/// A small check.
#[derive(Debug)]
pub(crate) struct Plan {
    pub(crate) name: &'static str,
    touches: u8,
    attempts: u8,
    other_spot: bool,
}

/// All of them.
pub(crate) const ALL: &[Plan] = &[
    Plan {
        name: "check cycle, two touches",
        touches: 2,
        attempts: 1,
        other_spot: true,
    },
    Plan {
        name: "check cycle, two touches and attempts",
        touches: 2,
        attempts: 2,
        other_spot: true,
    },
    Plan {
        name: "check cycle, three touches on one spot",
        touches: 3,
        attempts: 1,
        other_spot: false,
    },
];

/// The machine and the truth.
#[derive(Clone, Hash)]
pub(crate) struct World {
    check: Check,
    ghost: Ghost,
    motion: Motion,
    verdict: Option<Verdict>,
}

/// The rules of a plan.
pub(crate) struct Cycle {
    config: CheckConfig,
    touches: u8,
    attempts: u8,
}

impl Cycle {
    /// # Errors
    /// It breaks a rule of the constructor.
    pub(crate) fn new(plan: &Plan) -> Result<Self, String> {
        let config = CheckPlan {
            reference: Reference {
                position_nm: 0,
                size_nm: 30_000_000,
            },
            side: Side::Falling,
            expected_nm: 30_000_000,
            wear_nm: choice::WEAR_NM,
            long_nm: choice::LONG_NM,
            smallest_break_nm: choice::BREAK_NM,
            allowance: Allowance {
                bounds_nm: 300,
                shared_pm: 100_000,
                dof: Dof::Known,
                touch_pm: 0,
            },
            release_nm: 2_000,
            touches: plan.touches,
            attempts: plan.attempts,
            other_spot: plan.other_spot,
            turning: false,
            times: CheckTimes {
                arm_ns: STEP,
                approach_ns: STEP,
                told_ns: TOLD,
                hold_ns: HOLD,
                release_ns: STEP,
                beat_ns: STEP,
            },
        };
        let config =
            CheckConfig::new(config, TickRate::NANOSECONDS).map_err(|why| why.to_string())?;
        Ok(Self {
            config,
            touches: plan.touches,
            attempts: plan.attempts,
        })
    }

    fn after(&self, world: &World, choice: Choice) -> (World, Output) {
        let mut next = world.clone();
        let output = if let Some(input) = choice.input(&world.ghost) {
            next.check
                .step(&self.config, input, Instant::from_ticks(NOW))
        } else {
            let output = next.check.poll(Instant::from_ticks(NOW + 1));
            next.check = next.check.moved(1);
            output
        };
        (next, output)
    }
}

impl Rules for Cycle {
    type World = World;
    type Choice = Choice;

    fn start(&self) -> World {
        World {
            check: Check::new(),
            ghost: Ghost::default(),
            motion: Motion::Hold,
            verdict: None,
        }
    }

    fn choices(&self, _: &World) -> Vec<Choice> {
        choice::ALL.to_vec()
    }

    fn step(&self, world: &World, choice: Choice) -> Result<World, Broken> {
        let (mut next, output) = self.after(world, choice);
        if world.verdict.is_some() && choice != Choice::Start && output.verdict != world.verdict {
            broken(
                "I10",
                format!("{:?} became {:?}", world.verdict, output.verdict),
            )?;
        }
        next.ghost.sees(choice, world.motion);
        if world.verdict.is_none() {
            if let Some(verdict) = &output.verdict {
                next.ghost.judges(verdict, self.touches)?;
            }
        }
        if output.again.is_some() {
            next.ghost.may_try_again(self.attempts)?;
        }
        if output.verdict.is_none() && output.deadline.is_none() && next.ghost.began() {
            broken("I9", "a cycle that waits for nothing and has no verdict")?;
        }
        next.ghost.hears(choice, &output);
        next.motion = output.motion;
        next.verdict = output.verdict;
        Ok(next)
    }

    /// By time alone every cycle comes to a verdict.
    fn recovers(&self, world: &World, path: &mut Vec<Choice>) -> Result<u32, Broken> {
        let mut world = world.clone();
        let most = (HOLD + 2 * STEP + 2) as u32;
        for ticks in 0..=most {
            if !world.ghost.began() || world.verdict.is_some() {
                return Ok(ticks);
            }
            path.push(Choice::Tick);
            world = self.step(&world, Choice::Tick)?;
        }
        broken("I9", format!("no verdict after {most} ticks"))?;
        Ok(most)
    }
}
