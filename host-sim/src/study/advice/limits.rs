//! What holds the feed back, each by itself.

use super::drive::{fastest, in_most, reached, Drawn};
use super::machine::Machine;
use super::spread::{quantile, Shape, Term};
use super::Asked;

/// The fastest and the slowest feed that a scenario knows, m/s.
pub(super) const FASTEST: f64 = 1.0;
pub(super) const SLOWEST: f64 = 1e-3 / 60_000.0;
/// Steps of a search by halves.
const STEPS: u32 = 60;
/// The same for each draw.
const SPRING_STEPS: u32 = 30;
/// Share of the errors that the tolerance is meant for.
pub const WITHIN: f64 = 0.999;
/// The share that the answer aims at: theory is right to a few per cent, and the promise must stand a simulation.
pub(super) const AIMED: f64 = 0.9993;

/// What may hold a feed back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// The overtravel allowed.
    Overtravel,
    /// The tolerance of the error.
    Tolerance,
    /// The barrier cannot follow, or the touch is told too late.
    Confirmation,
    /// The teeth of a cutter come too seldom for the tolerance.
    Quantum,
    /// Force on a slim tool.
    Impact,
    /// The feed is not reached before the contact.
    Axis,
}

impl By {
    /// The word that is promised.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Overtravel => "overtravel",
            Self::Tolerance => "tolerance",
            Self::Confirmation => "confirmation",
            Self::Quantum => "quantum",
            Self::Impact => "impact",
            Self::Axis => "axis",
        }
    }
}

/// A feed that must not be exceeded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Why.
    pub by: By,
    /// The feed, m/s.
    pub feed: f64,
}

/// The limits of a machine, the tightest first; `drawn` are axes as they may be.
#[must_use]
pub(super) fn limits(machine: &Machine, asked: &Asked, drawn: &[Drawn]) -> Vec<Limit> {
    let scenario = &machine.scenario;
    let way = scenario.clearance - 0.5 * scenario.span;
    let mut all = vec![
        (
            By::Overtravel,
            fastest(drawn, machine.late(), asked.overtravel),
        ),
        (
            By::Tolerance,
            within(asked.tolerance, |feed| without_teeth(machine.terms(feed))),
        ),
        (By::Confirmation, scenario.fastest_seen()),
        (By::Axis, reached(drawn, way).min(FASTEST)),
    ];
    if scenario.cutter.is_some() {
        all.push((
            By::Quantum,
            within(asked.tolerance, |feed| machine.terms(feed)),
        ));
    }
    if machine.slim.is_some() {
        all.push((By::Impact, impact(machine, drawn)));
    }
    let mut all: Vec<Limit> = all
        .into_iter()
        .map(|(by, feed)| Limit { by, feed })
        .collect();
    all.sort_by(|a, b| a.feed.total_cmp(&b.feed));
    all
}

/// The slowest feed at which a touch is told in time, m/s; infinite where none is.
#[must_use]
pub(super) fn slowest_told(machine: &Machine) -> f64 {
    let by = machine.told_by();
    if machine.told(FASTEST) > by {
        return f64::INFINITY;
    }
    let (mut low, mut high) = (SLOWEST, FASTEST);
    if machine.told(low) <= by {
        return low;
    }
    for _ in 0..STEPS {
        let middle = (low * high).sqrt();
        if machine.told(middle) > by {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

fn without_teeth(terms: Vec<Term>) -> Vec<Term> {
    let kept = terms
        .into_iter()
        .filter(|term| term.source != Machine::TEETH);
    kept.collect()
}

/// The fastest feed whose errors keep a tolerance (m), m/s; 0 where none does. But for a few per cent they only grow with
/// the feed.
fn within(tolerance: f64, terms: impl Fn(f64) -> Vec<Term>) -> f64 {
    // Much wider than the tolerance needs no grid, and neither does much narrower.
    let keeps = |feed: f64| {
        let terms = terms(feed);
        let u: f64 = terms
            .iter()
            .map(|term| term.u() * term.u())
            .sum::<f64>()
            .sqrt();
        let most: f64 = terms
            .iter()
            .map(|term| match term.shape {
                Shape::Normal => 4.0 * term.size * term.reach,
                Shape::Flat | Shape::Sine | Shape::Teeth(_) => term.size,
            })
            .sum();
        most <= tolerance || (u <= tolerance && quantile(&terms, AIMED) <= tolerance)
    };
    let (mut low, mut high) = (SLOWEST, FASTEST);
    if keeps(high) {
        return f64::INFINITY;
    }
    if !keeps(low) {
        return 0.0;
    }
    for _ in 0..STEPS {
        let middle = (low * high).sqrt();
        if keeps(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// The fastest feed that a slim tool bears: the preload, the blow on top of it, and the plate's spring over the overtravel.
fn impact(machine: &Machine, drawn: &[Drawn]) -> f64 {
    let Some(bar) = machine.slim else {
        return f64::INFINITY;
    };
    let plate = &machine.plate;
    let left = bar.bears() - plate.preload;
    if left <= 0.0 {
        return 0.0;
    }
    let (blow, late) = (bar.blow(plate.mass), machine.late());
    in_most(drawn, |one| {
        let most = left / (blow * one.feed);
        // What a feed leaves for the spring shrinks with it, and the overtravel grows.
        let bears =
            |feed: f64| feed * one.feed * blow + plate.rate * one.runs_on(late, feed) <= left;
        if plate.rate <= 0.0 {
            return most;
        }
        let (mut low, mut high) = (0.0, most);
        for _ in 0..SPRING_STEPS {
            let middle = f64::midpoint(low, high);
            if bears(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    })
}
