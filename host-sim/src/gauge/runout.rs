//! Run-out of a still spindle: the first harmonic of touches at evenly spaced angles.

use std::collections::BTreeMap;

use trueonset::budget::Dof;
use trueonset::latch::Latched;

use super::entries::Doubts;
use super::outcome::Outcome;
use super::place::{reason, scatter};
use super::plan::Plan;
use super::touches::Touch;
use crate::fault::Fault;

/// Angles below which a harmonic is not told.
const FEWEST: usize = 3;

pub(super) fn judge(plan: &Plan, cycle: &[Touch]) -> Result<Outcome, Fault> {
    let turns = |touch: &&Touch| touch.spindle_mhz.unwrap_or(0) > 0;
    if let Some(touch) = cycle.iter().find(turns) {
        return Err(Fault::new(
            "a spindle that turns",
            "one that stands at each spot",
            "give the hits of the cutter with --hits, or touch it standing",
        )
        .at(touch.place.clone()));
    }
    let made: Vec<Latched> = cycle
        .iter()
        .filter(|touch| !touch.is_limit())
        .map(|touch| touch.latched(plan))
        .collect::<Result<_, _>>()?;
    if let Some(why) = reason(plan, cycle, &made) {
        return Ok(Outcome::unproven(plan.kind, why));
    }
    // Spots in the order in which they were touched first; the mean of each.
    let mut order: Vec<&str> = Vec::new();
    let mut places: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for (touch, latched) in cycle.iter().filter(|touch| !touch.is_limit()).zip(&made) {
        if !places.contains_key(touch.spot.as_str()) {
            order.push(&touch.spot);
        }
        let place = places.entry(&touch.spot).or_default();
        place.0 += 1.0;
        place.1 += (latched.at_nm - made[0].at_nm) as f64;
    }
    let n = order.len();
    if n < FEWEST {
        let mut outcome = Outcome::unproven(plan.kind, "few");
        outcome.note(format!(
            "{n} spots: {FEWEST} or more evenly spaced angles are wanted, or as many as teeth"
        ));
        return Ok(outcome);
    }
    let means = order.iter().map(|spot| places[spot].1 / places[spot].0);
    let (mut cosine, mut sine) = (0.0, 0.0);
    for (k, mean) in means.enumerate() {
        let angle = std::f64::consts::TAU * k as f64 / n as f64;
        cosine += mean * angle.cos();
        sine += mean * angle.sin();
    }
    // An eccentricity e moves the edge by e·cos(angle): amplitude e, indicator reading 2·e.
    let reading = 4.0 / n as f64 * cosine.hypot(sine);
    let mut outcome = Outcome::new(plan.kind);
    outcome.touches = made.len() as u32;
    outcome.evidence.spots = Some(n as u32);
    outcome.value_nm = Some(reading.round());
    let touch = Doubts::of(plan, &made)?.touch_pm();
    // Of n even angles: the amplitude has √(2/n) of one place, its double twice that.
    let mut doubts = Doubts {
        entries: Vec::new(),
    };
    let u_pm = 2.0 * (2.0 / made.len() as f64).sqrt() * f64::from(touch);
    doubts.add("touches", scatter(u_pm as u32, Dof::Known));
    if let Some(combined) = doubts.combined(1) {
        outcome.sure(&combined);
    }
    outcome.budget = doubts.shares(1);
    Ok(outcome)
}
