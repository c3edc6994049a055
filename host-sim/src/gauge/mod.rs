//! Gauge: latched touches to tool data, by the very code of the core.
//!
//! ```text
//! PLAN (TOML) ────────────▶ Plan ─────────┐
//! TOUCHES (CSV) ─▶ touches, by cycle ─────┼─▶ judge ─▶ Outcome ─▶ JSON, CSV, table
//! --axis ─▶ latch::History ─▶ positions ──┤
//! --hits ─▶ gauge::ToothHeights ──────────┘
//! ```
//!
//! A measuring signal, not a safety function; prove each program at reduced feed with the tool
//! clear; guards and emergency stop stay in charge.

mod axis;
mod breakage;
mod entries;
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

pub use outcome::{Made, Outcome};
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
    if hits.is_some() && plan.kind != Kind::Runout {
        return Err(plan.stated.fault(
            "check.kind",
            format!("hits for a {}", plan.kind.name()),
            "kind = \"runout\"",
            "leave out --hits: half a tooth's feed is taken off a radius",
        ));
    }
    let mut outcome = match plan.kind {
        Kind::Breakage => breakage::judge(plan, &touches)?,
        Kind::Length | Kind::Radius => place::judge(plan, &touches)?,
        Kind::Runout => match hits {
            Some((bytes, file)) => hits::judge(plan, &touches, bytes, file)?,
            None => runout::judge(plan, &touches)?,
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
