//! The advice simulated: touches at the advised feed through the line or the barrier, the link or the wire, and the
//! latch of the core; the axis runs up and brakes as it may and a slim tool strikes the plate, in small steps and not by
//! the formulas of the advice. Other random numbers than those of the advice.

use rand_distr::{Distribution, StandardUniform};
use rayon::prelude::*;
use trueonset::latch::{Caught, FeedAt, History, LatchConfig, LatchError, Latched, Method};
use trueonset::time::{Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use super::drive::{self, WILSON};
use super::machine::Machine;
use super::{Advice, FOR_PROOF, WITHIN};
use crate::fault::Fault;
use crate::model::approach::Approach;
use crate::model::ride::{runs_on, struck};
use crate::model::rng::{self, Rng};
use crate::scenario::{Latching, Link};
use crate::study::over_air::{carry_each, Carried, Reported};
use crate::study::statistics::{quantile, Moments, Share};
use crate::study::touches::{reported, touches};

/// Touches over one link.
const OVER_ONE_LINK: usize = 32;
/// Names the streams among all others.
const NAME: u64 = 0x0070_726f_6f66;
/// Where contacts lie about the zero of the axis, nm.
const PLACES_NM: f64 = 1e6;
/// Positions before the onset that a history is given, and behind it.
const BEFORE: i64 = 5;
const BEHIND: i64 = 1;
/// Theory and simulation agree within this, besides what so few touches leave open.
const ABOVE: f64 = 1.10;
const BELOW: f64 = 0.80;
/// What is asked for anew lies so much below what would just do.
const SAFE: f64 = 0.95;
/// A share of what is asked for below which asking for less is no remedy.
const FAR: f64 = 0.2;
/// Standard error of 99.9 % of a normal distribution, relative, times the root of the number of touches.
const QUANTILE_ERROR: f64 = 2.7;

/// What was simulated.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// Touches made, found, and latched.
    pub touches: u64,
    /// Touches not found, or without a stop.
    pub missed: u64,
    /// Touches beyond one a trial.
    pub false_touches: u64,
    /// What became of them over the air.
    pub carried: Option<Carried>,
    /// Mean error, m, that a reference touched at the same feed takes off.
    pub offset: f64,
    /// Standard deviation of the errors, m.
    pub spread: f64,
    /// 99.9 % of the errors about their mean, m.
    pub error: f64,
    /// Touches within the tolerance.
    pub within: Share,
    /// 99.9 % of the overtravel, m.
    pub overtravel: f64,
    /// Touches that stood within the overtravel asked for.
    pub stood: Share,
    /// Touches whose feed was reached before the light.
    pub reached: Share,
    /// Touches whose force a slim tool bears; all without one.
    pub borne: Share,
}

/// What the simulation says of the advice.
#[derive(Debug, Clone, PartialEq)]
pub enum Judged {
    /// Promise kept, theory and simulation agree.
    Holds,
    /// A promise is broken, and which.
    Breaks(String),
    /// Theory and simulation differ by more than chance explains, and where.
    Differs(String),
}

