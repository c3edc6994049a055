//! Out of what logs show: the hold, the bandwidth and the method to use, and what they cost on those logs.

use trueonset::barrier::Method;

use super::light;
use super::survey::{attempt, due, scatter, Heard, Rung, Tried, LADDER_NS};
use super::truth::True;
use crate::fault::{Fault, Place};
use crate::light::Recording;
use crate::log::{Dwells, Options};
use crate::quantity::show_time_ns;
use crate::replay::{Row, Settings};

/// Noise that one edge of chatter stands for, times the bandwidth, as the core has it.
const EDGE_TIMES_BANDWIDTH: f64 = 0.32;

/// What is asked.
pub struct Question<'a> {
    /// The logs.
    pub logs: &'a [String],
    /// Their truths, one each, or none at all.
    pub truths: &'a [Vec<True>],
    /// How the logs are read.
    pub options: &'a Options,
    /// What was settled before.
    pub settings: &'a Settings,
}

/// What is advised for logs, and why.
#[derive(Debug, Clone, Default)]
pub struct Advised {
    /// Each hold (and method) tried, in order.
    pub rungs: Vec<Rung>,
    /// What missed and false touches are counted against.
    pub against: String,
    /// The hold, ns.
    pub hold_ns: u64,
    /// The shortest and the longest that fit, ns.
    pub fits_ns: (u64, u64),
    /// How light is weighed; none for edges.
    pub method: Option<Method>,
    /// Bandwidth of the comparator, Hz, and whether these logs taught it.
    pub bandwidth_hz: u32,
    /// Whether the logs taught the bandwidth.
    pub bandwidth_learned: bool,
    /// Noise that one edge of chatter stands for, ns.
    pub edge_ns: Option<f64>,
    /// Noise as the scatter of edges about the onset, ns: the least and the greatest of the touches.
    pub noise_ns: Option<(f64, f64)>,
    /// The same as a length, nm, where feeds are known: the median.
    pub noise_nm: Option<f64>,
    /// Edges of a touch at the median and at most.
    pub edges: (u32, u32),
    /// The longest chatter, ns.
    pub chatter_ns: u64,
    /// Length of all logs, ns.
    pub duration_ns: u64,
    /// Dwells at rest and in contact.
    pub dwells: (Dwells, Dwells),
    /// The touches of each log at the hold advised.
    pub rows: Vec<Vec<Row>>,
    /// What a recording of light is like.
    pub light: Option<light::Facts>,
}

impl Advised {
    /// What comes of the logs with the settings advised.
    #[must_use]
    pub fn own(&self) -> Option<&Rung> {
        self.rungs
            .iter()
            .find(|rung| rung.hold_ns == self.hold_ns && rung.method == self.method)
    }
}

/// Tries holds on the logs and says which to use.
///
/// # Errors
/// A log cannot be read, is damaged, has touches on several lines, or none at all.
pub fn advise(asked: &Question<'_>) -> Result<Advised, Fault> {
    let first = asked.logs.first().map_or("", String::as_str);
    if matches!(Recording::open(first, asked.options)?, Recording::Light(_)) {
        return light::advise(asked);
    }
    let mut holds_ns = LADDER_NS.to_vec();
    holds_ns.push(asked.settings.hold_ns);
    holds_ns.sort_unstable();
    holds_ns.dedup();
    let mut tried = tries(asked, &holds_ns)?;
    let (reference, against) = reference(asked, &tried, &holds_ns)?;
    let mut rungs = count(&tried, &holds_ns, &reference);
    let (least, most) = fitting(&rungs, &tried);
    let hold_ns = asked.settings.hold_ns.clamp(least, most);
    if !holds_ns.contains(&hold_ns) {
        tried = tries(asked, &[hold_ns])?;
        rungs.extend(count(&tried, &[hold_ns], &reference));
        rungs.sort_by_key(|rung| rung.hold_ns);
        holds_ns = vec![hold_ns];
    }
    let at = holds_ns.iter().position(|own| *own == hold_ns).unwrap_or(0);
    let mut advised = Advised {
        rungs,
        against,
        hold_ns,
        fits_ns: (least, most),
        bandwidth_hz: asked.settings.bandwidth_hz,
        ..Advised::default()
    };
    for one in &mut tried {
        advised.duration_ns += one.duration_ns;
        advised.dwells.0.join(&one.dwells.0);
        advised.dwells.1.join(&one.dwells.1);
    }
    let heard: Vec<Heard> = tried
        .into_iter()
        .map(|mut one| one.heard.swap_remove(at))
        .collect();
    advised.learn(asked, &heard)?;
    advised.rows = heard.into_iter().map(|heard| heard.rows).collect();
    Ok(advised)
}

