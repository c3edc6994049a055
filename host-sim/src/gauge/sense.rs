//! Whether touches can be what they say: order, units, and no contradiction with themselves or the plan.
//!
//! A unit that is wrong in all positions alike cannot be seen: that is another place, as a tool may touch at any.

use std::cmp::Ordering;

use super::outcome::Made;
use super::plan::{Kind, Plan};
use super::touches::Touch;
use crate::fault::Fault;

/// Positions of one cycle and axis lie this near to each other, nm; a tool does not change by more in a check.
const NEAR_NM: u64 = 10_000_000;
/// No approach is slower, nm/s: 0.06 mm/min.
const SLOWEST_NM_S: u64 = 1_000;
/// Times held by both columns agree within this, ns.
const HELD_NS: u64 = 1_000_000;

/// # Errors
/// The first row that cannot be.
pub(super) fn check(plan: &Plan, touches: &[Touch]) -> Result<(), Fault> {
    for touch in touches {
        alone(plan, touch).map_err(|why| why.or_at(touch.place.clone()))?;
    }
    for pair in touches.windows(2) {
        let [before, touch] = pair else { continue };
        let why = match touch.cycle.cmp(&before.cycle) {
            Ordering::Equal => in_order(before, touch),
            Ordering::Greater => first(touch),
            Ordering::Less => Err(Fault::new(
                format!("cycle {} after cycle {}", touch.cycle, before.cycle),
                "cycles in their order",
                "sort the rows, or number the cycles as they were made",
            )),
        };
        why.map_err(|why| why.or_at(touch.place.clone()))?;
    }
    let begin = touches.first();
    begin.map_or(Ok(()), |touch| {
        first(touch).map_err(|why| why.or_at(touch.place.clone()))
    })?;
    let first_of = |touch: &Touch| {
        let mut others = touches.iter();
        others.find(|other| {
            (other.cycle, &other.axis) == (touch.cycle, &touch.axis) && !other.is_limit()
        })
    };
    for touch in touches.iter().filter(|touch| !touch.is_limit()) {
        let first = first_of(touch).and_then(|first| first.position_nm);
        let places = [
            ("position_nm", touch.position_nm),
            ("release_nm", touch.release_nm),
        ];
        for (name, place) in places {
            let (Some(first), Some(place)) = (first, place) else {
                continue;
            };
            if first.abs_diff(place) > NEAR_NM {
                return Err(Fault::new(
                    format!(
                        "{name} {place}, {} mm from the cycle's first",
                        first.abs_diff(place) / 1_000_000
                    ),
                    "positions of one cycle within 10 mm",
                    "check its unit (nm) and its axis, or give the touch a cycle of its own",
                )
                .at(touch.place.clone()));
            }
        }
    }
    Ok(())
}

/// What a row says by itself.
fn alone(plan: &Plan, touch: &Touch) -> Result<(), Fault> {
    if touch.doubt_ns == Some(0) {
        return Err(Fault::new(
            "0 as doubt_ns",
            "a doubt above 0, or nothing where it is not known",
            "check its unit: nanoseconds, rounded up",
        ));
    }
    if let Some(feed) = touch
        .feed_nm_s
        .filter(|feed| feed.unsigned_abs() < SLOWEST_NM_S)
    {
        return Err(Fault::new(
            format!("feed_nm_s {feed}"),
            "1000 nm/s (0.06 mm/min) or more",
            "check its unit: nm/s; 300 mm/min are 5000000",
        ));
    }
    let rest = touch.doubt_ns.is_some()
        || touch.held_ns.is_some()
        || touch.release_nm.is_some()
        || touch.release_ns.is_some();
    if touch.is_limit() && rest {
        return Err(Fault::new(
            "doubt, release or hold without onset_ns",
            "a whole touch, or an approach that met nothing",
            "state the onset, or leave doubt_ns, release_nm and held_ns empty as well",
        ));
    }
    if let (Some(onset), Some(release)) = (touch.onset_ns, touch.release_ns) {
        if release <= onset {
            return Err(Fault::new(
                format!("release_ns {release} before onset_ns {onset}"),
                "a touch that ends after it begins",
                "correct one of the two",
            ));
        }
        let between = release.abs_diff(onset);
        if let Some(held) = touch
            .held_ns
            .filter(|held| held.abs_diff(between) > HELD_NS)
        {
            return Err(Fault::new(
                format!("held_ns {held} beside {between} ns from onset to release"),
                "the same time by both",
                "check their units (ns), or leave held_ns empty",
            ));
        }
    }
    let stated = plan
        .stated
        .whole("tool.speed")
        .map(|micro| (micro + 500) / 1_000);
    if let (Some(plan_mhz), Some(own)) = (stated, touch.spindle_mhz.filter(|own| *own > 0)) {
        let own = i64::from(own);
        if own.abs_diff(plan_mhz) > plan_mhz.unsigned_abs() / 5 {
            return Err(Fault::new(
                format!("spindle_mhz {own} beside [tool] speed of {plan_mhz}"),
                "one speed in both",
                "check the unit: thousandths of a revolution a second; 3000 /min are 50000",
            ));
        }
    }
    Ok(())
}

