//! `[link]` and `[clock]`: the way of a touch through the air, checked against the rules of the core.
//!
//! What the keys leave open follows from them: the least time between edges, the guard, lead and reserve of the
//! store are those that the rules ask for, and for the plans that the core gives they are its own. The greatest
//! bound of a time that may keep READY is theirs as well, 4 us.

use trueonset::clock::{ClockConfig, ClockConfigError, Oscillator};
use trueonset::link::{LinkConfig, LinkConfigError, LinkPlan};
use trueonset::receiver::{ReceiverConfig, ReceiverConfigError};
use trueonset::time::TickRate;

use super::kind::Value;
use super::tables::Tables;
use crate::fault::{Fault, Place};
use crate::model::channel::{Loss, Timing};

/// From the silence allowed to the delay, where no silence is stated, ns: infrared, radio.
const DEAD_BEFORE_NS: [u64; 2] = [6_000_000, 4_000_000];
/// Jitter of a captured arrival: of an edge of light, of a radio's sync word (from memory), ns.
const JITTER_NS: [f64; 2] = [200.0, 1_000.0];
/// What the store reserves ahead and when it asks for more, ns.
const RESERVE_NS: u64 = 63_000_000_000;
const LEAD_NS: u64 = 542_000_000;
/// Step in which slots are counted, ns.
const STEP_NS: u64 = 125;
/// The longest memory of the clock, s, and its shortest, beats.
const MEMORY_S: f64 = 1.0;
const MEMORY_BEATS: f64 = 8.0;

/// A link through the air, checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Link {
    /// The plan of both sides.
    pub plan: LinkPlan,
    /// What is lost.
    pub loss: Loss,
    /// When frames are heard.
    pub timing: Timing,
    /// Limits of the probe's oscillator as the receiver is told them.
    pub oscillator: Oscillator,
}

impl Link {
    /// Ticks of the receiver a second.
    pub const RECEIVER_HZ: u32 = 16_000_000;

    /// Whether `tables` have touches go through the air.
    #[must_use]
    pub fn is_in(tables: &Tables) -> bool {
        tables.has("link") && tables.stated("link.medium") != Some(Value::Word("wired"))
    }

    /// The link that `tables` state, for touches that are told `hold_ns` after they began.
    ///
    /// # Errors
    /// A combination that breaks a rule of the core or that no medium can do; with the key to change and the
    /// nearest value that makes sense.
    pub fn of(tables: &Tables, hold_ns: u64) -> Result<Option<Self>, Fault> {
        if !Self::is_in(tables) {
            return Ok(None);
        }
        let at = |key: &str| Place::Setting(format!("{}: {key}", tables.source()));
        let radio = usize::from(tables.stated("link.medium") == Some(Value::Word("radio")));
        let (base, timing) = [
            (LinkPlan::INFRARED, Timing::INFRARED),
            (LinkPlan::RADIO, Timing::RADIO),
        ][radio];
        let ns = |key: &str| tables.number(key).map(|s| (s * 1e9).round() as u64);
        let slot = ns("link.slot").unwrap_or(base.slot_ns.into());
        let stated = Stated {
            slot,
            beat: ns("link.beat").unwrap_or(u64::from(base.beat_slots) * slot),
            delay: ns("link.delay").unwrap_or(base.delay_ns.into()),
            dead: ns("link.dead"),
            bound: ns("link.bound").unwrap_or(base.bound_ns.into()),
            before: DEAD_BEFORE_NS[radio],
            air: timing.air_ns,
            hold: hold_ns,
            fast: fast(tables),
        };
        let plan = stated.plan(base).map_err(|(key, why)| why.at(at(key)))?;
        learned(tables, &plan).map_err(|why| why.at(at("clock.tolerance")))?;
        let loss = loss(tables).map_err(|why| why.at(at("link.loss")))?;
        let timing = Timing {
            jitter_ns: ns("link.jitter").map_or(JITTER_NS[radio], |ns| ns as f64),
            ..timing
        };
        let oscillator = oscillator(tables, stated.beat as f64 * 1e-9, timing.jitter_ns * 1e-9);
        let link = Self {
            plan,
            loss,
            timing,
            oscillator,
        };
        link.configs().map_err(|why| why.at(at("link")))?;
        Ok(Some(link))
    }