impl Advised {
    /// Noise, chatter and bandwidth.
    fn learn(&mut self, asked: &Question<'_>, heard: &[Heard]) -> Result<(), Fault> {
        let mut edges: Vec<u32> = Vec::new();
        let (mut noise_ns, mut noise_nm, mut worth_ns) = (Vec::new(), Vec::new(), Vec::new());
        for (k, (log, heard)) in asked.logs.iter().zip(heard).enumerate() {
            edges.extend(heard.rows.iter().map(|row| row.edges));
            worth_ns.extend(heard.edge_ns());
            for (touch, sd_ns) in scatter(log, asked.options, &heard.rows)? {
                noise_ns.push(sd_ns);
                let onset_ns = heard.rows[touch].onset_ns;
                let truth = asked.truths.get(k).into_iter().flatten();
                let nearest = truth.min_by_key(|truth| truth.onset_ns.abs_diff(onset_ns));
                noise_nm.extend(nearest.map(|truth| sd_ns * f64::from(truth.feed_nm_s) * 1e-9));
            }
            let widths = heard
                .rows
                .iter()
                .map(|row| row.last_edge_ns.abs_diff(row.first_edge_ns));
            self.chatter_ns = self.chatter_ns.max(widths.max().unwrap_or(0));
        }
        edges.sort_unstable();
        self.edges = (
            edges.get(edges.len() / 2).copied().unwrap_or(0),
            edges.last().copied().unwrap_or(0),
        );
        noise_ns.sort_by(f64::total_cmp);
        self.noise_ns = noise_ns.first().copied().zip(noise_ns.last().copied());
        self.noise_nm = median(&mut noise_nm);
        self.edge_ns = median(&mut worth_ns);
        if let Some(edge_ns) = self.edge_ns {
            self.bandwidth_hz = ((EDGE_TIMES_BANDWIDTH * 1e9 / edge_ns).round() as u32).max(1);
            self.bandwidth_learned = true;
        }
        Ok(())
    }
}

fn tries(asked: &Question<'_>, holds_ns: &[u64]) -> Result<Vec<Tried>, Fault> {
    let one = |log: &String| {
        let tried = attempt(log, asked.settings, asked.options, holds_ns)?;
        let rows = tried.heard.iter().flat_map(|heard| &heard.rows);
        one_line(rows, log)?;
        Ok(tried)
    };
    asked.logs.iter().map(one).collect()
}

/// # Errors
/// Touches stand on several lines.
pub(super) fn one_line<'a>(
    mut rows: impl Iterator<Item = &'a Row>,
    log: &str,
) -> Result<(), Fault> {
    let Some(first) = rows.next() else {
        return Ok(());
    };
    match rows.find(|row| row.line != first.line) {
        Some(other) => Err(Fault::new(
            format!("touches on the lines {} and {}", first.line, other.line),
            "one line",
            "name it with --line",
        )
        .at(Place::File(log.to_owned()))),
        None => Ok(()),
    }
}

/// When touches are due in each log, and in words where that is from.
type Reference = (Vec<Vec<(i64, i64)>>, String);

