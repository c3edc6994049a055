//! Whole, broken or unproven: each row is told to the core's own check, step by step.

mod weighed;

use std::collections::BTreeSet;

use trueonset::budget::Class;
use trueonset::gauge::check::{
    Allowance, Check, CheckConfig, CheckError, CheckPlan, CheckTimes, Input, Output, Reasons,
    Verdict,
};
use trueonset::gauge::Side;
use trueonset::latch::Latched;
use trueonset::time::{Instant, TickRate};

use super::entries::{Doubts, Entry, SURE_DOF};
use super::outcome::Outcome;
use super::plan::{Kind, Plan};
use super::touches::Touch;
use crate::fault::Fault;

/// The shortest hold that outlasts droplets, four times the longest one.
const HOLD_NS: u64 = 20_000_000;
/// Touches that meet a chip, and the heights that these have, nm.
const CHIPS: f64 = 1e-3;
const CHIP_NM: f64 = 1e6;
/// Two touches agree within so many doubts of one.
const APART: f64 = 5.5;
/// What each of four causes may have of a false whole.
const CAUSE: f64 = 2.5e-10;

/// Time for each step but the hold, ns: the rows are in order already.
const STEP_NS: u64 = 1_000;

pub(super) fn judge(plan: &Plan, cycle: &[Touch]) -> Result<Outcome, Fault> {
    if cycle.is_empty() {
        return Ok(Outcome::unproven(Kind::Breakage, "few"));
    }
    if plan.sequential {
        return weighed::judge(plan, cycle);
    }
    let all = latched(plan, cycle)?;
    let doubts = Doubts::of(plan, &all)?;
    let config = config(plan, cycle, &doubts)?;
    let (verdict, told) = walk(plan, &config, cycle)?;
    if let (Some(Verdict::Whole { .. }), Some(left)) = (verdict, cycle.get(told)) {
        return Err(Fault::new(
            format!("a row after the {told} that were judged"),
            format!("the {} touches the plan asks for", config.plan().touches),
            "state [check] touches, or give the row another cycle",
        )
        .at(left.place.clone()));
    }
    // What comes after a verdict is no part of it.
    let (cycle, later) = cycle.split_at(told.min(cycle.len()));
    let made = latched(plan, cycle)?;
    let doubts = Doubts::of(plan, &made)?;
    let mut outcome = Outcome::new(Kind::Breakage);
    outcome.window = Some(window(config.plan()));
    outcome.touches = made.len() as u32;
    outcome.dropped = later.iter().filter(|touch| !touch.is_limit()).count() as u32;
    evidence(&mut outcome, &config, cycle, &made);
    if cycle.iter().any(|touch| touch.cell_low) {
        outcome.note("cell_low");
    }
    outcome.budget = doubts.shares(made.len());
    if let Some(combined) = doubts.combined(made.len()) {
        outcome.sure(&combined);
    }
    match verdict {
        Some(Verdict::Whole {
            length_nm, notes, ..
        }) => {
            outcome.verdict = Some("whole");
            outcome.value_nm = Some(length_nm as f64);
            for word in notes.words() {
                outcome.note(word);
            }
            match bound(&config, &doubts, &made) {
                Ok(bound) => outcome.false_whole_bound = Some(bound),
                Err(why) => outcome.note(format!("no bound of a false whole: {why}")),
            }
        }
        Some(Verdict::Broken { reasons }) => {
            outcome.verdict = Some("broken");
            outcome.reason = reasons.first();
            let shortest = made.last().map(|touch| length(&config, touch));
            outcome.value_nm = shortest.filter(|_| reasons == Reasons::SHORT);
        }
        Some(Verdict::Unproven { reasons }) => {
            outcome.verdict = Some("unproven");
            outcome.reason = reasons.first();
            if reasons.contains(Reasons::STUCK) {
                released_elsewhere(&mut outcome, &config, cycle, &made);
            }
        }
        None => {
            outcome.verdict = Some("unproven");
            outcome.reason = Some("few");
        }
    }
    if outcome.value_nm.is_none() {
        (outcome.u_nm, outcome.k, outcome.dof, outcome.expanded_nm) = (None, None, None, None);
    }
    Ok(outcome)
}

/// Between which sizes a tool is whole, and below which it is broken, nm.
fn window(checked: &CheckPlan) -> (f64, f64, f64) {
    let expected = checked.expected_nm as f64;
    (
        expected - f64::from(checked.wear_nm),
        expected + f64::from(checked.long_nm),
        expected - f64::from(checked.smallest_break_nm),
    )
}

