//! Touches of a barrier carried over the air.
//!
//! A link outlives many touches, as it does at a machine. Before each of them READY has stood for a second; between
//! them, with beats alone, its falls are counted. The probe is told of a touch when the barrier has confirmed it, with
//! the onset that the barrier found; a release is told at once.

use rand_distr::{Distribution, Uniform};

use super::seen::Course;
use super::world::World;
use super::{Flight, Flown, NAME};
use crate::fault::Fault;
use crate::model::channel::{Medium, Setting};
use crate::model::oscillator::{Oscillator, Parts};
use crate::model::rng::{self, Rng};
use crate::scenario::Link;

/// READY stands so long before a touch at least, and at most so much longer, ns.
const REST_NS: u64 = 1_000_000_000;
const SPREAD_NS: u64 = 200_000_000;
/// How long a touch waits for that at most, ns.
const PATIENCE_NS: u64 = 60_000_000_000;
/// Shortest and longest time from the confirmation of a touch to its release, ns.
const STAND_NS: (u64, u64) = (60_000_000, 120_000_000);
/// From the end of the delay after a release to the rest, slots: its last repeats.
const LAST_SLOTS: u64 = 8;
/// Two ticks of the receiver: of the onset and of the output, ns.
const STEPS_NS: u64 = 125;
/// From the begin of the link to the zero of edges at given instants, ns.
const BEFORE_NS: u64 = 3_000_000_000;

/// A touch as a barrier reports it, both from the true contact on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reported {
    /// The onset, ns.
    pub onset_ns: f64,
    /// The confirmation, ns.
    pub told_ns: f64,
}

/// What became of touches on their way.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Carried {
    /// Touches carried.
    pub touches: u64,
    /// Touches not carried: READY did not stand for a second within a minute, or had not for one before over the same
    /// link.
    pub without: u64,
    /// Touches that stopped the line later than their onset + delay + bound, with READY up until then.
    pub late: u64,
    /// Edges told twice.
    pub twice: u64,
    /// Touches whose onset was farther off than the bound stated by the link.
    pub outside_doubt: u64,
    /// Longest time from true contact to stop, ns.
    pub stop_max_ns: u64,
    /// Falls of READY between touches.
    pub drops: u64,
    /// The time in which they were counted, ns.
    pub rest_ns: u64,
}

impl Carried {
    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            touches: self.touches + other.touches,
            without: self.without + other.without,
            late: self.late + other.late,
            twice: self.twice + other.twice,
            outside_doubt: self.outside_doubt + other.outside_doubt,
            stop_max_ns: self.stop_max_ns.max(other.stop_max_ns),
            drops: self.drops + other.drops,
            rest_ns: self.rest_ns + other.rest_ns,
        }
    }

    /// Falls of READY an hour between touches; none where nothing was watched.
    #[must_use]
    pub fn drops_per_h(&self) -> Option<f64> {
        let hours = self.rest_ns as f64 / 3.6e12;
        (hours > 0.0).then(|| self.drops as f64 / hours)
    }
}

impl Flight {
    /// A link of a scenario; its oscillator lies anywhere within the tolerance and drifts as fast as it may.
    #[must_use]
    pub fn of(link: &Link, seed: u64) -> Self {
        let mut rng = rng::stream(&[NAME, seed, 3]);
        let most = f64::from(link.oscillator.tolerance_ppm);
        let offset_ppm = between(&mut rng, -most, most);
        let up = between(&mut rng, -1.0, 1.0).signum();
        Self {
            plan: link.plan,
            air: Setting::new(Medium::single(link.loss), link.timing),
            oscillator: Oscillator::new(Parts {
                offset_ppm,
                drift_ppm_s: up * f64::from(link.oscillator.drift_ppb_s) * 1e-3,
                ..Parts::default()
            }),
            kind: link.oscillator,
        }
    }
}

fn between(rng: &mut Rng, low: f64, high: f64) -> f64 {
    Uniform::new_inclusive(low, high).map_or(low, |span| span.sample(rng))
}

/// Carries `reported` one after the other over one link, asking `go_on` before each. None when it said no.
///
/// # Errors
/// A link that breaks a rule.
pub fn carry(
    link: &Link,
    reported: &[Reported],
    seed: u64,
    go_on: &dyn Fn() -> bool,
) -> Result<Option<Carried>, Fault> {
    carry_each(link, reported, seed, go_on, &mut |_| {})
}

/// As [`carry`], handing on when each touch carried stopped the line, ns after its true contact; none where it did not.
///
/// # Errors
/// As [`carry`].
pub fn carry_each(
    link: &Link,
    reported: &[Reported],
    seed: u64,
    go_on: &dyn Fn() -> bool,
    stops: &mut dyn FnMut(Option<u64>),
) -> Result<Option<Carried>, Fault> {
    let flight = Flight::of(link, seed);
    let mut run = Run {
        world: World::new(&flight, seed, u64::MAX)?,
        rng: rng::stream(&[NAME, seed, 4]),
        slot_ns: link.plan.slot_ns.into(),
        delay_ns: link.plan.delay_ns.into(),
        bound_ns: link.plan.bound_ns.into(),
        carried: Carried::default(),
        stop_ns: None,
    };
    for (number, one) in reported.iter().enumerate() {
        if !go_on() {
            return Ok(None);
        }
        if !run.touch(one) {
            run.carried.without = (reported.len() - number) as u64;
            break;
        }
        stops(run.stop_ns);
    }
    let Flown {
        twice,
        touches_outside,
        stop_max_ns,
        ..
    } = run.world.flown;
    Ok(Some(Carried {
        twice,
        outside_doubt: touches_outside,
        stop_max_ns,
        ..run.carried
    }))
}

