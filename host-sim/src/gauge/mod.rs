//! Gauge: latched touches to tool data, by the very code of the core.
//!
//! ```text
//! PLAN (TOML) ────────────▶ Plan ─────────┐
//! TOUCHES (CSV) ─▶ touches, by cycle ─────┼─▶ judge ─▶ Outcome ─▶ JSON, CSV, table
//! --axis ─▶ latch::History ─▶ positions ──┘
//! ```
//!
//! A measuring signal, not a safety function; prove each program at reduced feed with the tool
//! clear; guards and emergency stop stay in charge.

mod axis;
mod breakage;
mod entries;
mod follow;
mod outcome;
mod place;
mod plan;
mod repeat;
mod runout;
mod stated;
mod touches;

pub use outcome::Outcome;
pub use plan::Plan;
pub use stated::manual;
pub use touches::{read as read_touches, Touch};

use crate::fault::Fault;
use plan::Kind;

/// Fixed caution at every verdict and length.
pub const CAUTION: &str = "measuring signal, not a safety function; prove each program at reduced \
    feed with the tool clear; guards and emergency stop stay in charge";

/// Judges touches by a plan; `axis` are positions of the axis by time, where there are some.
///
/// # Errors
/// The plan lacks what its kind needs, contradicts itself or the touches, or cannot prove what it
/// asks for.
pub fn judge(
    plan: &Plan,
    touches: Vec<Touch>,
    axis: Option<(&[u8], &str)>,
) -> Result<Outcome, Fault> {
    let all = touches.len();
    let mut touches: Vec<Touch> = touches
        .into_iter()
        .filter(|touch| plan.line.as_ref().is_none_or(|line| *line == touch.line))
        .collect();
    let passed = all - touches.len();
    if let Some((bytes, file)) = axis {
        axis::locate(plan, &mut touches, bytes, file)?;
    }
    touches::verify(&touches)?;
    let mut outcome = match plan.kind {
        Kind::Breakage => breakage::judge(plan, &touches)?,
        Kind::Length | Kind::Radius => place::judge(plan, &touches)?,
        Kind::Runout => runout::judge(plan, &touches)?,
        Kind::Wear => follow::wear(plan, &touches)?,
        Kind::Drift => follow::drift(plan, &touches)?,
        Kind::Repeatability => repeat::judge(plan, &touches)?,
    };
    if passed > 0 {
        outcome.note(format!("{passed} rows of other lines passed over"));
    }
    Ok(outcome)
}
