//! Contributions to the doubt: those of the plan, and those that touches bring along.

use trueonset::budget::{combine, Class, Combined, Dof, Term};
use trueonset::flags::Flags;
use trueonset::latch::Latched;

use super::outcome::Share;
use super::plan::Plan;
use super::stated::Stated;
use crate::fault::Fault;

/// The most contributions there is room for.
const MOST: usize = 64;

/// Degrees of freedom from which on a guard of so many doubts holds.
pub(crate) const SURE_DOF: u16 = 50;

/// A contribution.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub(crate) name: String,
    pub(crate) term: Term,
    /// Half its width, pm, where it is bounded.
    pub(crate) bound_pm: Option<u64>,
}

impl Entry {
    /// Those of the plan.
    ///
    /// # Errors
    /// One without a size, with two, or too large.
    pub(super) fn all(stated: &Stated) -> Result<Vec<Self>, Fault> {
        if stated.entries.len() + 8 > MOST {
            return Err(stated.fault(
                "budget",
                "more contributions than there is room for",
                "up to 56",
                "combine some",
            ));
        }
        stated
            .entries
            .iter()
            .map(|name| Self::of(stated, name))
            .collect()
    }

    fn of(stated: &Stated, name: &str) -> Result<Self, Fault> {
        let key = |part: &str| format!("budget.{name}.{part}");
        let (width, sd) = (stated.whole(&key("half_width")), stated.whole(&key("sd")));
        let (pm, bound_pm) = match (width, sd) {
            (Some(width), None) => {
                let size = width as f64;
                // Divisors: rectangular √3, triangular √6, arcsine √2 (JCGM 100:2008, 4.3.7 and
                // 4.3.9); half the width of a normal one is two deviations.
                let (by, bounded) = match stated.word(&key("shape")) {
                    Some("triangle") => (6.0_f64.sqrt(), true),
                    Some("arcsine") => (2.0_f64.sqrt(), true),
                    Some("normal") => (2.0, false),
                    _ => (3.0_f64.sqrt(), true),
                };
                (size / by, bounded.then_some(width.unsigned_abs()))
            }
            (None, Some(sd)) => (sd as f64, None),
            (found, _) => {
                let found = if found.is_some() {
                    "both half_width and sd"
                } else {
                    "neither half_width nor sd"
                };
                return Err(stated.fault(
                    &key("half_width"),
                    format!("{found} in [budget.{name}]"),
                    "one of them",
                    "state half_width with a shape, or sd",
                ));
            }
        };
        let class = match stated.word(&key("class")) {
            Some("touch") => Class::Touch,
            Some("setup") => Class::Setup,
            _ => Class::Cycle,
        };
        let small = |part: &str, most: i64| {
            let number = stated.whole(&key(part));
            match number {
                Some(n) if n < 1 || n > most => Err(stated.fault(
                    &key(part),
                    n.to_string(),
                    format!("1 to {most}"),
                    "correct this number",
                )),
                number => Ok(number),
            }
        };
        let dof = small("dof", 65_535)?.map_or(Dof::Known, |n| Dof::N(n as u16));
        let group = small("group", 199)?.unwrap_or(0) as u8;
        if pm > f64::from(i32::MAX) {
            return Err(stated.fault(
                &key("sd"),
                format!("{pm:.0} pm"),
                "at most 2.1 mm",
                "check its unit",
            ));
        }
        Ok(Self {
            name: name.to_owned(),
            term: Term {
                u_pm: pm.round() as i32,
                dof,
                group,
                class,
            },
            bound_pm,
        })
    }

    fn new(name: &str, u_pm: u32, class: Class) -> Self {
        Self {
            name: name.to_owned(),
            term: Term {
                u_pm: i32::try_from(u_pm).unwrap_or(i32::MAX),
                dof: Dof::Known,
                group: 0,
                class,
            },
            bound_pm: None,
        }
    }
}

/// All that makes a mean of touches doubtful.
pub(crate) struct Doubts {
    pub(crate) entries: Vec<Entry>,
}

impl Doubts {
    /// Of touches at one place: entries of the plan, the onset with the largest doubt, what the
    /// latch adds at the fastest feed, the bound of its interpolation.
    ///
    /// # Errors
    /// One that is above what is counted: cut, it would be taken for less than it is.
    pub(super) fn of(plan: &Plan, latched: &[Latched]) -> Result<Self, Fault> {
        let mut entries = plan.entries.clone();
        let own = latched
            .iter()
            .map(|touch| touch.doubt_pm)
            .max()
            .unwrap_or(0);
        entries.push(Entry::new("onset", own, Class::Touch));
        let fastest = latched
            .iter()
            .map(|touch| touch.feed_nm_s)
            .max_by_key(|feed| feed.unsigned_abs());
        let fastest = fastest.unwrap_or(0);
        let [delay, feed] = plan.latch.shared(fastest, 200);
        for (name, term) in [("delay", delay), ("feed", feed)] {
            if term.u_pm == 0 {
                continue;
            }
            // Within a flat width: √3 deviations.
            let bounded =
                (name == "feed").then(|| (f64::from(term.u_pm) * 3.0_f64.sqrt()).ceil() as u64);
            entries.push(Entry {
                name: name.to_owned(),
                term,
                bound_pm: bounded,
            });
        }
        let bound = latched
            .iter()
            .map(|touch| u64::from(touch.bound_nm))
            .max()
            .unwrap_or(0);
        if bound > 0 {
            let pm = (bound as f64 * 1e3 / 3.0_f64.sqrt()).ceil() as u32;
            let mut entry = Entry::new("interpolation", pm, Class::Touch);
            entry.bound_pm = Some(bound * 1_000);
            entries.push(entry);
        }
        if let Some(expected) = plan.stated.whole("tool.expected_doubt") {
            if plan.kind == super::plan::Kind::Breakage && expected > 0 {
                let pm = u32::try_from(expected).unwrap_or(u32::MAX);
                entries.push(Entry::new("expected length", pm, Class::Setup));
            }
        }
        // A touch whose doubt nobody knows, or with a gap about it, proves nothing anyway.
        let told = |name: &str| match name {
            "onset" => own != u32::MAX,
            "interpolation" => !latched.iter().any(|touch| touch.flags.contains(Flags::GAP)),
            _ => true,
        };
        let cut = |entry: &&Entry| entry.term.u_pm == i32::MAX && told(&entry.name);
        if let Some(entry) = entries.iter().find(cut) {
            return Err(plan.stated.fault(
                "latch",
                format!("a doubt of {} of 2.1 mm or more", entry.name),
                "less than 2.1 mm",
                "check units: delay_doubt, doubt_ns and feeds",
            ));
        }
        Ok(Self { entries })
    }

