//! Wear of a tool and drift of an axis, cycle after cycle.

use trueonset::gauge::{Cusum, Drift, Located, Side, Touches, Wear, MOST_TOUCHES};
use trueonset::latch::Latched;

use super::entries::Doubts;
use super::fit::{median_slope, warm_up};
use super::outcome::{Outcome, TrendFound};
use super::place::reason;
use super::plan::Plan;
use super::touches::{cycles, Touch};
use crate::fault::Fault;

/// The median of the slopes is that of so many cycles at the most.
const MEDIAN_OF: usize = 15;
/// Time constants of a warm-up that are looked for, as multiples of the shortest one stated.
const WARM_UPS: f64 = 6.0;

/// A cycle whose touches say something.
struct Found {
    at_nm: i64,
    /// Of its first touch.
    onset_ns: Option<i64>,
    made: Vec<Latched>,
}

/// Mean position of each cycle whose touches say something, with the touches.
fn places(plan: &Plan, touches: &[Touch], outcome: &mut Outcome) -> Result<Vec<Found>, Fault> {
    let mut found: Vec<Found> = Vec::new();
    for cycle in cycles(touches) {
        let made: Vec<Latched> = cycle
            .iter()
            .filter(|touch| !touch.is_limit())
            .map(|touch| touch.latched(plan))
            .collect::<Result<_, _>>()?;
        let why = reason(plan, cycle, &made);
        if let Some(why) = why.or(disagree(plan, &made)?) {
            outcome.dropped += made.len() as u32;
            outcome.note(format!("cycle {} left out: {why}", cycle[0].cycle));
            continue;
        }
        let Some(first) = made.first().map(|touch| touch.at_nm) else {
            continue;
        };
        let sum: i64 = made.iter().map(|touch| touch.at_nm - first).sum();
        found.push(Found {
            at_nm: first + sum / made.len() as i64,
            onset_ns: cycle.iter().find_map(|touch| touch.onset_ns),
            made,
        });
    }
    outcome.touches = found.iter().map(|one| one.made.len() as u32).sum();
    Ok(found)
}

/// Whether touches of a cycle lie further apart than their doubts let them.
fn disagree(plan: &Plan, made: &[Latched]) -> Result<Option<&'static str>, Fault> {
    let side = made
        .first()
        .and_then(|touch| Side::of_feed(touch.feed_nm_s));
    let (Some(side), 2..=MOST_TOUCHES) = (side, made.len()) else {
        return Ok(None);
    };
    let mut place = Touches::<MOST_TOUCHES>::new();
    for touch in made {
        let _there_is_room = place.push(touch.at_nm);
    }
    let own_pm = Doubts::of(plan, made)?.touch_pm();
    let agree = matches!(place.locate(side, own_pm), Located::At(found) if found.dropped == 0);
    Ok((!agree).then_some("disagree"))
}

pub(super) fn wear(plan: &Plan, touches: &[Touch]) -> Result<Outcome, Fault> {
    let reference = plan.reference()?;
    let new = plan
        .stated
        .needed("tool.expected", "the length of the new tool")?;
    let limit = plan.short("tool.limit", "the wear at which the tool is replaced")?;
    let mut outcome = Outcome::new(plan.kind);
    let found = places(plan, touches, &mut outcome)?;
    let Some(side) = found
        .first()
        .and_then(|one| Side::of_feed(one.made.first()?.feed_nm_s))
    else {
        return Ok(Outcome::unproven(plan.kind, "few"));
    };
    let mut wear = Wear::new();
    let mut offs = Vec::new();
    let mut sizes = Vec::new();
    for one in &found {
        let size = reference.size_at(side, one.at_nm);
        sizes.push((size - new) as f64);
        // Predictions are none before there is a trend.
        let predicted = wear.trend().is_some();
        let off = wear.push(size);
        offs.extend(off.filter(|_| predicted).map(|off| (wear.count(), off)));
    }
    outcome.value_nm = wear.level_nm().map(|nm| nm as f64);
    let Some(trend) = wear.trend() else {
        outcome.verdict = Some("unproven");
        outcome.reason = Some("few");
        return Ok(outcome);
    };
    let scatter = f64::from(trend.wear_pm).hypot(f64::from(trend.measure_pm) * 2.0_f64.sqrt());
    let mut alarm = cusum(plan, scatter)?;
    for (cycles, off) in offs {
        // Shorter than expected counts.
        if alarm.push(off.saturating_neg()) {
            outcome.note(format!("the wear has changed by cycle {cycles}"));
        }
    }
    let last = found.last().map_or(&[][..], |one| &one.made[..]);
    let doubts = Doubts::of(plan, last)?;
    if let Some(combined) = doubts.combined(last.len()) {
        outcome.sure(&combined);
    }
    outcome.budget = doubts.shares(last.len());
    let left = wear.cycles_left(new, limit);
    let cycles = |milli: u64| milli as f64 / 1e3;
    outcome.trend = Some(TrendFound {
        rate_nm_per_cycle: trend.rate_pm as f64 / 1e3,
        median_rate_nm_per_cycle: median_slope(&sizes[sizes.len().saturating_sub(MEDIAN_OF)..])
            .map(|slope| -slope),
        cycles_left: left.map(|left| cycles(left.mean_milli)),
        cycles_left_low: left.map(|left| cycles(left.low_milli)),
        cycles_left_high: left.map(|left| cycles(left.high_milli)),
    });
    Ok(outcome)
}