/// Simulates so many touches as advised, asking `go_on` after each; none when it said no.
///
/// # Errors
/// The model does not hold at that feed.
pub fn prove(
    advice: &Advice,
    count: u64,
    seed: u64,
    go_on: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Option<Proof>, Fault> {
    let machine = &advice.machine;
    let scenario = machine.scenario.at_feed(advice.feed)?;
    let Some(trials) = touches(&scenario, seed, count, go_on)? else {
        return Ok(None);
    };
    let found = trials.iter().filter_map(|trial| trial.found);
    let told: Vec<Reported> = found
        .map(|found| reported(&found, advice.feed * 60_000.0))
        .collect();
    let stops = match &scenario.link {
        Some(link) => match over_air(link, &told, seed, go_on)? {
            None => return Ok(None),
            Some((stops, carried)) => (stops, Some(carried)),
        },
        None => (wired(machine, &told)?, None),
    };
    let (stops, carried) = stops;
    let drawn = drive::draw(machine, count, seed, FOR_PROOF);
    let latch = latch(machine).map_err(|why| unlatched(machine, why))?;
    let seen: Vec<Seen> = stops
        .par_iter()
        .zip(&drawn)
        .enumerate()
        .filter_map(|(number, (stop, axis))| {
            let mut rng = rng::stream(&[NAME, seed, number as u64]);
            Touch::drawn(machine, advice, (*stop)?, axis, &mut rng).seen(machine, &latch)
        })
        .collect();
    let errors: Moments = seen.iter().map(|touch| touch.error).collect();
    let offset = errors.mean();
    let off = |touch: &Seen| (touch.error - offset).abs();
    let mut sizes: Vec<f64> = seen.iter().map(off).collect();
    let mut ways: Vec<f64> = seen.iter().map(|touch| touch.way).collect();
    let share = |keeps: &dyn Fn(&Seen) -> bool| Share {
        hits: seen.iter().filter(|touch| keeps(touch)).count() as u64,
        trials: seen.len() as u64,
    };
    let runway = scenario.clearance - 0.5 * scenario.span;
    let bears = machine.slim.map_or(f64::INFINITY, |bar| bar.bears());
    Ok(Some(Proof {
        touches: trials.len() as u64,
        missed: (trials.len() - seen.len()) as u64,
        false_touches: trials.iter().map(|trial| u64::from(trial.extra)).sum(),
        carried,
        offset,
        spread: errors.sd(),
        within: share(&|touch| off(touch) <= advice.asked.tolerance),
        stood: share(&|touch| touch.way <= advice.asked.overtravel),
        reached: share(&|touch| touch.run_up <= runway),
        borne: share(&|touch| touch.force <= bears),
        error: quantile(&mut sizes, WITHIN).unwrap_or(f64::NAN),
        overtravel: quantile(&mut ways, WITHIN).unwrap_or(f64::NAN),
    }))
}

impl Proof {
    /// What it says of `advice`.
    #[must_use]
    pub fn judged(&self, advice: &Advice) -> Judged {
        let lost = Share {
            hits: self.touches - self.missed,
            trials: self.touches,
        };
        let um = |way: f64| way * 1e6;
        for (kept, what, seen, asked) in [
            (self.within, "the error", self.error, advice.asked.tolerance),
            (
                self.stood,
                "the overtravel",
                self.overtravel,
                advice.asked.overtravel,
            ),
        ] {
            if kept.wilson(WILSON).1 < WITHIN {
                // Theory is too kind by as much as the simulation says.
                let tighter = asked * asked / seen * SAFE;
                // Off by so much, it is no matter of the feed alone.
                if tighter < FAR * asked {
                    return Judged::Breaks(format!(
                        "simulated, {what} is {:.4} um in 99.9 % of touches, far beyond the {:.4} um asked for: theory \
                         does not hold here; shorten the period and the delay of the control, or the reaction",
                        um(seen),
                        um(asked)
                    ));
                }
                return Judged::Breaks(format!(
                    "simulated, {what} is {:.4} um in 99.9 % of touches, more than the {:.4} um asked for; theory is too \
                     kind to this scenario: asked for {:.4} um it gives a slower feed, which may keep it",
                    um(seen),
                    um(asked),
                    um(tighter)
                ));
            }
        }
        if lost.wilson(WILSON).1 < WITHIN {
            return Judged::Breaks(format!(
                "simulated, {} of {} touches gave no position",
                self.missed, self.touches
            ));
        }
        for (kept, what) in [
            (self.reached, "did not reach the feed before the light"),
            (
                self.borne,
                "struck the plate harder than the slim tool bears",
            ),
        ] {
            if kept.wilson(WILSON).1 < WITHIN {
                return Judged::Breaks(format!(
                    "simulated, {} of {} touches {what}",
                    kept.trials - kept.hits,
                    kept.trials
                ));
            }
        }
        let open = 3.0 * QUANTILE_ERROR / (self.touches.max(1) as f64).sqrt();
        for (what, seen, told) in [
            ("the error", self.error, advice.error),
            ("the overtravel", self.overtravel, advice.overtravel),
        ] {
            let ratio = seen / told;
            if !(BELOW - open..=ABOVE + open).contains(&ratio) {
                return Judged::Differs(format!(
                    "99.9 % of {what} is {:.4} um by theory and {:.4} um simulated: what the scenario has beyond the \
                     theory (spikes, droplets, flutter, a fast drift of clocks) decides here",
                    um(told),
                    um(seen)
                ));
            }
        }
        Judged::Holds
    }
}

/// When each touch stopped the line, s after its true contact.
type Stops = Vec<Option<f64>>;

fn over_air(
    link: &Link,
    told: &[Reported],
    seed: u64,
    go_on: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Option<(Stops, Carried)>, Fault> {
    let blocks: Vec<Option<(Stops, Carried)>> = told
        .par_chunks(OVER_ONE_LINK)
        .enumerate()
        .map(|(number, block)| {
            let mut stream = rng::stream(&[NAME, seed, u64::MAX, number as u64]);
            let mut stops = Vec::with_capacity(block.len());
            let mut stop = |ns: Option<u64>| stops.push(ns.map(|ns| ns as f64 * 1e-9));
            let carried = carry_each(
                link,
                block,
                StandardUniform.sample(&mut stream),
                &|| go_on(0),
                &mut stop,
            )?;
            // What READY never stood for gave no stop either.
            stops.resize(block.len(), None);
            Ok(carried.map(|carried| (stops, carried)))
        })
        .collect::<Result<_, Fault>>()?;
    let Some(blocks) = blocks.into_iter().collect::<Option<Vec<_>>>() else {
        return Ok(None);
    };
    let mut all = (Vec::with_capacity(told.len()), Carried::default());
    for (stops, carried) in blocks {
        all.0.extend(stops);
        all.1 = all.1.and(carried);
    }
    Ok(Some(all))
}

/// Over a wire: the board itself has the edges, and lets them go after the delay.
fn wired(machine: &Machine, told: &[Reported]) -> Result<Stops, Fault> {
    let wrong =
        |why: String| Fault::new(why, "a wire that keeps its promises", "change link.delay");
    let hz = Link::RECEIVER_HZ;
    let rate = TickRate::from_hz(hz).map_err(|why| wrong(why.to_string()))?;
    let delay_ns = (machine.control.delay * 1e9).round() as u32;
    let plan = WiredPlan {
        delay_ns,
        dead_ns: WiredPlan::USUAL.dead_ns.min(delay_ns / 2),
        ..WiredPlan::USUAL
    };
    let config = WiredConfig::new(rate, plan).map_err(|why| wrong(why.to_string()))?;
    let tick = 1e9 / f64::from(hz);
    // Contact happens a second after the begin of the clock.
    let zero = f64::from(hz);
    let at = |ns: f64| Instant::from_ticks((zero + ns / tick).round() as u64);
    let one = |touch: &Reported| {
        let mut board = Wired::new();
        board.edge(at(touch.told_ns), true, at(touch.onset_ns), 1);
        let due = board.deadline(&config)?;
        let now = Instant::from_ticks(due.ticks().max(at(touch.told_ns).ticks()));
        board.poll(&config, now)?;
        Some((now.ticks() as f64 - zero) * tick * 1e-9)
    };
    Ok(told.par_iter().map(one).collect())
}

/// Whether the position of a touch can be latched at all, before anything is simulated.
///
/// # Errors
/// A delay or a period beyond what a latch takes.
pub fn latches(machine: &Machine) -> Result<(), Fault> {
    latch(machine)
        .map(|_| ())
        .map_err(|why| unlatched(machine, why))
}

fn latch(machine: &Machine) -> Result<LatchConfig, LatchError> {
    let ns = |s: f64| (s * 1e9).round();
    let period_ns = |s: f64| ns(s) as u32;
    let method = match machine.control.latching {
        Latching::Edge => Method::Edge,
        Latching::History { period } => Method::History {
            period_ns: period_ns(period),
        },
        Latching::Scan { period } => Method::Scan {
            period_ns: period_ns(period),
            behind_ns: 0,
        },
    };
    let delay = machine.control.delay + machine.control.input_delay;
    LatchConfig::new(method, ns(delay) as i64)
}

fn unlatched(machine: &Machine, why: LatchError) -> Fault {
    Fault::new(
        format!("a latch by {}", machine.control.latching.word()),
        "one that a latch takes",
        format!("change [control] or link.delay: {why}"),
    )
}

/// One touch between the trigger and the control.
struct Touch {
    /// When the control sees the edge, s after contact.
    edge: f64,
    /// Where its scan or its stored positions fall, 0 to 1.
    phase: f64,
    /// Contact, nm.
    contact_nm: f64,
    /// The feed as the control has it, m/s.
    told: f64,
    /// Standard uncertainty of the onset, ns, rounded up.
    doubt_ns: u32,
    path: Approach,
    /// Way from contact to standstill, and from standstill to the feed, m.
    way: f64,
    run_up: f64,
    /// Greatest force on a slim tool, N; 0 without one.
    force: f64,
}

/// What one touch came to.
struct Seen {
    /// Error of the position, m.
    error: f64,
    way: f64,
    run_up: f64,
    force: f64,
}

impl Touch {
    fn drawn(
        machine: &Machine,
        advice: &Advice,
        stop: f64,
        axis: &drive::Drawn,
        rng: &mut Rng,
    ) -> Self {
        let mut even = || -> f64 { StandardUniform.sample(rng) };
        let control = &machine.control;
        let jitter = (even() - 0.5) * control.input_jitter;
        let off = (2.0 * even() - 1.0) * control.feed_error;
        let (phase, place) = (even(), even());
        let feed = advice.feed * (1.0 + off);
        // The disc of a cutter is there before its first tooth.
        let stop = stop + first_tooth(machine, feed, rng);
        let late = stop + control.reaction + axis.longer;
        let ridden = advice.fastest() * axis.feed;
        let way = runs_on(ridden, late, &axis.limits);
        let force = machine.slim.map_or(0.0, |bar| {
            struck(ridden, &bar, &machine.plate) + machine.plate.rate * way
        });
        Self {
            edge: stop + control.input_delay + jitter,
            phase,
            contact_nm: (2.0 * place - 1.0) * PLACES_NM,
            told: advice.feed,
            doubt_ns: (machine.onset(advice.feed) / advice.feed * 1e9).ceil() as u32,
            path: Approach {
                depth: feed * late,
                limits: axis.limits,
                ..Approach::endless(feed)
            },
            way,
            run_up: runs_on(ridden, 0.0, &axis.limits),
            force,
        }
    }

    /// What it came to; none where the latch gave no position.
    fn seen(&self, machine: &Machine, latch: &LatchConfig) -> Option<Seen> {
        let latched = match machine.control.latching {
            Latching::Edge => latch.contact(&self.caught(self.edge)),
            Latching::Scan { period } => {
                latch.contact(&self.caught(self.edge + self.phase * period))
            }
            Latching::History { period } => {
                let control = &machine.control;
                self.looked_up(latch, control.delay + control.input_delay, period)
            }
        };
        let error_nm = latched.ok()?.at_nm as f64 - self.contact_nm;
        Some(Seen {
            error: error_nm * 1e-9,
            way: self.way,
            run_up: self.run_up,
            force: self.force,
        })
    }

    fn position_nm(&self, t: f64) -> i64 {
        (self.contact_nm + self.path.position(t) * 1e9).round() as i64
    }

    fn caught(&self, t: f64) -> Caught {
        Caught {
            position_nm: self.position_nm(t),
            feed_nm_s: (self.told * 1e9).round() as i64,
            feed_at: FeedAt::Contact,
            acceleration_nm_s2: 0,
            doubt_ns: Some(self.doubt_ns),
        }
    }

    fn looked_up(
        &self,
        latch: &LatchConfig,
        delay: f64,
        period: f64,
    ) -> Result<Latched, LatchError> {
        let onset = self.edge - delay;
        let newest = ((onset / period) - self.phase).ceil() as i64 + BEHIND;
        let mut history = History::<8>::new();
        for k in newest - BEFORE..=newest {
            let t = (k as f64 + self.phase) * period;
            history.push((t * 1e9).round() as i64, self.position_nm(t))?;
        }
        history.contact(latch, (self.edge * 1e9).round() as i64, Some(self.doubt_ns))
    }
}

/// How late the first tooth of a cutter is behind the disc of its longest one, s; 0 without a cutter.
fn first_tooth(machine: &Machine, feed: f64, rng: &mut Rng) -> f64 {
    let Some(cutter) = machine.scenario.cutter else {
        return 0.0;
    };
    let mounted = cutter.mount(rng);
    let path = Approach::endless(feed);
    let hits = cutter.hits(&mounted, &path, 0.0, None, 2.0 / cutter.speed);
    hits.first().map_or(0.0, |hit| hit.begin.max(0.0))
}