/// How often a broken tool is called whole at the most, or why nobody can say.
///
/// Noise has the share that the guard leaves, 2.5e-10, and so have droplets and pulses, held for 20 ms
/// and released where they were made, each. Assumed: a chip lies on the plate in one touch of a
/// thousand, of any height up to 1 mm; the window takes its share of that, and on another spot a
/// second chip must agree with the first.
fn bound(config: &CheckConfig, doubts: &Doubts, made: &[Latched]) -> Result<f64, String> {
    let plan = config.plan();
    if plan.times.hold_ns < HOLD_NS {
        return Err(format!(
            "a hold of {} ms or more outlasts droplets",
            HOLD_NS / 1_000_000
        ));
    }
    if let Some((name, dof)) = doubts.badly_known() {
        return Err(format!(
            "{name} rests on {dof} degrees of freedom; study it with {SURE_DOF} or more"
        ));
    }
    let share = |nm: f64| (nm / CHIP_NM).min(1.0);
    let window = share(f64::from(plan.wear_nm) + f64::from(plan.long_nm));
    let own = made.iter().map(|touch| touch.doubt_pm).max().unwrap_or(0);
    let own_nm = f64::from(own).hypot(f64::from(plan.allowance.touch_pm)) / 1e3;
    let chips = if plan.other_spot {
        CHIPS * CHIPS * window * share(2.0 * APART * own_nm)
    } else {
        CHIPS * window
    };
    Ok((3.0 * CAUSE + chips).max(4.0 * CAUSE))
}

fn latched(plan: &Plan, cycle: &[Touch]) -> Result<Vec<Latched>, Fault> {
    let touched = cycle.iter().filter(|touch| !touch.is_limit());
    touched.map(|touch| touch.latched(plan)).collect()
}

fn length(config: &CheckConfig, touch: &Latched) -> f64 {
    let plan = config.plan();
    plan.reference.size_at(plan.side, touch.at_nm) as f64
}

/// Tells the rows; the verdict, if there is one, and how many it took.
fn walk(
    plan: &Plan,
    config: &CheckConfig,
    cycle: &[Touch],
) -> Result<(Option<Verdict>, usize), Fault> {
    let alive = cycle.first().is_some_and(|touch| touch.alive);
    let mut teller = Teller::armed(config, alive);
    for (touch, number) in cycle.iter().zip(1..) {
        if touch.is_limit() {
            teller.limit(touch);
        } else {
            teller.touch(&touch.latched(plan)?, touch);
        }
        if teller.verdict.is_some() {
            return Ok((teller.verdict, number));
        }
    }
    Ok((None, cycle.len()))
}

struct Teller<'a> {
    config: &'a CheckConfig,
    check: Check,
    now: u64,
    verdict: Option<Verdict>,
}

impl<'a> Teller<'a> {
    /// Told to begin, by a link that stands and a probe that has proved itself, or not.
    fn armed(config: &'a CheckConfig, alive: bool) -> Self {
        let mut teller = Self {
            config,
            check: Check::new(),
            now: 0,
            verdict: None,
        };
        teller.tell(Input::Ready(true));
        teller.tell(Input::Blocked(false));
        if alive {
            teller.tell(Input::Beat);
        }
        teller.tell(Input::Start);
        teller.tell(Input::Go);
        teller
    }

    fn tell(&mut self, input: Input) {
        let Output { verdict, .. } =
            self.check
                .step(self.config, input, Instant::from_ticks(self.now));
        self.verdict = self.verdict.or(verdict);
    }

    /// What the row says against its probe and its link.
    fn remarks(&mut self, touch: &Touch) {
        if touch.unfit {
            self.tell(Input::Unfit);
        }
        // A gap that nobody counted may have been one.
        if touch.ready_gaps != Some(0) {
            self.tell(Input::Ready(false));
            self.tell(Input::Ready(true));
        }
    }

    /// The end of the travel, a row that is told when nothing is in flight any more.
    fn limit(&mut self, touch: &Touch) {
        self.tell(Input::Flag(touch.flags));
        self.remarks(touch);
        self.tell(Input::Limit {
            at_nm: touch.position_nm.unwrap_or(0),
        });
        self.now += STEP_NS + 1;
        let Output { verdict, .. } = self.check.poll(Instant::from_ticks(self.now));
        self.verdict = self.verdict.or(verdict);
    }

