//! What logs show at several holds: what each would miss or tell falsely, noise, chatter and glitches.

use trueonset::barrier::Method;
use trueonset::flags::Flags;
use trueonset::onset::{Chatter, Event};

use super::truth::True;
use crate::fault::Fault;
use crate::log::{Describe, Dwells, Level, LogReader, Options, What};
use crate::replay::{check_names, Engine, Happening, Lines, Order, Row, Settings};

/// Holds that every log is tried with, ns.
pub(super) const LADDER_NS: [u64; 9] = [
    20_000, 50_000, 100_000, 200_000, 500_000, 1_000_000, 2_000_000, 5_000_000, 10_000_000,
];
/// Edges from which on chatter tells of the noise.
const TELLING: u32 = 9;

/// What logs come to at one hold.
#[derive(Debug, Clone, Default)]
pub struct Rung {
    /// The hold, ns.
    pub hold_ns: u64,
    /// How light is weighed; none for edges.
    pub method: Option<Method>,
    /// Touches told.
    pub touches: u64,
    /// Touches of the reference that are not among them.
    pub missed: u64,
    /// Touches told that the reference does not have.
    pub spurious: u64,
    /// Touches whose chatter is long for this hold.
    pub short: u64,
    /// Pulses taken for glitches.
    pub glitches: u64,
    /// The longest time away of one of these, ns.
    pub longest_glitch_ns: u64,
    /// From onset to confirmation on average, ns.
    pub told_ns: f64,
    /// Root mean square of the stated doubts, ns.
    pub doubt_ns: f64,
}

impl Rung {
    /// Whether the reference and this hold agree.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.missed == 0 && self.spurious == 0 && self.touches > 0
    }
}

/// One log at one hold.
#[derive(Debug, Clone, Default)]
pub(super) struct Heard {
    /// Its touches in order.
    pub(super) rows: Vec<Row>,
    glitches: u64,
    longest_glitch_ns: u64,
    learned: Chatter,
}

/// One log at every hold of a list.
#[derive(Debug, Clone, Default)]
pub(super) struct Tried {
    /// The same log, a hold each.
    pub(super) heard: Vec<Heard>,
    /// Dwells at the level of rest, and in contact.
    pub(super) dwells: (Dwells, Dwells),
    /// From its first time to its last, ns.
    pub(super) duration_ns: u64,
    /// The line that was followed.
    pub(super) line: Option<String>,
}

/// Reads a log once and tries every hold on it.
///
/// # Errors
/// The log cannot be read, is damaged, or touches stand on more than one line.
pub(super) fn attempt(
    log: &str,
    settings: &Settings,
    options: &Options,
    holds_ns: &[u64],
) -> Result<Tried, Fault> {
    let mut reader = LogReader::open(log, options)?;
    let engines = holds_ns.iter().map(|hold_ns| {
        Engine::new(Settings {
            hold_ns: *hold_ns,
            ..settings.clone()
        })
    });
    let mut engines = engines.collect::<Result<Vec<_>, _>>()?;
    let mut orders: Vec<Order> = holds_ns.iter().map(|_| Order::default()).collect();
    let mut tried = Tried {
        heard: vec![Heard::default(); holds_ns.len()],
        ..Tried::default()
    };
    let mut describe = Describe::new();
    let mut happened = Vec::new();
    let damage = reader.each_batch(|batch, reader| {
        for record in batch {
            describe.add(record);
        }
        for ((engine, order), heard) in engines.iter_mut().zip(&mut orders).zip(&mut tried.heard) {
            engine.take(batch, reader.lines(), &mut happened)?;
            heard.take(engine, order, &mut happened);
        }
        Ok(())
    })?;
    if let Some(damage) = damage {
        return Err(damage);
    }
    check_names(settings, &reader)?;
    for ((mut engine, mut order), heard) in engines.into_iter().zip(orders).zip(&mut tried.heard) {
        engine.finish(&mut happened);
        heard.take(&engine, &mut order, &mut happened);
        heard.rows.extend(order.rest());
        heard.learned = engine.learned();
    }
    let description = describe.finish(reader.lines());
    tried.duration_ns = description.duration_ns;
    let first = tried.heard.iter().flat_map(|heard| &heard.rows).next();
    tried.line = first.map(|row| row.line.clone());
    let facts = description.lines.into_iter();
    for facts in facts.filter(|facts| Some(&facts.name) == tried.line.as_ref()) {
        let (low, high) = (facts.low_dwells, facts.high_dwells);
        let high_is_contact = settings.wants(&facts.name) == Some(trueonset::onset::Touched::High);
        tried.dwells = if high_is_contact {
            (low, high)
        } else {
            (high, low)
        };
    }
    Ok(tried)
}

impl Heard {
    pub(super) fn take(
        &mut self,
        engine: &dyn Lines,
        order: &mut Order,
        happened: &mut Vec<Happening>,
    ) {
        for happening in happened.drain(..) {
            if let Event::Glitch(glitch) = happening.event {
                self.glitches += 1;
                // A tick of the replay is a nanosecond.
                self.longest_glitch_ns = self
                    .longest_glitch_ns
                    .max(glitch.width.ticks().unsigned_abs());
            }
            order.take(engine, &happening);
        }
        while let Some(row) = order.next_ready(engine) {
            self.rows.push(row);
        }
    }

