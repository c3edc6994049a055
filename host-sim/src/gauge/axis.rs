//! Positions of an axis by time, and touches looked up among them.

use std::collections::BTreeMap;

use trueonset::latch::{History, LatchError, Latched};

use super::plan::Plan;
use super::touches::Touch;
use crate::fault::{excerpt, Fault, Place};
use crate::named::Named;

/// Samples about a touch: some before it, some after.
const ROOM: usize = 8;

/// Samples of each axis, in the order of time.
type Samples = BTreeMap<String, Vec<(i64, i64)>>;

/// Gives each touch its position, feed and release out of the positions of its axis.
///
/// # Errors
/// No CSV `time_ns,axis,position_nm`, times that run back, positions that jump, or a touch outside.
pub(super) fn locate(
    plan: &Plan,
    touches: &mut [Touch],
    bytes: &[u8],
    file: &str,
) -> Result<(), Fault> {
    if !plan.history || plan.stated.whole("latch.period").is_none() {
        return Err(plan.stated.fault(
            "latch.method",
            "positions of an axis",
            "method = \"history\" with its period",
            "state both under [latch], or leave out --axis",
        ));
    }
    let all = read(bytes, file)?;
    for touch in touches {
        let Some(onset) = touch.onset_ns else {
            continue;
        };
        let samples = match all.len() {
            1 if touch.axis.is_empty() => all.values().next(),
            _ => all.get(&touch.axis),
        };
        let at = |why: Fault| why.at(touch.place.clone());
        let Some(samples) = samples else {
            let names: Vec<&str> = all.keys().map(String::as_str).collect();
            return Err(at(Fault::new(
                format!("axis {}", excerpt(touch.axis.as_bytes())),
                format!("one of {}", names.join(", ")),
                "name the axis of the touch as in the positions",
            )));
        };
        let refused = |why: LatchError| {
            at(Fault::new(
                why.to_string(),
                "an onset within the positions of its axis",
                "record positions from before the approach until after the release",
            ))
        };
        let found = look_up(plan, samples, onset, touch.doubt_ns).map_err(refused)?;
        if let Some(stated) = touch.feed_nm_s {
            if !is_near(stated, found.feed_nm_s) {
                return Err(at(Fault::new(
                    format!(
                        "feed_nm_s {stated} where the axis went at {}",
                        found.feed_nm_s
                    ),
                    "the feed of the axis, or nothing",
                    "check units (nm, ns, nm/s), sign and axis; or leave the field empty",
                )));
            }
        }
        touch.position_nm = Some(found.at_nm);
        touch.feed_nm_s = Some(found.feed_nm_s);
        if let Some(release) = touch.release_ns {
            let released = look_up(plan, samples, release, Some(0)).map_err(refused)?;
            touch.release_nm = Some(released.at_nm);
            touch.released = Some(released);
        }
        touch.found = Some(Latched {
            flags: found.flags.union(touch.flags),
            ..found
        });
    }
    Ok(())
}

/// Whether a stated feed may be meant for that of the axis: of its sign, half to twice as fast.
fn is_near(stated: i64, found: i64) -> bool {
    let (small, large) = (
        stated.unsigned_abs().min(found.unsigned_abs()),
        stated.unsigned_abs().max(found.unsigned_abs()),
    );
    (stated < 0) == (found < 0) && large <= small.saturating_mul(2)
}

fn look_up(
    plan: &Plan,
    samples: &[(i64, i64)],
    at_ns: i64,
    doubt_ns: Option<u32>,
) -> Result<Latched, LatchError> {
    // The delay moves the place looked at: half of the room lies behind.
    let place = samples.partition_point(|(time, _)| *time < at_ns);
    let mut shift = place;
    let delayed = at_ns.saturating_sub(plan.stated.whole("latch.delay").unwrap_or(0));
    while shift > 0 && samples[shift - 1].0 >= delayed {
        shift -= 1;
    }
    while shift < samples.len() && samples[shift].0 < delayed {
        shift += 1;
    }
    let end = (shift + 1).min(samples.len());
    let mut history = History::<ROOM>::new();
    for (time, position) in &samples[end.saturating_sub(ROOM)..end] {
        history.push(*time, *position)?;
    }
    history.contact(&plan.latch, at_ns, doubt_ns)
}

fn read(bytes: &[u8], file: &str) -> Result<Samples, Fault> {
    let mut table = Named::open(bytes, file)?;
    let column = |name| table.column(name, "name the columns time_ns,axis,position_nm");
    let (time, axis, position) = (column("time_ns")?, column("axis")?, column("position_nm")?);
    let mut all: Samples = BTreeMap::new();
    let mut last: BTreeMap<String, History<1>> = BTreeMap::new();
    while let Some((record, place)) = table.next()? {
        let number = |at: usize| {
            let field = record.get(at).unwrap_or("");
            field.parse::<i64>().map_err(|_| {
                Fault::new(
                    excerpt(field.as_bytes()),
                    "a whole number of nanoseconds or nanometres",
                    "correct the field",
                )
                .at(place.clone())
            })
        };
        let (time, position) = (number(time)?, number(position)?);
        let name = record.get(axis).unwrap_or("").to_owned();
        let before = last.entry(name.clone()).or_default();
        before.push(time, position).map_err(|why| {
            Fault::new(
                why.to_string(),
                "positions in the order of time, without jumps",
                "correct or remove the row; check units (ns, nm)",
            )
            .at(place.clone())
        })?;
        all.entry(name).or_default().push((time, position));
    }
    if all.is_empty() {
        return Err(
            Fault::new("no position", "positions of an axis", "record some")
                .at(Place::File(file.to_owned())),
        );
    }
    Ok(all)
}