    fn touch(&mut self, latched: &Latched, touch: &Touch) {
        self.tell(Input::Touch(*latched));
        self.remarks(touch);
        let hold = self.config.plan().times.hold_ns;
        self.now += touch.held_ns.unwrap_or(0).min(hold);
        self.tell(Input::Back);
        if let Some(at_nm) = touch.release_nm {
            self.tell(Input::Released(touch.released.unwrap_or(Latched {
                at_nm,
                bound_nm: 0,
                flags: trueonset::flags::Flags::NONE,
                ..*latched
            })));
            // The row says that READY stood until the verdict: a dead link could not.
            self.tell(Input::Beat);
        }
        self.tell(Input::End);
    }
}

fn config(plan: &Plan, cycle: &[Touch], doubts: &Doubts) -> Result<CheckConfig, Fault> {
    verified(plan, doubts, checked(plan, cycle, doubts)?)
}

fn verified(plan: &Plan, doubts: &Doubts, checked: CheckPlan) -> Result<CheckConfig, Fault> {
    CheckConfig::new(checked, TickRate::NANOSECONDS).map_err(|why| {
        let stated = (checked.touches, checked.times.hold_ns);
        refused(plan, doubts, why, stated)
    })
}

/// What the plan asks of the core's check, for the touches of a cycle.
fn checked(plan: &Plan, cycle: &[Touch], doubts: &Doubts) -> Result<CheckPlan, Fault> {
    let bounded = |entry: &&Entry| entry.bound_pm.is_some() && entry.name != "interpolation";
    let bounds_pm: u64 = doubts
        .entries
        .iter()
        .filter(bounded)
        .filter_map(|entry| entry.bound_pm)
        .sum();
    let of = |class: bool| {
        move |entry: &Entry| {
            entry.bound_pm.is_none()
                && entry.name != "onset"
                && (entry.term.class == Class::Touch) == class
        }
    };
    let shared = doubts.root(of(false));
    let touch = doubts.root(of(true));
    let own: Vec<Entry> = doubts
        .entries
        .iter()
        .filter(|entry| of(false)(entry) || of(true)(entry))
        .cloned()
        .collect();
    let dof = Doubts { entries: own }
        .combined(1)
        .map_or(trueonset::budget::Dof::Known, |all| all.dof);
    let feed = cycle.iter().find_map(|touch| touch.feed_nm_s).unwrap_or(0);
    let side = Side::of_feed(feed).unwrap_or(Side::Falling);
    let spots: BTreeSet<&str> = cycle.iter().map(|touch| touch.spot.as_str()).collect();
    let break_nm = plan.short(
        "tool.smallest_break",
        "the smallest break that must be found",
    )?;
    let wear_nm = plan.short("tool.wear", "how much shorter by wear the tool may be")?;
    let hold_ns = plan.stated.needed(
        "check.hold",
        "how long contact must be held (20 ms and more)",
    )?;
    let wanted = plan.touches.unwrap_or(2);
    Ok(CheckPlan {
        reference: plan.reference()?,
        side,
        expected_nm: plan.stated.needed("tool.expected", "the stored length")?,
        wear_nm,
        long_nm: plan.short("tool.long", "how much longer the tool may be")?,
        smallest_break_nm: break_nm,
        allowance: Allowance {
            bounds_nm: u32::try_from(bounds_pm.div_ceil(1_000)).unwrap_or(u32::MAX),
            shared_pm: shared,
            dof,
            touch_pm: touch,
        },
        release_nm: release_nm(plan, doubts, break_nm.saturating_sub(wear_nm))?,
        touches: u8::try_from(wanted).unwrap_or(u8::MAX),
        attempts: 1,
        other_spot: spots.len() >= 2 && !spots.contains(""),
        turning: cycle.iter().any(|touch| touch.spindle_mhz.unwrap_or(0) > 0),
        times: CheckTimes {
            arm_ns: STEP_NS,
            approach_ns: STEP_NS,
            told_ns: STEP_NS,
            hold_ns: u64::try_from(hold_ns).unwrap_or(0),
            release_ns: STEP_NS,
            beat_ns: STEP_NS,
        },
    })
}

