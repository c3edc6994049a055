//! What a judgement comes to, with the keys that other programs read.

use serde::Serialize;
use trueonset::budget::{Combined, Dof};

use super::plan::Kind;

/// A contribution's share of the variance.
#[derive(Debug, Clone, Serialize)]
pub struct Share {
    /// Its name.
    pub source: String,
    /// Its standard uncertainty, nm.
    pub u_nm: f64,
    /// Its share; all add up to 1.
    #[serde(rename = "share")]
    pub of_variance: f64,
    /// When it is drawn anew.
    pub class: &'static str,
}

/// What speaks for a verdict.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Evidence {
    /// Touches that were released where they were made.
    pub released: Option<u32>,
    /// Touches that were held.
    pub held: Option<u32>,
    /// Touches without a gap of READY.
    pub ready: Option<u32>,
    /// Different spots.
    pub spots: Option<u32>,
}

/// A trend.
#[derive(Debug, Clone, Serialize)]
pub struct TrendFound {
    /// Wear a cycle, nm; above 0 where the tool becomes shorter.
    pub rate_nm_per_cycle: f64,
    /// The same by the median of all slopes, which chips hardly move, nm.
    pub median_rate_nm_per_cycle: Option<f64>,
    /// Cycles left on average.
    pub cycles_left: Option<f64>,
    /// At least, 95 % with the other.
    pub cycles_left_low: Option<f64>,
    /// At most.
    pub cycles_left_high: Option<f64>,
}

/// Bounds of a standard deviation.
#[derive(Debug, Clone, Serialize)]
pub struct Interval {
    /// Two-sided 95 %, lower end, nm.
    pub low_nm: f64,
    /// Upper end, nm.
    pub high_nm: f64,
}

/// What one of several cycles came to.
#[derive(Debug, Clone, Serialize)]
pub struct CycleFound {
    /// Its number.
    pub cycle: u32,
    /// As of the whole.
    pub verdict: Option<&'static str>,
    /// Whether a limit holds.
    pub holds: Option<bool>,
    /// Why not.
    pub reason: Option<&'static str>,
    /// What was measured, nm.
    pub value_nm: Option<f64>,
    /// Its standard uncertainty, nm.
    pub u_nm: Option<f64>,
    /// Coverage factor for 95 %.
    pub k: Option<f64>,
    /// Effective degrees of freedom; none where all is known.
    pub dof: Option<u32>,
    /// Expanded uncertainty, nm.
    pub expanded_nm: Option<f64>,
    /// Touches used.
    pub touches: u32,
    /// Touches dropped.
    pub dropped: u32,
}

/// The result.
#[derive(Debug, Clone, Serialize)]
pub struct Outcome {
    /// What was judged.
    pub kind: &'static str,
    /// `whole`, `broken`, `unproven`, or none where nothing is broken or whole.
    pub verdict: Option<&'static str>,
    /// Whether a limit holds.
    pub holds: Option<bool>,
    /// Why not.
    pub reason: Option<&'static str>,
    /// What was measured, nm.
    pub value_nm: Option<f64>,
    /// Its standard uncertainty, nm.
    pub u_nm: Option<f64>,
    /// Coverage factor for 95 %.
    pub k: Option<f64>,
    /// Effective degrees of freedom; none where all is known.
    pub dof: Option<u32>,
    /// Expanded uncertainty, nm.
    pub expanded_nm: Option<f64>,
    /// Touches used.
    pub touches: u32,
    /// Touches dropped.
    pub dropped: u32,
    /// What speaks for it.
    pub evidence: Evidence,
    /// Bound of the chance that a broken tool is called whole; of assumed rates, not of data.
    pub false_whole_bound: Option<f64>,
    /// Contributions.
    pub budget: Vec<Share>,
    /// Of wear.
    pub trend: Option<TrendFound>,
    /// Of a repeatability.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interval: Option<Interval>,
    /// Each cycle for itself, where there are several and each is an answer; the last is the one
    /// that the rest tells.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cycles: Vec<CycleFound>,
    /// What else is to be said.
    pub notes: Vec<String>,
    /// The cycle that this is of; none where it is of all together.
    #[serde(skip)]
    pub cycle: Option<u32>,
    /// What each touch measured, for pictures.
    #[serde(skip)]
    pub made: Vec<Made>,
    /// Between which sizes a tool is whole, and below which it is broken, nm.
    #[serde(skip)]
    pub window: Option<(f64, f64, f64)>,
}