    pub(super) fn add(&mut self, name: &str, term: Term) {
        if term.u_pm != 0 {
            self.entries.push(Entry {
                name: name.to_owned(),
                term,
                bound_pm: None,
            });
        }
    }

    fn terms(&self) -> [Term; MOST] {
        let nothing = Term {
            u_pm: 0,
            dof: Dof::Known,
            group: 0,
            class: Class::Setup,
        };
        let mut terms = [nothing; MOST];
        for (slot, entry) in terms.iter_mut().zip(&self.entries) {
            *slot = entry.term;
        }
        terms
    }

    /// The whole, for a mean of so many touches.
    pub(super) fn combined(&self, touches: usize) -> Option<Combined> {
        combine(&self.terms(), u16::try_from(touches).unwrap_or(u16::MAX))
    }

    /// What one touch has for itself, pm.
    pub(super) fn touch_pm(&self) -> u32 {
        self.root(|entry| entry.term.class == Class::Touch)
    }

    /// Root of the sum of squares of some entries, pm; groups as in the whole.
    pub(super) fn root(&self, wanted: impl Fn(&Entry) -> bool) -> u32 {
        let kept = self.entries.iter().filter(|entry| wanted(entry)).cloned();
        let some = Self {
            entries: kept.collect(),
        };
        if some.entries.is_empty() {
            return 0;
        }
        some.combined(1).map_or(u32::MAX, |combined| combined.u_pm)
    }

    /// A doubt that is known too badly for the guard to hold what it is taken for, and the degrees of
    /// freedom it rests on: few, and more than 0.3 of all the rest. Effective degrees of freedom are
    /// right for 95 %, and not for 1 in 10^9.
    pub(super) fn badly_known(&self) -> Option<(&str, u16)> {
        let square = |entry: &Entry| f64::from(entry.term.u_pm).powi(2);
        let all: f64 = self.entries.iter().map(square).sum();
        self.entries.iter().find_map(|entry| {
            let Dof::N(dof) = entry.term.dof else {
                return None;
            };
            let own: f64 = self.together(entry).into_iter().map(square).sum();
            let rest = (all - own).max(0.0).sqrt();
            (dof < SURE_DOF && own.sqrt() > 0.3 * rest).then_some((entry.name.as_str(), dof))
        })
    }

    /// The contribution with the fewest degrees of freedom.
    pub(super) fn worst_known(&self) -> Option<&str> {
        let finite = self
            .entries
            .iter()
            .filter_map(|entry| match entry.term.dof {
                Dof::Known => None,
                Dof::N(dof) => Some((dof, entry.name.as_str())),
            });
        finite.min().map(|(_, name)| name)
    }

    /// An entry with all that move with it.
    fn together<'a>(&'a self, entry: &'a Entry) -> Vec<&'a Entry> {
        if entry.term.group == 0 {
            return vec![entry];
        }
        let same = |other: &&Entry| other.term.group == entry.term.group;
        self.entries.iter().filter(same).collect()
    }

    /// What each has of the whole variance.
    pub(super) fn shares(&self, touches: usize) -> Vec<Share> {
        let parts: Vec<f64> = self
            .entries
            .iter()
            .map(|entry| {
                let all = self.together(entry);
                let sum: f64 = all.iter().map(|other| f64::from(other.term.u_pm)).sum();
                let touch = all.iter().all(|other| other.term.class == Class::Touch);
                let n = if touch { touches.max(1) as f64 } else { 1.0 };
                f64::from(entry.term.u_pm) * sum / n
            })
            .collect();
        let whole: f64 = parts.iter().sum();
        let entries = self.entries.iter().zip(parts);
        entries
            .map(|(entry, part)| Share {
                source: entry.name.clone(),
                u_nm: f64::from(entry.term.u_pm) / 1e3,
                of_variance: if whole > 0.0 { part / whole } else { 0.0 },
                class: match entry.term.class {
                    Class::Touch => "touch",
                    Class::Cycle => "cycle",
                    Class::Setup => "setup",
                },
            })
            .collect()
    }
}
