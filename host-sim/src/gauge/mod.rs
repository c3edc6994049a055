//! Gauge: latched touches to tool data, by the very code of the core.
//!
//! ```text
//! PLAN (TOML) ────────────▶ Plan ─────────┐
//! TOUCHES (CSV) ─▶ touches, by cycle ─────┼─▶ judge ─▶ Outcome ─▶ JSON, CSV, table
//! --axis ─▶ latch::History ─▶ positions ──┤
//! --hits ─▶ gauge::ToothHeights ──────────┘
//! ```
//!
//! Of several cycles each is judged for itself where each is an answer (length, radius, breakage,
//! run-out of a still spindle); the result is that of the last one.
//!
//! A measuring signal, not a safety function; prove each program at reduced feed with the tool
//! clear; guards and emergency stop stay in charge.

mod axis;
mod breakage;
mod entries;
pub mod fit;
mod follow;
mod hits;
mod outcome;
mod place;
mod plan;
mod repeat;
mod runout;
mod sense;
mod stated;
mod touches;

pub use outcome::{CycleFound, Made, Outcome};
pub use plan::Plan;
pub use stated::manual;
pub use touches::{read as read_touches, Touch};

use trueonset::gauge::Side;

use crate::fault::Fault;
use plan::Kind;

/// Fixed caution at every verdict and length.
pub const CAUTION: &str = "measuring signal, not a safety function; prove each program at reduced \
    feed with the tool clear; guards and emergency stop stay in charge";

/// What stands beside the touches: the bytes of a file and its name.
pub type Beside<'a> = Option<(&'a [u8], &'a str)>;

/// Judges touches by a plan; `axis` are positions of the axis by time, `hits` those of a turning
/// cutter, where there are some.
///
/// # Errors
/// The plan lacks what its kind needs, contradicts itself or the touches, or cannot prove what it
/// asks for.
pub fn judge(
    plan: &Plan,
    touches: Vec<Touch>,
    axis: Beside,
    hits: Beside,
) -> Result<Outcome, Fault> {
    let all = touches.len();
    if let Some(line) = plan
        .line
        .as_ref()
        .filter(|line| touches.iter().all(|touch| touch.line != **line))
    {
        let names: std::collections::BTreeSet<&str> =
            touches.iter().map(|touch| touch.line.as_str()).collect();
        return Err(plan.stated.fault(
            "check.line",
            format!("no touch of the line {line}"),
            format!(
                "one of {}",
                names.into_iter().collect::<Vec<_>>().join(", ")
            ),
            "name the line of the touches, or leave line out",
        ));
    }
    let mut touches: Vec<Touch> = touches
        .into_iter()
        .filter(|touch| plan.line.as_ref().is_none_or(|line| *line == touch.line))
        .collect();
    let passed = all - touches.len();
    if let Some((bytes, file)) = axis {
        axis::locate(plan, &mut touches, bytes, file)?;
    }
    touches::verify(&touches)?;
    sense::check(plan, &touches)?;
    if hits.is_some() && !matches!(plan.kind, Kind::Runout | Kind::Radius) {
        return Err(plan.stated.fault(
            "check.kind",
            format!("hits for a {}", plan.kind.name()),
            "kind = \"runout\" or \"radius\"",
            "leave out --hits: they tell of a turning cutter",
        ));
    }
    let hits = hits
        .map(|(bytes, file)| hits::Hits::read(bytes, file))
        .transpose()?;
    let hits = hits.as_ref();
    let mut outcome = match plan.kind {
        Kind::Breakage => each(&touches, |cycle| breakage::judge(plan, cycle))?,
        Kind::Length | Kind::Radius => each(&touches, |cycle| place::judge(plan, cycle, hits))?,
        Kind::Runout => match hits {
            Some(hits) => hits::judge(plan, &touches, hits)?,
            None => each(&touches, |cycle| runout::judge(plan, cycle))?,
        },
        Kind::Wear => follow::wear(plan, &touches)?,
        Kind::Drift => follow::drift(plan, &touches)?,
        Kind::Repeatability => repeat::judge(plan, &touches)?,
    };
    outcome.made = made(plan, &touches)?;
    sense::sizes(plan, &touches, &outcome.made)?;
    if passed > 0 {
        outcome.note(format!("{passed} rows of other lines passed over"));
    }
    Ok(outcome)
}

/// Judges each cycle for itself; the result is that of the last one, with all of them beside it.
fn each(
    touches: &[Touch],
    judge: impl Fn(&[Touch]) -> Result<Outcome, Fault>,
) -> Result<Outcome, Fault> {
    let all = touches::cycles(touches);
    let Some((last, earlier)) = all.split_last() else {
        return judge(&[]);
    };
    let number = |cycle: &[Touch]| cycle.first().map_or(0, |touch| touch.cycle);
    let mut cycles = Vec::new();
    for cycle in earlier {
        cycles.push(judge(cycle)?.of_cycle(number(cycle)));
    }
    let mut outcome = judge(last)?;
    outcome.cycle = Some(number(last));
    if !cycles.is_empty() {
        cycles.push(outcome.of_cycle(number(last)));
        outcome.note(format!("of {} cycles, the last", cycles.len()));
        outcome.cycles = cycles;
    }
    Ok(outcome)
}

/// What each touch measured: its size where there is a reference, else its position.
fn made(plan: &Plan, touches: &[Touch]) -> Result<Vec<Made>, Fault> {
    let reference = plan.reference().ok();
    let mut all = Vec::new();
    for cycle in touches::cycles(touches) {
        for (k, touch) in cycle.iter().enumerate() {
            if touch.is_limit() {
                continue;
            }
            let latched = touch.latched(plan)?;
            let side = Side::of_feed(latched.feed_nm_s);
            let size = match (reference, side) {
                (Some(reference), Some(side)) => reference.size_at(side, latched.at_nm),
                _ => latched.at_nm,
            };
            all.push(Made {
                touch: (touch.cycle, k + 1),
                size_nm: size as f64,
                doubt_nm: (latched.doubt_pm != u32::MAX).then(|| f64::from(latched.doubt_pm) / 1e3),
            });
        }
    }
    Ok(all)
}