/// What a touch measured.
#[derive(Debug, Clone)]
pub struct Made {
    /// Its cycle, and its number in it.
    pub touch: (u32, usize),
    /// The size, or the position where sizes are not counted, nm.
    pub size_nm: f64,
    /// Its own doubt, nm.
    pub doubt_nm: Option<f64>,
}

impl Outcome {
    pub(super) fn new(kind: Kind) -> Self {
        Self {
            kind: kind.name(),
            verdict: None,
            holds: None,
            reason: None,
            value_nm: None,
            u_nm: None,
            k: None,
            dof: None,
            expanded_nm: None,
            touches: 0,
            dropped: 0,
            evidence: Evidence::default(),
            false_whole_bound: None,
            budget: Vec::new(),
            trend: None,
            interval: None,
            cycles: Vec::new(),
            notes: Vec::new(),
            cycle: None,
            made: Vec::new(),
            window: None,
        }
    }

    pub(super) fn unproven(kind: Kind, reason: &'static str) -> Self {
        Self {
            verdict: Some("unproven"),
            reason: Some(reason),
            ..Self::new(kind)
        }
    }

    pub(super) fn of_cycle(&self, cycle: u32) -> CycleFound {
        CycleFound {
            cycle,
            verdict: self.verdict,
            holds: self.holds,
            reason: self.reason,
            value_nm: self.value_nm,
            u_nm: self.u_nm,
            k: self.k,
            dof: self.dof,
            expanded_nm: self.expanded_nm,
            touches: self.touches,
            dropped: self.dropped,
        }
    }

    /// Each cycle that is an answer, in their order; the only row where there is one, or one answer of all.
    #[must_use]
    pub fn rows(&self) -> Vec<(Option<u32>, CycleFound)> {
        if self.cycles.is_empty() {
            return vec![(self.cycle, self.of_cycle(self.cycle.unwrap_or(0)))];
        }
        let each = self.cycles.iter();
        each.map(|one| (Some(one.cycle), one.clone())).collect()
    }

    pub(super) fn note(&mut self, text: impl Into<String>) {
        self.notes.push(text.into());
    }

    pub(super) fn sure(&mut self, combined: &Combined) {
        self.u_nm = Some(f64::from(combined.u_pm) / 1e3);
        self.k = Some(f64::from(combined.k_milli) / 1e3);
        self.dof = match combined.dof {
            Dof::Known => None,
            Dof::N(n) => Some(u32::from(n)),
        };
        self.expanded_nm = Some(combined.expanded_pm() as f64 / 1e3);
    }

    /// The answer in a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let reason = self
            .reason
            .map_or(String::new(), |reason| format!(" ({reason})"));
        let mut text = match (self.verdict, self.holds) {
            (Some(verdict), _) => format!("{}: {verdict}{reason}", self.kind),
            (None, Some(true)) => format!("{}: the limit holds", self.kind),
            (None, Some(false)) => format!("{}: the limit does not hold{reason}", self.kind),
            (None, None) => self.kind.to_owned(),
        };
        if let Some(value) = self.value_nm {
            text += &format!(", {:.4} mm", value / 1e6);
            if let Some(expanded) = self.expanded_nm {
                text += &format!(" \u{b1} {:.2} \u{b5}m (95 %)", expanded / 1e3);
            }
        }
        text
    }
}
