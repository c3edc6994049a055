//! From tolerances to settings: how fast a tool may approach the probe, and what holds it back.
//!
//! ```text
//! scenario ─▶ machine ─┬▶ terms ─▶ spread ─▶ feed by tolerance ──┐
//!                      ├▶ drive, drawn ─▶ feed by overtravel ────┼▶ limits ─▶ cycle ─▶ advice
//!                      └▶ confirmation, tool, axis ──────────────┘                       │
//!            proof: the very touches, links and latches of the core at that feed ◀───────┘
//! ```
//!
//! The error of a touch is that of the trigger path alone: onset, clock, ticks, input, scan, and the feed over the
//! delay. Where it stands on average at that feed is not in it: a reference touched at the same feed takes that off.
//! The answer keeps the tolerance in 99.9 % of touches, and the overtravel, the run-up before the light and what a slim
//! tool bears in 99.9 % of axes and controls as they may be.
//!
//! The proof knows none of the formulas: ways and blows are integrated step by step, teeth pass one by one. Teeth that
//! differ count as late as a turn where only the overtravel is asked for.
//!
//! Kinematics are rigid; lag of the servo, bending and tilt of the plate are not modelled, and nothing was measured on
//! a machine. A measuring signal, not a safety function: prove each program at reduced feed with the tool clear; guards
//! and emergency stop stay in charge.

mod cycle;
mod drive;
mod limits;
mod machine;
mod parts;
mod proof;
mod settings;
pub mod spread;
pub mod teeth;

pub use cycle::{Two, BACK, LONGER, PAUSE};
pub use limits::{By, Limit, WITHIN};
pub use machine::Machine;
pub use parts::Better;
pub use proof::{latches, prove, Judged, Proof};
pub use settings::{Air, Band, Holds};

use super::statistics::Share;
use crate::scenario::Latching;
use limits::{limits, slowest_told, SLOWEST};
use spread::quantile;

/// Axes and controls drawn for the answer, and for what a better part would buy.
pub const DRAWS: u64 = 200_000;
const FEW_DRAWS: u64 = 20_000;
/// What draws are for.
const FOR_ADVICE: u64 = 0;
const FOR_PROOF: u64 = 1;

/// What is to be kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Greatest error of one touch from the trigger path, m.
    pub tolerance: f64,
    /// Greatest way from contact to standstill, m.
    pub overtravel: f64,
}

/// One contribution to the error at the feed advised.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Portion {
    /// What it comes from.
    pub source: &'static str,
    /// Its standard uncertainty, m.
    pub u: f64,
    /// Its share of the variance.
    pub share: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// What was asked.
    pub asked: Asked,
    /// The machine at that feed, with the hold advised.
    pub machine: Machine,
    /// The fastest feed that keeps what was asked, m/s; of two touches that of the second.
    pub feed: f64,
    /// The slowest feed whose cycle takes no more than a tenth longer than the quickest, m/s.
    pub calm: f64,
    /// The feed of the quickest cycle with one touch, m/s.
    pub quick: f64,
    /// The slowest feed at which a touch is told in time, m/s.
    pub slowest: f64,
    /// All limits, the tightest first.
    pub limits: Vec<Limit>,
    /// Whether one touch is quicker than two.
    pub single: bool,
    /// The best two touches.
    pub two: Two,
    /// 99.9 % of the error of a touch by theory, m.
    pub error: f64,
    /// What it is made of, the largest first.
    pub budget: Vec<Portion>,
    /// 99.9 % of the overtravel by theory, m; of two touches that of the faster one.
    pub overtravel: f64,
    /// Draws that keep the overtravel.
    pub kept: Share,
    /// Holds that go with it.
    pub holds: Holds,
    /// Bandwidth of the comparator that goes with it; none where light is sampled.
    pub band: Option<Band>,
    /// The link that its losses ask for.
    pub air: Option<Air>,
    /// What one better part would buy, the most first.
    pub better: Vec<Better>,
    /// Where positions are looked up: the tightest limit if they were latched at the late edge instead.
    pub by_edge: Option<Limit>,
}

/// No feed keeps what was asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Impossible {
    /// What holds it back, the tightest first.
    pub limits: Vec<Limit>,
    /// The slowest feed at which a touch is told in time, m/s; infinite where none is.
    pub slowest: f64,
    /// What would have to change, each by itself.
    pub changes: Vec<String>,
}