    /// What one edge of chatter stands for, ns; none where no touch was slow enough to tell.
    #[must_use]
    pub(super) fn edge_ns(&self) -> Option<f64> {
        let variance_256 = self.learned.edge_variance_256()?;
        Some((variance_256 as f64 / 256.0).sqrt())
    }

    /// Adds what this log comes to against its reference: windows in which a touch is due, in order.
    pub(super) fn count(&self, due: &[(i64, i64)], rung: &mut Rung) {
        let mut rest = self.rows.as_slice();
        let mut before = i64::MIN;
        let mut claimed = 0;
        for &(onset_ns, release_ns) in due {
            // From half way to the touch before, up to the release.
            let from = if before == i64::MIN {
                i64::MIN
            } else {
                before.saturating_add(onset_ns.saturating_sub(before) / 2)
            };
            let first = rest.partition_point(|row| row.onset_ns < from);
            let past = rest
                .partition_point(|row| row.onset_ns < release_ns)
                .max(first);
            claimed += u64::from(past > first);
            rung.missed += u64::from(past == first);
            rest = rest.get(past..).unwrap_or(&[]);
            before = release_ns;
        }
        let touches = self.rows.len() as u64;
        let told: f64 = self
            .rows
            .iter()
            .map(|row| (row.confirmed_ns - row.onset_ns) as f64)
            .sum();
        let square: f64 = self
            .rows
            .iter()
            .filter_map(|row| row.doubt_ns)
            .map(|ns| (ns as f64).powi(2))
            .sum();
        let (before, all) = (rung.touches as f64, (rung.touches + touches).max(1) as f64);
        rung.told_ns = (rung.told_ns * before + told) / all;
        rung.doubt_ns = ((rung.doubt_ns.powi(2) * before + square) / all).sqrt();
        rung.touches += touches;
        rung.spurious += touches.saturating_sub(claimed);
        rung.short += self.flagged(Flags::SHORT_HOLD);
        rung.glitches += self.glitches;
        rung.longest_glitch_ns = rung.longest_glitch_ns.max(self.longest_glitch_ns);
    }

    fn flagged(&self, flag: Flags) -> u64 {
        let own = self
            .rows
            .iter()
            .filter(|row| !row.flags.only(flag).is_empty());
        own.count() as u64
    }

    /// When its touches are due, to compare others with.
    #[must_use]
    pub(super) fn due(&self) -> Vec<(i64, i64)> {
        self.rows
            .iter()
            .map(|row| (row.onset_ns, row.release_ns.unwrap_or(i64::MAX)))
            .collect()
    }

    /// The shortest contact and the shortest pause between two, ns.
    #[must_use]
    pub(super) fn shortest_ns(&self) -> Option<u64> {
        let contacts = self
            .rows
            .iter()
            .filter_map(|row| Some(row.release_ns?.abs_diff(row.onset_ns)));
        let pauses = self
            .rows
            .windows(2)
            .filter_map(|pair| Some(pair[1].onset_ns.abs_diff(pair[0].release_ns?)));
        contacts.chain(pauses).min()
    }

    /// The mean time from one edge of chatter to the next, ns, the longest of all touches that tell.
    #[must_use]
    pub(super) fn mean_dwell_ns(&self) -> Option<f64> {
        let telling = self.rows.iter().filter(|row| row.edges >= TELLING);
        let dwell =
            |row: &Row| (row.last_edge_ns - row.first_edge_ns) as f64 / f64::from(row.edges - 1);
        telling.map(dwell).max_by(f64::total_cmp)
    }
}

/// The true touches as windows.
#[must_use]
pub(super) fn due(truth: &[True]) -> Vec<(i64, i64)> {
    truth
        .iter()
        .map(|touch| (touch.onset_ns, touch.release_ns))
        .collect()
}

/// The scatter of the edges of each telling touch about its onset, ns, beside the touch's number in `rows`.
///
/// # Errors
/// The log cannot be read.
pub(super) fn scatter(
    log: &str,
    options: &Options,
    rows: &[Row],
) -> Result<Vec<(usize, f64)>, Fault> {
    let mut reader = LogReader::open(log, options)?;
    let mut sums = vec![(0_u32, 0.0_f64); rows.len()];
    let mut at = 0;
    // Damage was met in the first reading.
    let _damage = reader.each_batch(|batch, reader| {
        for record in batch {
            let What::Edge(Level::High | Level::Low) = record.what else {
                continue;
            };
            while rows
                .get(at)
                .is_some_and(|row| row.last_edge_ns < record.time_ns)
            {
                at += 1;
            }
            let Some(row) = rows.get(at) else { break };
            let own = reader
                .lines()
                .get(record.line as usize)
                .is_some_and(|line| line.name == row.line);
            if own && record.time_ns >= row.first_edge_ns {
                let off = (record.time_ns - row.onset_ns) as f64;
                sums[at].0 += 1;
                sums[at].1 += off * off;
            }
        }
        Ok(())
    })?;
    let telling = sums
        .into_iter()
        .enumerate()
        .filter(|(_, (edges, _))| *edges >= TELLING);
    Ok(telling
        .map(|(k, (edges, sum))| (k, (sum / f64::from(edges)).sqrt()))
        .collect())
}