fn reference(asked: &Question<'_>, tried: &[Tried], holds_ns: &[u64]) -> Result<Reference, Fault> {
    if !asked.truths.is_empty() {
        let all = asked.truths.iter().map(|truth| due(truth)).collect();
        return Ok((all, "the truth".to_owned()));
    }
    let counts =
        |k: usize| -> Vec<usize> { tried.iter().map(|one| one.heard[k].rows.len()).collect() };
    let (mut best, mut begin) = (None::<(usize, usize)>, 0);
    for k in 0..holds_ns.len() {
        if counts(k) != counts(begin) {
            begin = k;
        }
        let longer = best.is_none_or(|(from, to)| k - begin >= to - from);
        if longer && counts(k).iter().sum::<usize>() > 0 {
            best = Some((begin, k));
        }
    }
    let Some((from, to)) = best else {
        return Err(no_touch(asked));
    };
    let middle = usize::midpoint(from, to);
    let all = tried.iter().map(|one| one.heard[middle].due()).collect();
    let show = |k: usize| show_time_ns(holds_ns[k] as i64);
    Ok((
        all,
        format!("what holds from {} to {} agree on", show(from), show(to)),
    ))
}

pub(super) fn no_touch(asked: &Question<'_>) -> Fault {
    Fault::new(
        "no touch at any hold",
        "logs with touches to learn from",
        "see `trueonset describe`; try --touched low, or name the line with --line",
    )
    .at(Place::File(asked.logs.join(", ")))
}

fn count(tried: &[Tried], holds_ns: &[u64], reference: &[Vec<(i64, i64)>]) -> Vec<Rung> {
    let rung = |(k, hold_ns): (usize, &u64)| {
        let mut rung = Rung {
            hold_ns: *hold_ns,
            ..Rung::default()
        };
        for (one, due) in tried.iter().zip(reference) {
            one.heard[k].count(due, &mut rung);
        }
        rung
    };
    holds_ns.iter().enumerate().map(rung).collect()
}

/// Stated doubts may be so much greater than at the best hold.
const WORSE: f64 = 1.5;

/// The shortest and the longest hold that miss nothing, tell nothing false, cost no certainty, outlast glitches and
/// chatter and fit into every contact and pause. Where none does all of it, what misses and adds least comes first.
fn fitting(rungs: &[Rung], tried: &[Tried]) -> (u64, u64) {
    let clean = || rungs.iter().filter(|rung| rung.is_clean());
    let surest_ns = clean()
        .map(|rung| rung.doubt_ns)
        .fold(f64::INFINITY, f64::min);
    let short = clean().map(|rung| rung.short).min().unwrap_or(0);
    let fits =
        |rung: &Rung| rung.is_clean() && rung.short == short && rung.doubt_ns <= WORSE * surest_ns;
    let (mut best, mut begin) = (None::<(usize, usize)>, 0);
    for (k, rung) in rungs.iter().enumerate() {
        if !fits(rung) {
            begin = k + 1;
        } else if best.is_none_or(|(from, to)| k - begin >= to - from) {
            best = Some((begin, k));
        }
    }
    let least_wrong = || {
        let wrong = rungs
            .iter()
            .enumerate()
            .min_by_key(|(_, rung)| rung.missed + rung.spurious);
        wrong.map_or((0, 0), |(k, _)| (k, k))
    };
    let (from, to) = best.unwrap_or_else(least_wrong);
    let heard = || {
        tried
            .iter()
            .map(|one| &one.heard[usize::midpoint(from, to)])
    };
    let dwell_ns = heard().filter_map(Heard::mean_dwell_ns).fold(0.0, f64::max);
    let shortest_ns = heard()
        .filter_map(Heard::shortest_ns)
        .min()
        .unwrap_or(u64::MAX);
    // A long hold takes pulses that follow each other for one.
    let glitch_ns = rungs[from..=to]
        .iter()
        .map(|rung| rung.longest_glitch_ns)
        .min()
        .unwrap_or(0);
    let (shortest, longest) = (rungs[from].hold_ns, rungs[to].hold_ns);
    let most = longest.min(shortest_ns / 2).max(shortest);
    // Two glitches may meet; ten mean dwells hold the chatter together. In whole 10 us.
    let outlast = (2 * glitch_ns).max((10.0 * dwell_ns) as u64);
    let least = (outlast.div_ceil(10_000) * 10_000).clamp(shortest, most);
    (least, most)
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