/// What a check was refused for, by the key that says it.
fn refused(plan: &Plan, doubts: &Doubts, why: CheckError, stated: (u8, u64)) -> Fault {
    let fault = |key: &str, found: String, expected: &str, remedy: &str| {
        plan.stated.fault(key, found, expected, remedy)
    };
    match why {
        CheckError::WindowTooNarrow { by_nm } => fault(
            "tool.smallest_break",
            format!("a window too narrow by {by_nm} nm"),
            "a break longer than wear and guard together",
            "allow less wear, look for a larger break, or make the doubt smaller",
        ),
        CheckError::Touches => fault(
            "check.touches",
            format!("{} touches", plan.touches.unwrap_or(stated.0.into())),
            "2 to 20: one touch never proves a tool",
            "change the number",
        ),
        CheckError::Times => fault(
            "check.hold",
            format!("{} ns", stated.1),
            "a hold of 1 ns to 18 min",
            "state one of 20 ms or more",
        ),
        CheckError::Release if plan.stated.whole("check.release").is_none() => fault(
            "tool.smallest_break",
            "a break no longer than the wear".to_owned(),
            "a break longer than wear and guard together",
            "allow less wear, or look for a larger break",
        ),
        CheckError::Release => fault(
            "check.release",
            "a release allowed as far off as a break".to_owned(),
            "less than smallest_break is longer than wear",
            "allow what the probe has of hysteresis",
        ),
        CheckError::Length => fault(
            "tool.expected",
            "a length or reference beyond 10 m".to_owned(),
            "lengths within 10 m",
            "check units, those of reference_position and reference_length too",
        ),
        why => {
            let worst = doubts.worst_known();
            let key = worst.map_or("budget".to_owned(), |name| format!("budget.{name}.dof"));
            fault(
                &key,
                "a doubt that is hardly known".to_owned(),
                "degrees of freedom that a guard can rest on (4 and more)",
                &why.to_string(),
            )
        }
    }
}

/// How far a release may lie from its contact: as stated, or bounds and six doubts of the difference
/// of both; less than `left_nm`, where it would be that of a broken tool on the plate.
fn release_nm(plan: &Plan, doubts: &Doubts, left_nm: u32) -> Result<u32, Fault> {
    // Weighed touch by touch, a break may be less than what a release scatters by.
    let left_nm = if plan.sequential { u32::MAX } else { left_nm };
    if plan.stated.whole("check.release").is_some() {
        return plan.short(
            "check.release",
            "how far a release may lie from its contact",
        );
    }
    let bounds: u64 = doubts
        .entries
        .iter()
        .filter_map(|entry| entry.bound_pm)
        .sum();
    let all = f64::from(doubts.root(|entry| entry.bound_pm.is_none()));
    let pm = bounds as f64 + 6.0 * 2.0_f64.sqrt() * all;
    let most = f64::from(left_nm.saturating_sub(1));
    Ok((pm / 1e3).ceil().min(most) as u32)
}

/// Tells a release that lies too far from its contact, and what may be done.
fn released_elsewhere(
    outcome: &mut Outcome,
    config: &CheckConfig,
    cycle: &[Touch],
    made: &[Latched],
) {
    let allowed = u64::from(config.plan().release_nm);
    let touched = cycle.iter().filter(|touch| !touch.is_limit());
    for ((touch, made), number) in touched.zip(made).zip(1..) {
        let off = touch.release_nm.map(|at| at.abs_diff(made.at_nm));
        if let Some(off) = off.filter(|off| *off > allowed) {
            outcome.note(format!(
                "touch {number} was released {off} nm from its contact, {allowed} nm are allowed; \
                 state [check] release where the probe has so much hysteresis"
            ));
        }
    }
}

fn evidence(outcome: &mut Outcome, config: &CheckConfig, cycle: &[Touch], made: &[Latched]) {
    let touched = || cycle.iter().filter(|touch| !touch.is_limit());
    let hold = config.plan().times.hold_ns;
    let count =
        |is: &dyn Fn(&Touch) -> bool| Some(touched().filter(|touch| is(touch)).count() as u32);
    outcome.evidence.held = count(&|touch| touch.held_ns.is_some_and(|held| held >= hold));
    outcome.evidence.ready = count(&|touch| touch.ready_gaps == Some(0));
    let release = u64::from(config.plan().release_nm);
    let released = touched().zip(made).filter(|(touch, made)| {
        touch
            .release_nm
            .is_some_and(|at| at.abs_diff(made.at_nm) <= release)
    });
    outcome.evidence.released = Some(released.count() as u32);
    let spots: BTreeSet<&str> = touched()
        .map(|touch| touch.spot.as_str())
        .filter(|spot| !spot.is_empty())
        .collect();
    outcome.evidence.spots = Some(spots.len() as u32);
}