    /// The core's settings of it.
    ///
    /// # Errors
    /// A rule broken that no key names.
    pub fn configs(&self) -> Result<(LinkConfig, ClockConfig), Fault> {
        let unkept = |why: String| {
            Fault::new(
                why,
                "a link that keeps its promises",
                "change [link] or [clock]",
            )
        };
        let rate = TickRate::from_hz(Self::RECEIVER_HZ).map_err(|why| unkept(why.to_string()))?;
        let link = LinkConfig::new(rate, self.plan)
            .map_err(|why: LinkConfigError| unkept(why.to_string()))?;
        let clock = ClockConfig::new(rate, self.plan.slot_ns, self.oscillator)
            .map_err(|why: ClockConfigError| unkept(why.to_string()))?;
        ReceiverConfig::new(&link, 0, clock)
            .map_err(|why: ReceiverConfigError| unkept(why.to_string()))?;
        Ok((link, clock))
    }
}

/// Times as stated or by default, ns.
struct Stated {
    slot: u64,
    beat: u64,
    delay: u64,
    dead: Option<u64>,
    bound: u64,
    /// From the default of `dead` to the delay.
    before: u64,
    /// A frame on the air.
    air: u64,
    hold: u64,
    /// By how much the probe's clock may be fast, as the receiver follows it.
    fast: f64,
}

