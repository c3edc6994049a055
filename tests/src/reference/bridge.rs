//! Feeds core and the reference with the same, and compares what they say.

use trueonset::edge::{Edge, Level as CoreLevel};
use trueonset::flags::Flags;
use trueonset::onset::{self, Config, DoubtKind};
use trueonset::time::Instant;

use super::line::Counts;
use super::logs::Log;
use super::{Contact, Event, Input, Level, Words};

/// A 64-bit instant of core.
///
/// # Panics
/// If `at` is outside 0 to 2^64 - 1.
#[must_use]
pub fn instant(at: i128) -> Instant {
    Instant::from_ticks(u64::try_from(at).expect("a time of 64 bits"))
}

/// Core's ticks.
#[must_use]
pub fn ticks(at: Instant) -> i128 {
    i128::from(at.ticks())
}

/// Core's level.
#[must_use]
pub fn level(level: Level) -> CoreLevel {
    match level {
        Level::Low => CoreLevel::Low,
        Level::High => CoreLevel::High,
        Level::Unknown => CoreLevel::Unknown,
    }
}

/// Core's edge.
///
/// # Panics
/// If the remark is no word of core.
#[must_use]
pub fn edge(input: &Input) -> Edge {
    let edge = Edge::new(instant(input.at), level(input.level));
    match input.remark {
        Some(word) => edge.with_faults(Flags::from_word(word).expect("a known word")),
        None => edge,
    }
}

/// What core says about a log, polled at its end.
#[must_use]
pub fn replay(config: &Config, line: &mut onset::Line, log: &Log) -> Vec<onset::Event> {
    let mut events: Vec<_> = log
        .inputs
        .iter()
        .filter_map(|input| line.edge(config, edge(input)))
        .collect();
    events.extend(line.poll(config, instant(log.end)));
    events
}

/// What the reference says about a log.
#[must_use]
pub fn judge(line: &mut super::line::Line, log: &Log) -> Vec<Event> {
    let mut events: Vec<_> = log
        .inputs
        .iter()
        .filter_map(|input| line.edge(*input))
        .collect();
    events.extend(line.pass(log.end));
    events
}

/// How strictly two events are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strictness {
    /// All but the doubt: edges, estimates, the flags that faults and `shallow` raise.
    Edges,
    /// The doubt, its kind and all flags as well.
    All,
}

/// The first difference between core's event and the reference's, in words.
///
/// `lag_256` is what the configuration adds to a stamp for truncation, in 1/256 tick.
///
/// # Errors
/// Names what differs and both values.
pub fn compare(
    core: &onset::Event,
    reference: &Event,
    lag_256: i128,
    how: Strictness,
) -> Result<(), String> {
    match (core, reference) {
        (onset::Event::Touch(core), Event::Contact(other)) if !other.release => {
            contact(core, other, lag_256, how)
        }
        (onset::Event::Release(core), Event::Contact(other)) if other.release => {
            contact(core, other, lag_256, how)
        }
        (onset::Event::Glitch(core), Event::Glitch(other)) => {
            same("first edge", &ticks(core.first_edge), &other.first)?;
            same("last edge", &ticks(core.last_edge), &other.last)?;
            same("width", &(i128::from(core.width.ticks())), &other.width)?;
            same("edges", &(core.edges as usize), &other.edges)?;
            same("flags", &words(core.flags), &other.flags)
        }
        _ => Err(format!("core says {core:?}, the reference {reference:?}")),
    }
}

fn contact(
    core: &onset::Contact,
    other: &Contact,
    lag_256: i128,
    how: Strictness,
) -> Result<(), String> {
    same("first edge", &ticks(core.first_edge), &other.first)?;
    same("last edge", &ticks(core.last_edge), &other.last)?;
    same("confirmed", &ticks(core.confirmed), &other.confirmed)?;
    same("edges", &(core.edges as usize), &other.edges)?;
    let fine =
        |at: trueonset::time::FineInstant| ticks(at.whole()) * 256 + i128::from(at.part_256());
    same(
        "balance",
        &fine(core.balance),
        &(other.balance * 256 + lag_256),
    )?;
    same(
        "causal",
        &fine(core.causal),
        &(other.causal * 256 + lag_256),
    )?;
    if how == Strictness::Edges {
        let by_edges = |words: Words| -> Words {
            const STATED: [&str; 6] = [
                "upper",
                "short_hold",
                "rough",
                "hybrid",
                "flutter",
                "vibration",
            ];
            words
                .into_iter()
                .filter(|word| !STATED.contains(word))
                .collect()
        };
        return same(
            "flags",
            &by_edges(words(core.flags)),
            &by_edges(other.flags.clone()),
        );
    }
    same("flags", &words(core.flags), &other.flags)?;
    same("onset", &fine(core.onset), &(other.onset * 256 + lag_256))?;
    same("kind", &kind(core.kind), &other.kind)?;
    match (core.doubt, other.doubt) {
        (None, None) => Ok(()),
        (Some(core), Some(parts)) => {
            let (stated, exact) = (f64::from(core.sixteenths()) / 16.0, parts.doubt());
            // Core reads m^(-2/7) from a table, linear between powers of two: up to 2.5 % high.
            let table = (exact * exact + 0.025 * parts.ends).sqrt() - exact;
            let allowed = 0.004 * exact + 1.0 / 16.0;
            if stated - exact <= allowed + table && exact - stated <= allowed {
                Ok(())
            } else {
                Err(format!(
                    "doubt: core {stated}, reference {exact} out of {parts:?}"
                ))
            }
        }
        (core, other) => Err(format!("doubt: core {core:?}, reference {other:?}")),
    }
}

/// Compares the tallies.
///
/// # Errors
/// Names both.
pub fn compare_counts(core: onset::Tally, other: Counts) -> Result<(), String> {
    let counts = Counts {
        touches: core.touches as usize,
        releases: core.releases as usize,
        glitches: core.glitches as usize,
        initial: core.initial as usize,
        refused: core.refused as usize,
        pending: core.pending as usize,
    };
    same("tally", &counts, &other)
}

fn same<T: PartialEq + std::fmt::Debug>(what: &str, core: &T, other: &T) -> Result<(), String> {
    if core == other {
        Ok(())
    } else {
        Err(format!("{what}: core {core:?}, reference {other:?}"))
    }
}

fn words(flags: Flags) -> Words {
    flags.words().collect()
}

/// The word of a kind of doubt.
#[must_use]
pub fn kind(kind: DoubtKind) -> &'static str {
    match kind {
        DoubtKind::Assumed => "assumed",
        DoubtKind::Limit => "limit",
        DoubtKind::Pooled => "pooled",
        DoubtKind::Measured => "measured",
        DoubtKind::Rough => "rough",
        _ => "new to the reference",
    }
}
