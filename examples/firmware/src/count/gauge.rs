//! Instructions of a check for breakage: each step of a cycle of two touches, decisions among them.

use core::hint::black_box;

use semihosting::println;
use trueonset::budget::Dof;
use trueonset::flags::Flags;
use trueonset::gauge::check::{
    Allowance, Check, CheckConfig, CheckPlan, CheckTimes, Input, Verdict,
};
use trueonset::gauge::{Reference, Side};
use trueonset::latch::Latched;
use trueonset::time::{Instant, TickRate};

use super::{counted, stop, RATE_HZ};

/// A check, and what is told to it next.
struct Stage {
    check: Check,
    config: CheckConfig,
    input: Input,
    now: u64,
}

/// A step; 1 for whole, 2 for broken, 3 for unproven.
#[inline(never)]
extern "C" fn step(stage: &mut Stage, _: u32, _: bool) -> u32 {
    let now = Instant::from_ticks(stage.now);
    match stage.check.step(&stage.config, stage.input, now).verdict {
        None => 0,
        Some(Verdict::Whole { .. }) => 1,
        Some(Verdict::Broken { .. }) => 2,
        Some(_) => 3,
    }
}

fn latched(off_nm: i64) -> Latched {
    Latched {
        at_nm: black_box(-10_000_000 + off_nm),
        feed_nm_s: -5_000_000,
        doubt_pm: black_box(30_000),
        bound_nm: 0,
        flags: Flags::NONE,
    }
}

fn plan() -> CheckPlan {
    CheckPlan {
        reference: Reference {
            position_nm: 0,
            size_nm: 40_000_000,
        },
        side: Side::Falling,
        expected_nm: black_box(30_000_000),
        wear_nm: 20_000,
        long_nm: 10_000,
        smallest_break_nm: 30_000,
        allowance: Allowance {
            bounds_nm: 300,
            shared_pm: black_box(161_000),
            dof: Dof::N(15),
            touch_pm: 30_000,
        },
        release_nm: 2_000,
        touches: 2,
        attempts: 1,
        other_spot: true,
        turning: false,
        times: CheckTimes {
            arm_ns: 1_000_000_000,
            approach_ns: 1_000_000_000,
            told_ns: 2_000_000,
            hold_ns: 20_000_000,
            release_ns: 1_000_000_000,
            beat_ns: 1_000_000_000,
        },
    }
}

/// Cycles of whole and of broken tools, step by step.
pub(crate) fn count() {
    let Ok(rate) = TickRate::from_hz(black_box(RATE_HZ)) else {
        stop("the tick rate was refused")
    };
    let Ok(config) = CheckConfig::new(plan(), rate) else {
        stop("the check was refused")
    };
    println!("check_state {}", size_of::<Check>());
    let mut stage = Stage {
        check: Check::new(),
        config,
        input: Input::Ready(true),
        now: 0,
    };
    for (off_nm, wanted) in [(-5_000, 1), (-90_000, 2), (11_000, 3)] {
        let touch = latched(off_nm);
        let mut verdict = 0;
        let mut tell = |input| {
            stage.input = input;
            stage.now += 400_000;
            verdict = counted(step, &mut stage, 0, false);
            println!("check");
            verdict
        };
        for input in [
            Input::Ready(true),
            Input::Blocked(false),
            Input::Beat,
            Input::Start,
            Input::Go,
        ] {
            tell(input);
        }
        for _ in 0..2 {
            let ended = [
                Input::Touch(touch),
                Input::Back,
                Input::Released(touch),
                Input::Beat,
                Input::End,
            ]
            .into_iter()
            .any(|input| tell(input) != 0);
            if ended {
                break;
            }
        }
        if verdict != wanted {
            stop("a check came to another verdict than its tool");
        }
    }
}