/// A touch behind another of its cycle.
fn in_order(before: &Touch, touch: &Touch) -> Result<(), Fault> {
    if let (Some(last), Some(own)) = (before.number, touch.number) {
        if own != last.saturating_add(1) {
            return Err(Fault::new(
                format!("touch {own} after touch {last}"),
                format!("touch {}", last.saturating_add(1)),
                "add the touches that are missing, remove those that stand twice, or begin another cycle",
            ));
        }
    }
    if before.line != touch.line {
        return Err(Fault::new(
            format!("line {} beside {}", touch.line, before.line),
            "one line within a cycle",
            "state [check] line, or give each line its own cycle",
        ));
    }
    if before.axis != touch.axis {
        return Err(Fault::new(
            format!("axis {} beside {}", touch.axis, before.axis),
            "one axis within a cycle",
            "give each axis its own cycle and plan",
        ));
    }
    let held = before.held_ns.unwrap_or(0);
    let ended = before
        .onset_ns
        .map(|onset| onset.saturating_add_unsigned(held));
    if let (Some(last), Some(own)) = (before.release_ns.max(ended), touch.onset_ns) {
        if own <= last {
            return Err(Fault::new(
                format!("onset_ns {own}, not after {last} of the touch before"),
                "touches in the order of time, each after the one before it was held",
                "sort the rows; check units (ns)",
            ));
        }
    }
    Ok(())
}

/// The first touch of a cycle.
fn first(touch: &Touch) -> Result<(), Fault> {
    match touch.number {
        Some(number) if number != 1 => Err(Fault::new(
            format!("touch {number} as the first of cycle {}", touch.cycle),
            "touch 1",
            "add the touches that are missing, or number them from 1",
        )),
        _ => Ok(()),
    }
}

/// A length that no tool has.
///
/// # Errors
/// The first one.
pub(super) fn sizes(plan: &Plan, touches: &[Touch], made: &[Made]) -> Result<(), Fault> {
    let counted = matches!(
        plan.kind,
        Kind::Length | Kind::Radius | Kind::Breakage | Kind::Wear
    );
    // Counted from nothing, a size is a position.
    let reference = plan
        .reference()
        .ok()
        .filter(|reference| reference.size_nm > 0);
    let (true, Some(reference)) = (counted, reference) else {
        return Ok(());
    };
    let real = touches.iter().filter(|touch| !touch.is_limit());
    for (touch, made) in real.zip(made) {
        if made.size_nm <= 0.0 {
            return Err(Fault::new(
                format!("a size of {:.6} mm", made.size_nm / 1e6),
                "a tool longer than nothing",
                format!(
                    "position_nm and [check] reference_position ({} nm) contradict each other: check units and sign",
                    reference.position_nm
                ),
            )
            .at(touch.place.clone()));
        }
    }
    Ok(())
}
