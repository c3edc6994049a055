//! Hits of a turning cutter: run-out by tooth, and how late the first hit of a touch came.

use trueonset::gauge::{FirstHit, Height, TeethError, ToothHeights};

use super::outcome::Outcome;
use super::place::unfit;
use super::plan::Plan;
use super::touches::{cycles, Touch};
use crate::fault::{excerpt, Fault};
use crate::named::Named;

/// The most teeth.
const TEETH: usize = 32;
/// A turn in which the squares of the widths grow by less than this share of the usual growth is one
/// in which the tool no longer fed on.
const STILL: f64 = 0.5;
/// Turns over which the usual growth is taken.
const SURE: usize = 2;

/// A hit, ns.
#[derive(Debug, Clone, Copy)]
struct Hit {
    touch: (u32, u32),
    start: i64,
    width: u32,
}

/// All hits of a file.
pub(super) struct Hits(Vec<Hit>);

/// The hits of one touch, told to the core.
struct Told {
    heights: ToothHeights<TEETH>,
    teeth: usize,
    per_tooth_pm: u32,
    first_ns: u32,
    left_out: usize,
}

/// Heights of the teeth of the last touch that has hits.
///
/// # Errors
/// A plan without teeth or speed.
pub(super) fn judge(plan: &Plan, touches: &[Touch], hits: &Hits) -> Result<Outcome, Fault> {
    let all = cycles(touches);
    let struck = all.iter().flat_map(|cycle| numbered(cycle));
    let Some((key, touch)) = struck.filter(|(key, _)| hits.has(*key)).last() else {
        return Ok(Outcome::unproven(plan.kind, "few"));
    };
    let latched = touch.latched(plan)?;
    if let Some(why) = unfit(touch, &latched, true) {
        return Ok(Outcome::unproven(plan.kind, why));
    }
    let told = hits.told(plan, touch, key)?;
    let mut outcome = Outcome::new(plan.kind);
    outcome.touches = 1;
    if told.left_out > 0 {
        outcome.note(standing(told.left_out));
    }
    match told.heights.heights(told.per_tooth_pm) {
        Ok(found) => {
            let found = &found[..told.teeth];
            let lowest = found.iter().min_by_key(|height| height.below_pm);
            outcome.value_nm = lowest.map(|height| f64::from(-height.below_pm) / 1e3);
            // The highest is about as doubtful as the lowest.
            outcome.u_nm = lowest.map(|height| f64::from(height.doubt_pm) * 2.0_f64.sqrt() / 1e3);
            for (k, Height { below_pm, doubt_pm }) in found.iter().enumerate() {
                outcome.note(format!(
                    "tooth {k} after the first: {:.1} nm below the highest, \u{b1} {:.1} nm",
                    f64::from(-below_pm) / 1e3,
                    f64::from(*doubt_pm) / 1e3
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

/// Touches of a cycle by cycle and number: as it is told, or as they come.
pub(super) fn numbered(cycle: &[Touch]) -> impl Iterator<Item = ((u32, u32), &Touch)> {
    let made = cycle.iter().filter(|touch| !touch.is_limit());
    made.zip(1..)
        .map(|(touch, k)| ((touch.cycle, touch.number.unwrap_or(k)), touch))
}

/// How many hits of a tool that stands were left out.
fn standing(left_out: usize) -> String {
    format!("{left_out} hits left out: the tool no longer fed on")
}

impl Hits {
    /// # Errors
    /// No CSV `cycle,touch,hit,start_ns,width_ns`.
    pub(super) fn read(bytes: &[u8], file: &str) -> Result<Self, Fault> {
        let mut table = Named::open(bytes, file)?;
        let column =
            |name| table.column(name, "name the columns cycle,touch,hit,start_ns,width_ns");
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
        Ok(Self(hits))
    }

    fn has(&self, key: (u32, u32)) -> bool {
        self.0.iter().any(|hit| hit.touch == key)
    }

    /// How late the first hit of a touch came; none where the touch has no hits, and why where they
    /// do not tell.
    ///
    /// # Errors
    /// A plan without teeth or speed.
    pub(super) fn first_hit(
        &self,
        plan: &Plan,
        touch: &Touch,
        key: (u32, u32),
    ) -> Result<Option<Result<FirstHit, TeethError>>, Fault> {
        if !self.has(key) {
            return Ok(None);
        }
        let told = self.told(plan, touch, key)?;
        Ok(Some(
            told.heights.first_hit(told.per_tooth_pm, told.first_ns),
        ))
    }

    fn told(&self, plan: &Plan, touch: &Touch, key: (u32, u32)) -> Result<Told, Fault> {
        let why = "the number of teeth, and how fast they turn";
        let teeth = plan.stated.needed("tool.teeth", why)?;
        let turning = touch.spindle_mhz.filter(|milli| *milli > 0);
        let micro = match turning.map(|milli| i64::from(milli) * 1_000) {
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
        let struck: Vec<Hit> = self
            .0
            .iter()
            .filter(|hit| hit.touch == key)
            .copied()
            .collect();
        let first = struck.first().map_or(0, |hit| hit.start);
        let numbers: Vec<(u32, u32)> = struck
            .iter()
            .map(|hit| {
                let number = (hit.start.saturating_sub(first) as f64 / period).round();
                (number as u32, hit.width)
            })
            .collect();
        let fed = feeding(&numbers, u32::from(teeth));
        for (number, width) in &numbers[..fed] {
            heights.hit(*number, *width);
        }
        Ok(Told {
            heights,
            teeth: usize::from(teeth),
            per_tooth_pm: per_tooth_pm.min(f64::from(u32::MAX)) as u32,
            first_ns: struck.first().map_or(0, |hit| hit.width),
            left_out: numbers.len() - fed,
        })
    }
}

/// How many of the hits, as number and width, were struck while the tool fed on.
///
/// The square of a tooth's width grows by as much in every turn, while it feeds on evenly. The turn
/// before the first one that shows less than half of the usual growth is left out with it: the feed
/// may have fallen there already.
fn feeding(hits: &[(u32, u32)], teeth: u32) -> usize {
    let square = |width: u32| f64::from(width) * f64::from(width);
    // Growth of each hit over that of the same tooth a turn before, by turn.
    let mut turns: Vec<(f64, f64)> = Vec::new();
    for (k, (number, width)) in hits.iter().enumerate() {
        let before = number.checked_sub(teeth).and_then(|wanted| {
            let earlier = hits[..k].iter().rev();
            earlier
                .take_while(|hit| hit.0 >= wanted)
                .find(|hit| hit.0 == wanted)
        });
        let Some((_, before)) = before else { continue };
        let turn = (number / teeth) as usize;
        turns.resize(turns.len().max(turn + 1), (0.0, 0.0));
        turns[turn].0 += square(*width) - square(*before);
        turns[turn].1 += 1.0;
    }
    let grown: Vec<(usize, f64)> = turns
        .iter()
        .enumerate()
        .filter(|(_, turn)| turn.1 > 0.0)
        .map(|(number, turn)| (number, turn.0 / turn.1))
        .collect();
    // For two turns nobody knows of the touch yet: then it still feeds on.
    let sure = &grown[..grown.len().min(SURE)];
    let usual = sure.iter().map(|turn| turn.1).sum::<f64>() / sure.len().max(1) as f64;
    let stands = grown.iter().skip(SURE).find(|turn| turn.1 < STILL * usual);
    let Some((turn, _)) = stands else {
        return hits.len();
    };
    let last = (*turn as u32).saturating_sub(1) * teeth;
    hits.iter().take_while(|hit| hit.0 < last).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hits_of_a_tool_that_stands_are_left_out() {
        let width = |depth: f64| (depth.sqrt() * 1e6) as u32;
        let fed: Vec<(u32, u32)> = (0..40).map(|k| (k, width(1.0 + f64::from(k)))).collect();
        assert_eq!(feeding(&fed, 4), 40);
        let mut stood = fed.clone();
        stood.extend((40..72).map(|k| (k, width(40.0))));
        let kept = feeding(&stood, 4);
        assert!((32..=40).contains(&kept), "{kept}");
        // And one that goes back.
        let mut back = fed.clone();
        back.extend((40..60).map(|k| (k, width(80.0 - f64::from(k)))));
        let kept = feeding(&back, 4);
        assert!((32..=40).contains(&kept), "{kept}");
        assert_eq!(feeding(&fed[..3], 4), 3);
    }
}