/// An alarm for the stated shift, or for one deviation, with so many cycles between false ones.
fn cusum(plan: &Plan, sigma_pm: f64) -> Result<Cusum, Fault> {
    let sigma = sigma_pm.max(1.0);
    let shift = plan
        .stated
        .whole("alarm.shift")
        .map_or(sigma, |pm| pm as f64);
    if shift <= 0.0 {
        return Err(plan.stated.fault(
            "alarm.shift",
            "a shift of 0",
            "the change that must be found",
            "state a length above 0",
        ));
    }
    let every = plan
        .stated
        .whole("alarm.false_every")
        .unwrap_or(10_000)
        .clamp(10, 1_000_000_000) as f64;
    let k = shift / 2.0 / sigma;
    // Run length without a shift, Siegmund's approximation (from memory), within 1 % at the default.
    let length = |h: f64| {
        let b = 2.0 * k * (h + 1.166);
        (b.exp() - b - 1.0) / (2.0 * k * k)
    };
    let (mut low, mut high) = (0.0, 1e3);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if length(middle) < every {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Cusum::new((k * sigma) as i64, (high * sigma) as i64))
}

pub(super) fn drift(plan: &Plan, touches: &[Touch]) -> Result<Outcome, Fault> {
    let reference = plan.stated.needed(
        "check.reference_position",
        "where the reference was at first",
    )?;
    let rise = plan.short("drift.rise", "the most the axis moves by heat")?;
    let tau = plan
        .stated
        .needed("drift.time_constant", "the shortest time constant")?;
    let mut outcome = Outcome::new(plan.kind);
    let found = places(plan, touches, &mut outcome)?;
    let Some(Found {
        at_nm: last, made, ..
    }) = found.last()
    else {
        let notes = outcome.notes;
        outcome = Outcome::unproven(plan.kind, "few");
        outcome.notes = notes;
        return Ok(outcome);
    };
    outcome.value_nm = Some((last - reference) as f64);
    let doubts = Doubts::of(plan, made)?;
    if let Some(combined) = doubts.combined(made.len()) {
        outcome.sure(&combined);
    }
    outcome.budget = doubts.shares(made.len());
    let drift = Drift {
        rise_nm: rise,
        tau_ms: u32::try_from(tau / 1_000_000).unwrap_or(u32::MAX),
    };
    for minutes in [5_u64, 15, 30] {
        let bound = drift.bound_nm(minutes * 60_000);
        outcome.note(format!("held for {minutes} min, at most {bound} nm off"));
    }
    // Where onsets are told, they say when.
    let course: Vec<(f64, f64)> = found
        .iter()
        .filter_map(|one| Some((one.onset_ns? as f64 * 1e-9, (one.at_nm - reference) as f64)))
        .collect();
    let shortest = tau as f64 * 1e-9;
    if let Some(found) = warm_up(&course, shortest, WARM_UPS * shortest) {
        outcome.note(format!(
            "warming up with {:.0} min towards {:.0} nm, \u{b1} {:.0} nm about it",
            found.tau / 60.0,
            found.end,
            found.scatter
        ));
    }
    Ok(outcome)
}
