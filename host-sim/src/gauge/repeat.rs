//! Repeatability: whether a stated limit holds.

use trueonset::gauge::{Holds, Meaning, Study, FEWEST_DAYS};

use super::outcome::{Interval, Outcome};
use super::place::unfit;
use super::plan::Plan;
use super::touches::{cycles, Touch};
use crate::fault::Fault;

/// Days whose interval covers what it says, nearly.
const MANY_DAYS: u32 = 30;

pub(super) fn judge(plan: &Plan, touches: &[Touch]) -> Result<Outcome, Fault> {
    let limit = plan
        .stated
        .needed("repeatability.limit", "the limit to be judged")?;
    let touched = plan.touches.and_then(|n| u8::try_from(n).ok());
    let meaning = match plan.stated.word("repeatability.meaning") {
        Some("sd") => Meaning::Deviation,
        Some("2sd") => Meaning::TwoDeviations,
        Some("2.8sd") => Meaning::Limit,
        Some("4sd") => Meaning::FourDeviations,
        Some("range") => {
            Meaning::Range(touched.filter(|n| (2..=25).contains(n)).ok_or_else(|| {
                plan.stated.fault(
                    "check.touches",
                    "a range without its number of touches",
                    "2 to 25 touches",
                    "state [check] touches",
                )
            })?)
        }
        _ => {
            return Err(plan.stated.fault(
                "repeatability.meaning",
                "no repeatability.meaning",
                "what the limit means",
                "write meaning = \"sd\" (2sd, 2.8sd, 4sd, range)",
            ));
        }
    };
    let all = cycles(touches);
    let mut study = Study::new();
    for cycle in &all {
        for touch in cycle.iter().filter(|touch| !touch.is_limit()) {
            let latched = touch.latched(plan)?;
            if let Some(why) = unfit(touch, &latched, touch.spindle_mhz.unwrap_or(0) > 0) {
                let mut outcome = Outcome::unproven(plan.kind, why);
                outcome.note(format!("{}", touch.place));
                return Ok(outcome);
            }
            study
                .push(latched.at_nm.saturating_mul(1_000))
                .map_err(|why| {
                    Fault::new(
                        why.to_string(),
                        "touches of one place",
                        "correct or remove the row",
                    )
                    .at(touch.place.clone())
                })?;
        }
        if all.len() > 1 {
            study.end_day().map_err(|why| {
                Fault::new(
                    why.to_string(),
                    "as many touches on each day, two or more",
                    "complete the day, or leave it out",
                )
                .at(cycle[0].place.clone())
            })?;
        }
    }
    let Ok(found) = study.found() else {
        return Ok(Outcome::unproven(plan.kind, "few"));
    };
    let mut outcome = Outcome::new(plan.kind);
    outcome.touches = touches.iter().filter(|touch| !touch.is_limit()).count() as u32;
    outcome.value_nm = Some(found.deviation_pm as f64 / 1e3);
    outcome.dof = Some(found.dof);
    outcome.interval = Some(Interval {
        low_nm: found.between_pm.0 as f64 / 1e3,
        high_nm: found.between_pm.1 as f64 / 1e3,
    });
    if found.days > 1 {
        outcome.note(format!(
            "within a day {:.1} nm, from day to day {:.1} nm",
            found.within_pm as f64 / 1e3,
            found.days_pm as f64 / 1e3
        ));
        if found.days < MANY_DAYS {
            outcome.note(format!(
                "the interval of {} days covers less than 95 %: 86 % where 5 days of 10 touches differ, 94 % of 20 of 3",
                found.days
            ));
        }
    }
    match found.holds(meaning, u32::try_from(limit).unwrap_or(u32::MAX)) {
        Holds::Yes => outcome.holds = Some(true),
        Holds::No => outcome.holds = Some(false),
        Holds::Unproven => {
            outcome.verdict = Some("unproven");
            outcome.reason = Some("few");
            if found.days > 1 && found.days < FEWEST_DAYS {
                outcome.note(format!(
                    "{} days: {FEWEST_DAYS} or more are wanted",
                    found.days
                ));
            }
        }
    }
    Ok(outcome)
}
