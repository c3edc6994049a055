//! What one better part would buy, and what would have to change where nothing is possible.

use super::drive;
use super::limits::{limits, By, Limit, AIMED, FASTEST, SLOWEST};
use super::machine::Machine;
use super::settings::with_bandwidth;
use super::spread::quantile;
use super::{Asked, Band, FEW_DRAWS, FOR_ADVICE};
use crate::model::braking::overtravel;
use crate::model::ramp::Limits;
use crate::quantity::{show_feed_nm_s, show_length_nm};
use crate::scenario::Latching;

/// A part that raises the feed by less is not worth naming.
const WORTH: f64 = 1.01;
/// Positions are stored so often by the control that is proposed, s.
const STORED: f64 = 1e-3;

/// One part changed, all others as they are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Better {
    /// The change.
    pub what: &'static str,
    /// The feed then, m/s.
    pub feed: f64,
    /// What then holds it back.
    pub by: By,
}

/// The changes that raise the feed, the most first; `now` is what holds it back.
pub(super) fn better(machine: &Machine, asked: &Asked, seed: u64, now: Limit) -> Vec<Better> {
    let drawn = |machine: &Machine| drive::draw(machine, FEW_DRAWS, seed, FOR_ADVICE);
    let tried = changed(machine, now.feed);
    let mut all: Vec<Better> = tried
        .iter()
        .map(|(what, other)| {
            let first = limits(other, asked, &drawn(other))[0];
            Better {
                what,
                feed: first.feed.min(FASTEST),
                by: first.by,
            }
        })
        .filter(|better| better.feed > now.feed * WORTH)
        .collect();
    all.sort_by(|a, b| b.feed.total_cmp(&a.feed));
    all
}

/// Machines with one part changed.
fn changed(machine: &Machine, feed: f64) -> Vec<(&'static str, Machine)> {
    let mut all = Vec::new();
    let (scenario, control) = (&machine.scenario, &machine.control);
    let mut with = |what, change: &dyn Fn(&mut Machine)| {
        let mut other = *machine;
        change(&mut other);
        all.push((what, other));
    };
    with("half the delay of the trigger", &|other| {
        other.control.delay *= 0.5;
    });
    with("half the reaction of the control", &|other| {
        other.control.reaction *= 0.5;
    });
    if scenario.limits != Limits::NONE {
        with("twice the acceleration and jerk", &|other| {
            other.scenario.limits.acceleration *= 2.0;
            other.scenario.limits.jerk *= 2.0;
        });
    }
    if !matches!(control.latching, Latching::History { .. }) {
        with("positions stored every 1ms and looked up", &|other| {
            other.control.latching = Latching::History { period: STORED };
        });
    }
    if matches!(control.latching, Latching::Scan { .. }) {
        with("the position latched at the edge", &|other| {
            other.control.latching = Latching::Edge;
        });
    }
    if control.feed_error > 0.0 {
        with("a feed known twice as well", &|other| {
            other.control.feed_error *= 0.5;
        });
    }
    if control.input_jitter > 0.0 {
        with("half the jitter of the input", &|other| {
            other.control.input_jitter *= 0.5;
        });
    }
    with("10 dB more light over noise", &|other| {
        other.scenario.snr += 10.0;
    });
    if let Some(band) =
        Band::of(machine, feed.min(FASTEST)).filter(|band| band.advised_hz != band.stated_hz)
    {
        with("the bandwidth advised", &|other| {
            *other = with_bandwidth(other, band.advised_hz);
        });
    }
    if machine.slim.is_some() {
        with("half the mass of the plate", &|other| {
            other.plate.mass *= 0.5;
        });
    }
    with("twice the clearance", &|other| {
        other.scenario.clearance *= 2.0;
    });
    all
}

/// What would have to change, each by itself, where the tightest limit is below what a touch needs to be told in time.
pub(super) fn changes(
    machine: &Machine,
    asked: &Asked,
    tightest: Limit,
    slowest: f64,
) -> Vec<String> {
    let feed = |feed: f64| show_feed_nm_s((feed * 1e9).ceil() as u64);
    let um = |way: f64| show_length_nm((way * 1e9).ceil() as i64);
    if slowest.is_infinite() {
        return vec![format!(
            "no touch is told within {:.3} ms at any feed: {:.3} ms are needed; a longer delay, or a shorter hold{}",
            machine.told_by() * 1e3,
            machine.told(FASTEST) * 1e3,
            if machine.scenario.cutter.is_some() {
                ", or a faster spindle: a cutter is a touch after two turns"
            } else {
                ""
            }
        )];
    }
    let mut all = Vec::new();
    match tightest.by {
        By::Overtravel => all.push(format!(
            "an overtravel of {} or more: it takes that to stop from {}, the slowest feed at which a touch is told \
             in time",
            um(1.5 * overtravel(slowest, machine.late() + 3e-3, &machine.scenario.limits)),
            feed(slowest)
        )),
        By::Tolerance | By::Quantum => all.push(format!(
            "a tolerance of {} or more: that is the error at {}, the slowest feed at which a touch is told in time",
            um(quantile(&machine.terms(slowest), AIMED)),
            feed(slowest)
        )),
        By::Impact => all.push(
            "a lighter plate with less preload, or a thicker or shorter tool: this one does not bear the plate"
                .to_owned(),
        ),
        By::Axis => all.push(format!(
            "a longer approach.clearance: {} is not reached before the light",
            feed(slowest)
        )),
        By::Confirmation => all.push("a comparator or converter that is fast enough for the span".to_owned()),
    }
    if slowest > tightest.feed && tightest.feed > SLOWEST {
        all.push(format!(
            "or a touch that is told sooner at {}: a shorter hold, a longer delay or less noise",
            feed(tightest.feed)
        ));
    }
    let terms = machine.terms(slowest);
    let still: f64 = terms
        .iter()
        .filter(|term| term.source == "vibration")
        .map(|term| term.size)
        .sum();
    if still > asked.tolerance {
        all.push(format!(
            "less vibration: {} alone is beyond the tolerance",
            um(still)
        ));
    }
    all
}