struct Run<'a> {
    world: World<'a>,
    rng: Rng,
    slot_ns: u64,
    delay_ns: u64,
    bound_ns: u64,
    carried: Carried,
    /// When the last touch stopped the line, ns after its contact.
    stop_ns: Option<u64>,
}

impl Run<'_> {
    /// One touch and its release; whether READY stood long enough before.
    fn touch(&mut self, one: &Reported) -> bool {
        let Some(contact_ns) = self.rest() else {
            return false;
        };
        let world = &mut self.world;
        let shown = world.shown(one.onset_ns);
        world.contact(contact_ns);
        let told_ns = contact_ns + one.told_ns.max(0.0) as u64;
        world.until(told_ns);
        let onset_ns = contact_ns.saturating_add_signed(one.onset_ns.round() as i64);
        world.tell(shown, onset_ns, true);
        let (least, most) = STAND_NS;
        let stand = between(&mut self.rng, least as f64, most as f64) as u64;
        // Told without a time it stops late, and is let go only after that.
        let release_ns = told_ns + stand;
        world.until(release_ns);
        world.tell(world.shown(0.0), release_ns, false);
        world.until(release_ns + self.delay_ns + LAST_SLOTS * self.slot_ns);
        self.carried.touches += 1;
        let limit_ns = onset_ns + self.delay_ns + self.bound_ns + STEPS_NS;
        let stopped_ns = world.stopped_ns();
        let in_time = stopped_ns.is_some_and(|stop_ns| stop_ns <= limit_ns);
        self.carried.late += u64::from(!in_time);
        self.stop_ns = stopped_ns.map(|stop_ns| stop_ns.saturating_sub(contact_ns));
        true
    }

    /// Waits for READY to stand; the instant of a touch.
    fn rest(&mut self) -> Option<u64> {
        let pause = REST_NS + between(&mut self.rng, 0.0, SPREAD_NS as f64) as u64;
        let give_up = self.world.at_ns() + PATIENCE_NS;
        // A link that was never READY cannot fall from it.
        while self.carried.rest_ns == 0 && self.world.ready_since().is_none() {
            let next = self.world.at_ns() + self.slot_ns;
            self.world.until(next);
            if next > give_up {
                return None;
            }
        }
        let (from, drops) = (self.world.at_ns(), self.world.flown.drops);
        let found = loop {
            let next = self.world.at_ns() + self.slot_ns;
            let since = self.world.ready_since();
            match since.map(|since| since.max(from) + pause) {
                Some(wanted) if wanted <= next => {
                    self.world.until(wanted);
                    if self.world.ready_since() == since && self.world.runs() {
                        break Some(wanted);
                    }
                }
                _ => self.world.until(next),
            }
            if next > give_up {
                break None;
            }
        };
        self.carried.drops += self.world.flown.drops - drops;
        self.carried.rest_ns += self.world.at_ns() - from;
        found
    }
}

/// An edge at a given instant, ns from the zero of a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edges {
    /// The true one.
    pub true_ns: i64,
    /// The onset that the barrier found.
    pub onset_ns: i64,
    /// When it told.
    pub told_ns: i64,
    /// Contact, or its end.
    pub touched: bool,
}

/// Carries edges at given instants over one link that began three seconds before, up to `end_ns`, and keeps what
/// there is to see; its frames and clock only where it `keeps_all`.
///
/// # Errors
/// A link that breaks a rule.
pub fn watch(
    link: &Link,
    edges: &[Edges],
    end_ns: i64,
    seed: u64,
    keeps_all: bool,
) -> Result<(Flown, Course), Fault> {
    let flight = Flight::of(link, seed);
    let mut world = World::new(&flight, seed, u64::MAX)?;
    world.course = Some(Course::new(keeps_all));
    let at = |ns: i64| BEFORE_NS.saturating_add_signed(ns);
    // First it happens, then it is told; what happens meanwhile to others comes in between.
    let mut shown = vec![None; edges.len()];
    let happen = edges
        .iter()
        .enumerate()
        .map(|(k, edge)| (edge.true_ns, k, false));
    let told = edges
        .iter()
        .enumerate()
        .map(|(k, edge)| (edge.told_ns, k, true));
    let mut all: Vec<_> = happen.chain(told).collect();
    all.sort_unstable();
    for (ns, k, tells) in all {
        let edge = edges[k];
        world.until(at(ns).max(world.at_ns()));
        if !tells {
            let error_ns = edge.onset_ns - edge.true_ns;
            shown[k] = Some(world.shown(error_ns as f64));
            if edge.touched {
                world.contact(at(ns));
            }
        } else if let Some(shown) = shown[k] {
            world.tell(shown, at(edge.onset_ns), edge.touched);
        }
    }
    world.until(at(end_ns).max(world.at_ns()));
    let course = world.course.take().unwrap_or_default();
    Ok((world.flown, course.earlier(BEFORE_NS)))
}

#[cfg(test)]
mod tests;
