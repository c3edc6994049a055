//! Length of a still tool, radius of a turning one: touches of one place.

use trueonset::budget::{Class, Dof, Term};
use trueonset::gauge::{Located, Quantum, QuantumError, Side, TeethError, Touches, MOST_TOUCHES};
use trueonset::latch::Latched;

use super::entries::Doubts;
use super::hits::{numbered, Hits};
use super::outcome::Outcome;
use super::plan::{Kind, Plan};
use super::touches::Touch;
use crate::fault::Fault;

pub(super) fn judge(plan: &Plan, cycle: &[Touch], hits: Option<&Hits>) -> Result<Outcome, Fault> {
    let reference = plan.reference()?;
    let mut made = Vec::new();
    let mut quantum: Option<Quantum> = None;
    let mut outcome = Outcome::new(plan.kind);
    for (key, touch) in numbered(cycle) {
        let mut latched = touch.latched(plan)?;
        if plan.kind == Kind::Radius {
            let mut late = self::quantum(plan, touch)?;
            let first = match hits {
                Some(hits) => hits.first_hit(plan, touch, key)?,
                None => None,
            };
            match first {
                Some(Ok(first)) => late = late.by_hits(first),
                Some(Err(why)) => outcome.note(by_feed(key.1, why)),
                None => {}
            }
            if let Some(side) = Side::of_feed(latched.feed_nm_s) {
                latched.at_nm = late.corrected(side, latched.at_nm);
            }
            // The most doubtful stands for all.
            let worse = |other: &Quantum| other.doubt_pm < late.doubt_pm;
            if quantum.as_ref().is_none_or(worse) {
                quantum = Some(late);
            }
        }
        made.push(latched);
    }
    let Some(side) = made
        .first()
        .and_then(|touch| Side::of_feed(touch.feed_nm_s))
    else {
        return Ok(Outcome::unproven(plan.kind, "few"));
    };
    let mut doubts = Doubts::of(plan, &made)?;
    if let Some(quantum) = quantum {
        let [touch, run_out] = quantum.terms(0);
        doubts.add("tooth", touch);
        doubts.add("run-out", run_out);
    }
    outcome.touches = made.len() as u32;
    if let Some(reason) = reason(plan, cycle, &made) {
        outcome.verdict = Some("unproven");
        outcome.reason = Some(reason);
        return Ok(outcome);
    }
    if made.len() > MOST_TOUCHES {
        let place = cycle[MOST_TOUCHES].place.clone();
        return Err(Fault::new(
            format!("{} touches of one place", made.len()),
            format!("at most {MOST_TOUCHES}"),
            "judge them as a repeatability study",
        )
        .at(place));
    }
    let mut place = Touches::<MOST_TOUCHES>::new();
    for touch in &made {
        let _there_is_room = place.push(touch.at_nm);
    }
    match place.locate(side, doubts.touch_pm()) {
        Located::At(found) => {
            outcome.touches = u32::from(found.used);
            outcome.dropped = u32::from(found.dropped);
            let size = reference.size_at(side, found.mean_nm);
            outcome.value_nm = Some(size as f64);
            let deepest = reference.size_at(side, found.deepest_nm);
            outcome.note(format!("deepest touch: {deepest} nm"));
            if let Some(combined) = doubts.combined(usize::from(found.used)) {
                outcome.sure(&combined);
            }
            outcome.budget = doubts.shares(usize::from(found.used));
        }
        Located::More(more) => {
            outcome.verdict = Some("unproven");
            outcome.reason = Some("disagree");
            outcome.note(format!("{more} more touches may settle it"));
        }
        _ => {
            outcome.verdict = Some("unproven");
            outcome.reason = Some("disagree");
        }
    }
    Ok(outcome)
}

fn by_feed(number: u32, why: TeethError) -> String {
    format!("touch {number} corrected by the feed, not by its hits: {why}")
}

/// Why touches say nothing of a place.
pub(super) fn reason(plan: &Plan, cycle: &[Touch], made: &[Latched]) -> Option<&'static str> {
    let turning = |touch: &Touch| touch.spindle_mhz.unwrap_or(0) > 0 || plan.kind == Kind::Radius;
    let touched = cycle.iter().filter(|touch| !touch.is_limit()).zip(made);
    for (touch, latched) in touched {
        let unfit = unfit(touch, latched, turning(touch));
        if unfit.is_some() {
            return unfit;
        }
    }
    let wanted = plan.touches.map_or(1, usize::from);
    (made.len() < wanted).then_some("few")
}

/// Why one touch says nothing of a place; that of a turning cutter may be interrupted.
pub(super) fn unfit(touch: &Touch, latched: &Latched, turning: bool) -> Option<&'static str> {
    use trueonset::flags::Flags;
    let mut noted = Flags::UPPER
        .union(Flags::SHORT_HOLD)
        .union(Flags::HYBRID)
        .union(Flags::FILM);
    if turning {
        noted = noted.union(Flags::INTERRUPTED);
    }
    if touch.unfit || !latched.flags.without(noted).is_empty() {
        return Some("flag");
    }
    if touch.ready_gaps.is_some_and(|gaps| gaps > 0) {
        return Some("link");
    }
    (latched.doubt_pm == u32::MAX).then_some("doubt")
}

fn quantum(plan: &Plan, touch: &Touch) -> Result<Quantum, Fault> {
    let stated = plan
        .stated
        .whole("tool.speed")
        .map(|micro| (micro + 500) / 1_000);
    let speed = touch.spindle_mhz.map(i64::from).or(stated);
    let Some(speed) = speed.and_then(|speed| u32::try_from(speed).ok()) else {
        return Err(plan.stated.fault(
            "tool.speed",
            "no speed of the cutter",
            "how fast it turns",
            "state [tool] speed, or the column spindle_mhz",
        ));
    };
    let feed = touch.feed_nm_s.unwrap_or(0);
    let teeth = plan
        .stated
        .whole("tool.teeth")
        .and_then(|teeth| u8::try_from(teeth).ok());
    let run_out = plan.stated.whole("tool.run_out");
    let quantum = match (run_out, teeth) {
        (Some(run_out), Some(teeth)) => Quantum::known_teeth(
            feed,
            speed,
            teeth,
            u32::try_from(run_out).unwrap_or(u32::MAX),
        ),
        (Some(_), None) => {
            return Err(plan.stated.fault(
                "tool.teeth",
                "run_out without teeth",
                "the number of teeth",
                "state [tool] teeth",
            ));
        }
        (None, _) => Quantum::any_teeth(feed, speed),
    };
    quantum.map_err(|why: QuantumError| {
        Fault::new(
            why.to_string(),
            "a cutter that turns while it touches",
            "correct speed, teeth or feed",
        )
        .at(touch.place.clone())
    })
}

/// A term of class `setup` that is a scatter already.
pub(super) fn scatter(u_pm: u32, dof: Dof) -> Term {
    Term {
        u_pm: i32::try_from(u_pm).unwrap_or(i32::MAX),
        dof,
        group: 0,
        class: Class::Setup,
    }
}