type Refused = (&'static str, Fault);

/// A time as it would be written in a scenario.
fn shown(ns: u64) -> String {
    crate::quantity::show_time_ns(ns as i64)
}

/// Rounds down to whole microseconds.
fn floor(ns: u64) -> u64 {
    ns / 1_000 * 1_000
}

fn refused(key: &'static str, found: String, expected: String, nearest: &str) -> Refused {
    let remedy = format!("{nearest} makes sense");
    (key, Fault::new(found, expected, remedy))
}

impl Stated {
    fn plan(&self, base: LinkPlan) -> Result<LinkPlan, Refused> {
        self.slots()?;
        let unsure = 2 * self.bound;
        let dead = self.silence(unsure, base.blind_ns.into())?;
        let unseen = dead + unsure;
        self.told_in_time(dead)?;
        // All below 2^32: the keys' ranges and the rules above.
        let slots = |ns: u64| ns.div_ceil(self.slot) as u32;
        // A probe that is fast counts more of everything meanwhile.
        let counted = |ns: u64| (ns as f64 / (1.0 - self.fast)).ceil() as u64;
        let guard = slots(counted(unseen + self.slot)) + 1;
        let apart = (counted(unseen) / LinkPlan::NUMBERS + 1).next_multiple_of(100_000);
        Ok(LinkPlan {
            slot_ns: self.slot as u32,
            beat_slots: (self.beat / self.slot) as u16,
            delay_ns: self.delay as u32,
            dead_ns: dead as u32,
            bound_ns: self.bound as u32,
            apart_ns: base.apart_ns.max(apart as u32),
            guard_slots: guard,
            lead_slots: slots(LEAD_NS).max(guard + 1),
            reserve_slots: slots(RESERVE_NS),
            ..base
        })
    }

    /// Slot and beat: whole steps, room for a frame.
    fn slots(&self) -> Result<(), Refused> {
        let (slot, beat) = (self.slot, self.beat);
        if slot < self.air {
            return Err(refused(
                "link.slot",
                format!("{}, shorter than a frame on the air", shown(slot)),
                format!("{} or more", shown(self.air)),
                &format!("at least {}", shown(self.air)),
            ));
        }
        if slot % STEP_NS != 0 {
            let nearest = (slot + STEP_NS / 2) / STEP_NS * STEP_NS;
            return Err(refused(
                "link.slot",
                shown(slot),
                "whole steps of 125ns, in which ages are told".to_owned(),
                &format!("the nearest, {}", shown(nearest)),
            ));
        }
        if beat % slot != 0 || beat == 0 {
            let nearest = ((beat + slot / 2) / slot).max(1) * slot;
            return Err(refused(
                "link.beat",
                format!("{} beside slots of {}", shown(beat), shown(slot)),
                "whole slots".to_owned(),
                &format!("the nearest, {}", shown(nearest)),
            ));
        }
        Ok(())
    }

    /// The silence allowed: shorter than the delay and than ages tell, and room for two beats in it.
    fn silence(&self, unsure: u64, blind: u64) -> Result<u64, Refused> {
        let two = 2 * self.beat;
        let dead = match self.dead {
            Some(dead) => dead,
            None if self.delay < self.before + 2 * self.slot => {
                let least = self.before + two;
                return Err(refused(
                    "link.delay",
                    format!(
                        "{}, of which {} go before the silence allowed",
                        shown(self.delay),
                        shown(self.before)
                    ),
                    format!("room for two beats of {}", shown(self.beat)),
                    &format!(
                        "state link.dead, or a shorter link.beat, or at least {}",
                        shown(least)
                    ),
                ));
            }
            None => self.delay - self.before,
        };
        if dead + unsure + blind >= self.delay {
            let nearest = floor(self.delay.saturating_sub(unsure + blind + 1));
            return Err(refused(
                "link.dead",
                format!(
                    "{} beside a delay of {}: a late touch could meet READY",
                    shown(dead),
                    shown(self.delay)
                ),
                format!("dead + {} below the delay", shown(unsure + blind)),
                &format!("at most {}", shown(nearest)),
            ));
        }
        let range = (LinkPlan::AGE_RANGE_NS as f64 * (1.0 - self.fast)) as u64;
        if dead + unsure >= range {
            let nearest = floor(range - unsure - 1);
            return Err(refused(
                "link.dead",
                format!("{}, longer than the ages that a frame tells", shown(dead)),
                format!(
                    "dead + {} below {}; longer losses want a second receiver",
                    shown(unsure),
                    shown(range)
                ),
                &format!("at most {}", shown(nearest)),
            ));
        }
        if two > dead {
            let nearest = dead / 2 / self.slot * self.slot;
            return Err(if nearest > 0 {
                refused(
                    "link.beat",
                    format!("{} beside a silence of {}", shown(self.beat), shown(dead)),
                    "two beats in the silence allowed".to_owned(),
                    &format!("at most {}", shown(nearest)),
                )
            } else {
                refused(
                    "link.dead",
                    format!("{} beside slots of {}", shown(dead), shown(self.slot)),
                    "room for two beats".to_owned(),
                    &format!("a longer link.delay, or at least {}", shown(two)),
                )
            });
        }
        Ok(dead)
    }

    /// A touch is told a hold after it began; until then its frames vouch for nothing, and READY must outlast that.
    fn told_in_time(&self, dead: u64) -> Result<(), Refused> {
        let room = dead - 2 * self.slot;
        if self.hold < room {
            return Ok(());
        }
        let most = floor(room.saturating_sub(1));
        let nearest = if most > 0 {
            format!("a longer link.dead, or at most {}", shown(most))
        } else {
            "a longer link.dead".to_owned()
        };
        Err(refused(
            "onset.hold",
            format!(
                "{} beside a link: a touch is told that long after contact, and READY would fall in every one",
                shown(self.hold)
            ),
            format!("less than dead less two slots, {}", shown(room)),
            &nearest,
        ))
    }
}

/// How fast the clock follows an oscillator at most: an eighth, 25 ppm and a second of drift beyond its tolerance,
/// and what the core rounds up by.
fn fast(tables: &Tables) -> f64 {
    1.125 * tables.si("clock.tolerance") + tables.si("clock.drift") + 30e-6
}

/// A clock that starts knows no more than the tolerance until the next beat, and must not lose its place among the
/// slots: the core drops it when it may be off by more than a fourth of one, a slot after that beat.
fn learned(tables: &Tables, plan: &LinkPlan) -> Result<(), Fault> {
    let tolerance = tables.si("clock.tolerance");
    let slots = f64::from(plan.beat_slots) + 1.0;
    if tolerance * slots < 0.25 {
        return Ok(());
    }
    let nearest = (249.0 / slots).floor() / 10.0;
    Err(Fault::new(
        format!(
            "{}% beside beats of {} slots: the receiver would lose count of the slots before it knows the clock",
            tolerance * 1e2,
            plan.beat_slots
        ),
        "less than a fourth of a slot from beat to beat",
        format!("a shorter link.beat, or at most {nearest}% makes sense"),
    ))
}

/// What is lost, and in which bursts.
fn loss(tables: &Tables) -> Result<Loss, Fault> {
    let share = tables.si("link.loss");
    let Some(burst) = tables.number("link.burst") else {
        return Loss::independent(share);
    };
    Loss::new(share, burst).map_err(|why| {
        let percent = (burst / (burst + 1.0) * 1e5).floor() / 1e3;
        let remedy = format!("a longer link.burst, or at most {percent}% makes sense");
        Fault::new(why.found(), why.expected(), remedy)
    })
}

/// Limits, and the memory that serves them best: (1.25·dt·σ²/4a²)^(1/5) for beats every `dt` that scatter by σ and a
/// drift of a, as the core has it.
fn oscillator(tables: &Tables, beat: f64, jitter: f64) -> Oscillator {
    let drift = tables.si("clock.drift");
    // A tick at the receiver scatters as well.
    let tick = 1.0 / f64::from(Link::RECEIVER_HZ);
    let square = jitter * jitter + tick * tick / 12.0;
    let best = (1.25 * beat * square / (4.0 * drift * drift)).powf(0.2);
    let memory = best.min(MEMORY_S).max(MEMORY_BEATS * beat);
    let whole = |value: f64| (value - 1e-6).ceil().max(0.0) as u32;
    Oscillator {
        tolerance_ppm: whole(tables.si("clock.tolerance") * 1e6),
        drift_ppb_s: whole(drift * 1e9),
        wander_ppb: 0,
        memory_ms: (memory * 1e3).ceil() as u32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;
    use proptest::prelude::*;

    fn of(text: &str) -> Result<Scenario, Fault> {
        Scenario::of(&Tables::parse(text, "s.toml")?)
    }

    #[test]
    fn the_defaults_are_the_plans_of_the_core() {
        let plan = |text: &str| of(text).unwrap().link.unwrap().plan;
        assert_eq!(plan("[link]\n"), LinkPlan::INFRARED);
        assert_eq!(plan("[link]\nmedium = \"radio\"\n"), LinkPlan::RADIO);
        assert_eq!(
            of("[link]\nmedium = \"wired\"\nloss = \"1%\"\n")
                .unwrap()
                .link,
            None
        );
        assert_eq!(of("[clock]\ntolerance = \"2%\"\n").unwrap().link, None);
        let tight = plan("[link]\nbound = \"1us\"\n");
        assert_eq!(
            (tight.bound_ns, tight.dead_ns),
            (1_000, LinkPlan::INFRARED.dead_ns)
        );
        let longer = plan("[link]\ndelay = \"101ms\"\n");
        assert_eq!((longer.dead_ns, longer.apart_ns), (95_000_000, 3_100_000));
    }

    #[test]
    fn a_stated_oscillator_reaches_the_clock() {
        let link = of("[link]\n[clock]\ntolerance = \"2%\"\ndrift = \"30ppm/s\"\n")
            .unwrap()
            .link
            .unwrap();
        let told = link.oscillator;
        assert_eq!((told.tolerance_ppm, told.drift_ppb_s), (20_000, 30_000));
        assert_eq!(told.memory_ms, 40);
        assert_eq!(
            of("[link]\n[clock]\ndrift = \"0ppm/s\"\n")
                .unwrap()
                .link
                .unwrap()
                .oscillator
                .memory_ms,
            1_000
        );
    }

    #[test]
    fn every_broken_rule_names_its_key_and_a_value_that_is_taken() {
        for (text, value, key) in [
            ("[link]\nslot = \"VALUE\"\n", "200us", "link.slot"),
            ("[link]\nslot = \"VALUE\"\n", "1000100ns", "link.slot"),
            ("[link]\nbeat = \"VALUE\"\n", "2600us", "link.beat"),
            ("[link]\nbeat = \"VALUE\"\n", "25ms", "link.beat"),
            (
                "[link]\ndead = \"VALUE\"\n[onset]\nhold = \"100ns\"\n",
                "48ms",
                "link.dead",
            ),
            (
                "[link]\ndead = \"VALUE\"\ndelay = \"200ms\"\n",
                "150ms",
                "link.dead",
            ),
            (
                "[link]\nbound = \"50us\"\ndead = \"VALUE\"\n[onset]\nhold = \"100ns\"\n",
                "47ms",
                "link.dead",
            ),
            ("[link]\ndead = \"VALUE\"\n", "1ms", "link.dead"),
            (
                "[link]\nbeat = \"VALUE\"\ndelay = \"12ms\"\n",
                "5ms",
                "link.beat",
            ),
            ("[link]\ndelay = \"VALUE\"\n", "7ms", "link.delay"),
            ("[link]\nburst = 2\nloss = \"VALUE\"\n", "80%", "link.loss"),
            (
                "[link]\n[clock]\ntolerance = \"VALUE\"\n",
                "4.2%",
                "clock.tolerance",
            ),
            ("[link]\n[onset]\nhold = \"VALUE\"\n", "41ms", "onset.hold"),
        ] {
            let why = of(&text.replace("VALUE", value)).unwrap_err().to_string();
            assert!(why.starts_with(&format!("s.toml: {key}")), "{why}");
            let nearest = why.split(" makes sense").next().unwrap();
            let nearest = nearest.rsplit(' ').next().unwrap();
            let taken = of(&text.replace("VALUE", nearest));
            assert!(taken.is_ok(), "{why}: {taken:?}");
        }
        let no_room = of("[link]\nslot = \"30ms\"\nbeat = \"60ms\"\n")
            .unwrap_err()
            .to_string();
        assert!(no_room.contains("link.delay"), "{no_room}");
    }

    proptest! {
        #[test]
        fn whatever_is_stated_keeps_the_rules_or_names_a_key(
            slot in 1_u64..200_000_000, beats in 1_u64..40, delay in 1_u64..1_100, dead in proptest::option::of(1_u64..1_100),
            loss in 0_u32..100, burst in proptest::option::of(1.0..50.0_f64), radio: bool, drift in 0_u32..2_000_000, hold in 1_u64..20_000_000, bound in 500_u64..50_000) {
            let medium = if radio { "radio" } else { "infrared" };
            let beat = (slot * beats).min(1_000_000_000);
            let mut text = format!("[link]\nmedium = \"{medium}\"\nslot = \"{slot}ns\"\nbeat = \"{beat}ns\"\ndelay = \"{delay}ms\"\nbound = \"{bound}ns\"\nloss = \"{loss}%\"\n");
            if let Some(dead) = dead { text += &format!("dead = \"{dead}ms\"\n"); }
            if let Some(burst) = burst { text += &format!("burst = {burst}\n"); }
            text += &format!("[clock]\ndrift = \"{drift}ppb/s\"\n[onset]\nhold = \"{hold}ns\"\n");
            if let Err(why) = of(&text) {
                let why = why.to_string();
                prop_assert!(!why.starts_with("s.toml: link:"), "{why}");
            }
        }
    }
}