/// The feed for `asked` and what goes with it, or why there is none.
///
/// # Errors
/// [`Impossible`].
pub fn advise(machine: &Machine, asked: &Asked, seed: u64) -> Result<Advice, Box<Impossible>> {
    let mut machine = *machine;
    let holds = Holds::of(&machine);
    machine.scenario.hold_ns = holds.advised_ns;
    let drawn = drive::draw(&machine, DRAWS, seed, FOR_ADVICE);
    let limits = limits(&machine, asked, &drawn);
    let slowest = slowest_told(&machine);
    // In whole nanometres a second, as it is told.
    let feed = (limits[0].feed * 1e9).floor() * 1e-9;
    if feed < slowest.max(SLOWEST) {
        return Err(Box::new(Impossible {
            changes: parts::changes(&machine, asked, limits[0], slowest),
            limits,
            slowest,
        }));
    }
    let quick = machine.quickest(feed);
    let calm = machine.calmest(slowest, quick);
    // The first of two touches needs no tolerance.
    let rough = limits
        .iter()
        .filter(|limit| !matches!(limit.by, By::Tolerance | By::Quantum));
    let coarse = rough.map(|limit| limit.feed).fold(f64::INFINITY, f64::min);
    let two = machine.two(coarse, feed);
    let single = machine.single(quick) <= machine.both(&two);
    let fastest = if single { feed } else { two.coarse.max(feed) };
    let terms = machine.terms(feed);
    Ok(Advice {
        asked: *asked,
        feed,
        calm,
        quick,
        slowest,
        single,
        two,
        error: quantile(&terms, WITHIN),
        budget: portions(&terms),
        overtravel: drive::overtravel_p999(&drawn, machine.late(), fastest),
        kept: drive::kept(&drawn, machine.late(), fastest, asked.overtravel),
        holds: holds.at(&machine, calm),
        band: Band::of(&machine, feed),
        air: Air::of(&machine),
        better: parts::better(&machine, asked, seed, limits[0]),
        by_edge: by_edge(&machine, asked, &drawn),
        machine: machine.at(feed),
        limits,
    })
}

fn by_edge(machine: &Machine, asked: &Asked, drawn: &[drive::Drawn]) -> Option<Limit> {
    let mut other = *machine;
    if !matches!(other.control.latching, Latching::History { .. }) {
        return None;
    }
    other.control.latching = Latching::Edge;
    limits(&other, asked, drawn).into_iter().next()
}

fn portions(terms: &[spread::Term]) -> Vec<Portion> {
    let sum: f64 = terms.iter().map(|term| term.u() * term.u()).sum();
    let one = |term: &spread::Term| Portion {
        source: term.source,
        u: term.u(),
        share: term.u() * term.u() / sum,
    };
    let mut all: Vec<Portion> = terms.iter().map(one).collect();
    all.sort_by(|a, b| b.u.total_cmp(&a.u));
    all
}

impl Advice {
    /// Time of the cycle at the feed advised, s: of one touch, or of both.
    #[must_use]
    pub fn cycle(&self) -> f64 {
        if self.single {
            self.machine.single(self.feed)
        } else {
            self.machine.both(&self.two)
        }
    }

    /// The faster feed of the cycle, m/s.
    #[must_use]
    pub fn fastest(&self) -> f64 {
        if self.single {
            self.feed
        } else {
            self.two.coarse.max(self.feed)
        }
    }

    /// 99.9 % of the error of a touch by theory at another feed (m/s), m.
    #[must_use]
    pub fn error_at(&self, feed: f64) -> f64 {
        quantile(&self.machine.terms(feed), WITHIN)
    }

    /// 99.9 % of the overtravel by theory at other feeds (m/s), m.
    #[must_use]
    pub fn overtravels_at(&self, feeds: &[f64], seed: u64) -> Vec<f64> {
        let drawn = drive::draw(&self.machine, FEW_DRAWS, seed, FOR_ADVICE);
        let late = self.machine.late();
        feeds
            .iter()
            .map(|&feed| drive::overtravel_p999(&drawn, late, feed))
            .collect()
    }
}

#[cfg(test)]
mod tests;
