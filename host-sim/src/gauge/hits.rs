//! Run-out by tooth, out of how long each hit of a turning cutter blocked.

use trueonset::gauge::{TeethError, ToothHeights};

use super::outcome::Outcome;
use super::plan::Plan;
use super::touches::Touch;
use crate::fault::{excerpt, Fault};
use crate::named::Named;

/// The most teeth.
const TEETH: usize = 32;

/// A hit, ns.
struct Hit {
    touch: (u32, u32),
    start: i64,
    width: u32,
}

/// Heights of the teeth of the last touch that has hits.
///
/// # Errors
/// No CSV `cycle,touch,hit,start_ns,width_ns`, or a plan without teeth or speed.
pub(super) fn judge(
    plan: &Plan,
    touches: &[Touch],
    bytes: &[u8],
    file: &str,
) -> Result<Outcome, Fault> {
    let hits = read(bytes, file)?;
    let (Some(last), Some(touch)) = (hits.last(), touches.last()) else {
        return Ok(Outcome::unproven(plan.kind, "few"));
    };
    let why = "the number of teeth, and how fast they turn";
    let teeth = plan.stated.needed("tool.teeth", why)?;
    let turning = touch.spindle_mhz.filter(|milli| *milli > 0);
    let micro = turning.map(|milli| i64::from(milli) * 1_000);
    let micro = match micro {
        Some(micro) => micro,
        None => plan.stated.needed("tool.speed", why)?,
    };
    let refused = |key: &str, found: String| {
        plan.stated.fault(
            key,
            found,
            format!("1 to {TEETH} teeth of a cutter that turns"),
            "correct it",
        )
    };
    let teeth = u8::try_from(teeth)
        .ok()
        .filter(|teeth| (1..=TEETH).contains(&usize::from(*teeth)))
        .ok_or_else(|| refused("tool.teeth", format!("{teeth} teeth")))?;
    if micro <= 0 {
        return Err(refused("tool.speed", "a spindle that stands".to_owned()));
    }
    // Millionths of a turn a second: a turn in ns is 10^15 of them.
    let turn = 1e15 / micro as f64;
    let period = turn / f64::from(teeth);
    let feed = touch.feed_nm_s.unwrap_or(0).unsigned_abs() as f64;
    let per_tooth_pm = feed * period * 1e-6;
    let mut heights = ToothHeights::<TEETH>::new(teeth, turn as u64)
        .map_err(|why| refused("tool.teeth", why.to_string()))?;
    let mut first = None;
    for hit in hits.iter().filter(|hit| hit.touch == last.touch) {
        let from = *first.get_or_insert(hit.start);
        let number = (hit.start.saturating_sub(from) as f64 / period).round();
        heights.hit(number as u32, hit.width);
    }
    let mut outcome = Outcome::new(plan.kind);
    outcome.touches = 1;
    match heights.heights(per_tooth_pm.min(f64::from(u32::MAX)) as u32) {
        Ok(found) => {
            let found = &found[..usize::from(teeth)];
            let lowest = found.iter().min_by_key(|height| height.below_pm);
            outcome.value_nm = lowest.map(|height| f64::from(-height.below_pm) / 1e3);
            // The highest is about as doubtful as the lowest.
            outcome.u_nm = lowest.map(|height| f64::from(height.doubt_pm) * 2.0_f64.sqrt() / 1e3);
            for (k, height) in found.iter().enumerate() {
                outcome.note(format!(
                    "tooth {k} after the first: {:.1} nm below the highest, \u{b1} {:.1} nm",
                    f64::from(-height.below_pm) / 1e3,
                    f64::from(height.doubt_pm) / 1e3
                ));
            }
        }
        Err(why) => {
            outcome.verdict = Some("unproven");
            outcome.reason = Some(match why {
                TeethError::Batted => "stuck",
                TeethError::TooFewHits => "few",
                _ => "disagree",
            });
            outcome.note(why.to_string());
        }
    }
    Ok(outcome)
}

fn read(bytes: &[u8], file: &str) -> Result<Vec<Hit>, Fault> {
    let mut table = Named::open(bytes, file)?;
    let column = |name| table.column(name, "name the columns cycle,touch,hit,start_ns,width_ns");
    let columns = [
        column("cycle")?,
        column("touch")?,
        column("start_ns")?,
        column("width_ns")?,
    ];
    let mut hits = Vec::new();
    while let Some((record, place)) = table.next()? {
        let [cycle, touch, start, width] = columns.map(|at| record.get(at).unwrap_or(""));
        let wrong = |field: &str| {
            Fault::new(
                excerpt(field.as_bytes()),
                "a whole number",
                "correct the field; numbers of cycle, touch and width are not negative",
            )
            .at(place.clone())
        };
        let small = |field: &str| field.parse::<u32>().map_err(|_| wrong(field));
        hits.push(Hit {
            touch: (small(cycle)?, small(touch)?),
            start: start.parse().map_err(|_| wrong(start))?,
            width: small(width)?,
        });
    }
    Ok(hits)
}
