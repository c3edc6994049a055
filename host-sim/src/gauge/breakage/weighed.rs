//! Breaks that single touches do not tell: each touch shows its evidence to the core's check, and its length is then
//! weighed by the core's sequential test, until it is decided.
//!
//! The gap that is weighed is what the break is longer than the wear, less all that the touches share: no number of
//! them lowers that.

use trueonset::flags::Flags;
use trueonset::gauge::check::{Allowance, CheckConfig, CheckPlan, Verdict};
use trueonset::gauge::{Sequential, SequentialError, Weighed};
use trueonset::latch::Latched;

use super::{checked, evidence, latched, released_elsewhere, verified, window, Teller};
use crate::fault::Fault;
use crate::gauge::entries::Doubts;
use crate::gauge::outcome::Outcome;
use crate::gauge::plan::{Kind, Plan};
use crate::gauge::touches::Touch;

/// The most touches, where the plan does not state it.
const MOST: u16 = 20;
/// A window so wide that evidence alone counts, nm.
const OPEN_NM: u32 = 1_000_000_000;

/// How a row ends the test.
enum End {
    Whole,
    Broken(&'static str),
    Unproven(&'static str),
}

pub(super) fn judge(plan: &Plan, cycle: &[Touch]) -> Result<Outcome, Fault> {
    let all = latched(plan, cycle)?;
    let doubts = Doubts::of(plan, &all)?;
    let asked = CheckPlan {
        touches: 2,
        ..checked(plan, cycle, &doubts)?
    };
    let open = verified(
        plan,
        &doubts,
        CheckPlan {
            wear_nm: OPEN_NM,
            smallest_break_nm: 3 * OPEN_NM,
            ..asked
        },
    )?;
    let mut test = test(plan, &doubts, &asked, &all)?;
    let mut end = End::Unproven("few");
    let (mut told, mut lengths, mut notes) = (cycle.len(), Vec::new(), Flags::NONE);
    for (touch, number) in cycle.iter().zip(1..) {
        // A touch that was released has proved the probe for what comes after it.
        let alive = !lengths.is_empty() || cycle.first().is_some_and(|touch| touch.alive);
        let row = if touch.is_limit() {
            Some(nothing_met(plan, &doubts, &asked, touch, alive)?)
        } else {
            let made = touch.latched(plan)?;
            let row = shown(&open, touch, &made, alive);
            if row.is_none() {
                lengths.push(asked.reference.size_at(asked.side, made.at_nm));
                notes = notes.union(made.flags);
            }
            row
        };
        let row = row.or_else(|| weighed(&mut test, &asked, *lengths.last()?));
        if let Some(row) = row {
            (end, told) = (row, number);
            break;
        }
    }
    if let (End::Whole, Some(left)) = (&end, cycle.get(told)) {
        return Err(Fault::new(
            format!("a row after the {told} that decided"),
            "no touch after the one at which a sequential test is whole",
            "stop there, or give the row another cycle",
        )
        .at(left.place.clone()));
    }
    let (cycle, later) = cycle.split_at(told);
    let made = latched(plan, cycle)?;
    let doubts = Doubts::of(plan, &made)?;
    let mut outcome = Outcome::new(Kind::Breakage);
    outcome.window = Some(window(&asked));
    outcome.touches = made.len() as u32;
    outcome.dropped = later.iter().filter(|touch| !touch.is_limit()).count() as u32;
    evidence(&mut outcome, &open, cycle, &made);
    if cycle.iter().any(|touch| touch.cell_low) {
        outcome.note("cell_low");
    }
    outcome.budget = doubts.shares(made.len());
    let mut valued = false;
    (outcome.verdict, outcome.reason) = match end {
        End::Whole => {
            valued = true;
            for word in notes.words() {
                outcome.note(word);
            }
            if !asked.other_spot {
                outcome.note("same_spot");
            }
            outcome.note(
                "no bound of a false whole: a sequential test bounds the noise of its touches alone (1e-9), not chips \
                 and droplets",
            );
            (Some("whole"), None)
        }
        End::Broken(reason) => {
            valued = reason == "short";
            (Some("broken"), Some(reason))
        }
        End::Unproven(reason) => {
            if reason == "stuck" {
                released_elsewhere(&mut outcome, &open, cycle, &made);
            }
            (Some("unproven"), Some(reason))
        }
    };
    if valued {
        let sum: i64 = lengths.iter().sum();
        outcome.value_nm = Some(sum as f64 / lengths.len() as f64);
        if let Some(combined) = doubts.combined(made.len()) {
            outcome.sure(&combined);
        }
    }
    Ok(outcome)
}

/// The core's test, for the gap that is left and the largest doubt of a touch.
fn test(
    plan: &Plan,
    doubts: &Doubts,
    asked: &CheckPlan,
    all: &[Latched],
) -> Result<Sequential, Fault> {
    let shared = verified(
        plan,
        doubts,
        CheckPlan {
            wear_nm: 0,
            smallest_break_nm: 3 * OPEN_NM,
            allowance: Allowance {
                touch_pm: 0,
                ..asked.allowance
            },
            ..*asked
        },
    )?;
    let bound = all.iter().map(|touch| touch.bound_nm).max().unwrap_or(0);
    let taken = u64::from(asked.wear_nm) + shared.guard_nm() + u64::from(bound);
    let gap = u64::from(asked.smallest_break_nm).saturating_sub(taken);
    // One that is not known is no evidence anyway.
    let known = all.iter().map(|touch| touch.doubt_pm);
    let own = known.filter(|doubt| *doubt != u32::MAX).max().unwrap_or(0);
    let doubt = f64::from(own).hypot(f64::from(asked.allowance.touch_pm));
    let most = plan.touches.unwrap_or(MOST);
    let fault = |key: &str, found: String, expected: &str, remedy: &str| {
        plan.stated.fault(key, found, expected, remedy)
    };
    let touches = |found: u16| {
        fault(
            "check.touches",
            format!("{found} touches"),
            "2 to 255, the most that a sequential test may take",
            "change the number; one touch never proves a tool",
        )
    };
    Sequential::new(
        gap as u32,
        asked.wear_nm.saturating_add(asked.long_nm),
        (doubt.ceil() as u32).max(1),
        u8::try_from(most).map_err(|_| touches(most))?,
    )
    .map_err(|why| match why {
        SequentialError::Touches => touches(most),
        _ => fault(
            "tool.smallest_break",
            format!(
                "{gap} nm between wear and break besides the {} nm that touches share, at a doubt of {:.0} nm of one",
                taken - u64::from(asked.wear_nm),
                doubt / 1e3
            ),
            "half a doubt of one touch or more",
            "allow less wear, look for a larger break, or make the doubt smaller",
        ),
    })
}

/// What the evidence of a touch says against it.
fn shown(open: &CheckConfig, touch: &Touch, made: &Latched, alive: bool) -> Option<End> {
    let mut teller = Teller::armed(open, alive);
    teller.touch(made, touch);
    match teller.verdict {
        None if teller.check.touches() == 1 => None,
        Some(Verdict::Unproven { reasons } | Verdict::Broken { reasons }) => {
            Some(End::Unproven(reasons.first().unwrap_or("few")))
        }
        _ => Some(End::Unproven("few")),
    }
}

/// An approach that ended without a touch: as in a check of the smallest break that one touch tells.
fn nothing_met(
    plan: &Plan,
    doubts: &Doubts,
    asked: &CheckPlan,
    touch: &Touch,
    alive: bool,
) -> Result<End, Fault> {
    let wide = |smallest_break_nm| CheckPlan {
        smallest_break_nm,
        release_nm: 0,
        ..*asked
    };
    let guard = verified(
        plan,
        doubts,
        wide(asked.wear_nm.saturating_add(3 * OPEN_NM)),
    )?
    .guard_nm();
    let told = u64::from(asked.wear_nm) + guard;
    let told = u32::try_from(told)
        .unwrap_or(u32::MAX)
        .max(asked.smallest_break_nm);
    let config = verified(
        plan,
        doubts,
        wide(told.max(asked.wear_nm.saturating_add(1))),
    )?;
    let mut teller = Teller::armed(&config, alive);
    teller.limit(touch);
    Ok(match teller.verdict {
        Some(Verdict::Broken { reasons }) => End::Broken(reasons.first().unwrap_or("absent")),
        Some(Verdict::Unproven { reasons }) => End::Unproven(reasons.first().unwrap_or("silent")),
        _ => End::Unproven("few"),
    })
}

/// What the touches so far come to, with one more.
fn weighed(test: &mut Sequential, asked: &CheckPlan, length_nm: i64) -> Option<End> {
    match test.push(length_nm - (asked.expected_nm - i64::from(asked.wear_nm))) {
        Weighed::More => None,
        Weighed::Whole => Some(End::Whole),
        Weighed::Broken => Some(End::Broken("short")),
        // Too long is told by its evidence before.
        Weighed::Unproven => Some(End::Unproven("grey")),
    }
}
