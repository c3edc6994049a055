//! The report of a replay.

use std::collections::BTreeSet;

use super::again::command;
use super::table::{seconds, short_ns};
use crate::fault::Fault;
use crate::light::Recording;
use crate::log::{Level, LogReader, Options, What};
use crate::quantity::{show_frequency_hz, show_time_ns};
use crate::replay::clock::nearest_log_ns;
use crate::replay::LightEngine;
use crate::replay::{Row, Settings};
use crate::report::{Chatter, Column, Fall, Origin, Report, Section, Table};
use trueonset::onset::{Event, Touched};

/// Most edges kept for a picture.
const MAX_EDGES: usize = 200_000;
/// Most samples kept for one.
const MAX_SAMPLES: usize = 40_000;

/// The page for the touches `rows` of `log`. A log from stdin cannot be read again, so its page
/// has no picture of the chatter.
pub(crate) fn replay_report(
    log: &str,
    rows: &[Row],
    settings: &Settings,
    options: &Options,
) -> Result<String, Fault> {
    let mut sections = Vec::new();
    let samples = log != "-" && matches!(Recording::open(log, options)?, Recording::Light(_));
    if let (Some(row), true) = (rows.first(), samples) {
        let title = format!("Light of the touch at {} s", seconds(row.onset_ns));
        sections.extend(fall(log, row, settings, options, title, None)?.map(Section::Fall));
    }
    let busiest = rows
        .iter()
        .max_by_key(|row| (row.edges, std::cmp::Reverse(row.onset_ns)));
    if let (Some(row), true) = (busiest, log != "-" && !samples) {
        let title = format!("Chatter of the touch at {} s", seconds(row.onset_ns));
        sections.push(Section::Chatter(chatter(
            log, row, settings, options, title, None,
        )?));
    }
    sections.push(touches(rows, "the output of replay --csv"));
    let flagged = rows
        .iter()
        .filter(|row| !row.flags.to_string().is_empty())
        .count();
    let name = if log == "-" { "stdin" } else { log };
    Ok(Report {
        title: format!("Touches of {name}"),
        asked: vec![
            ("Log".to_owned(), name.to_owned()),
            (
                "Hold".to_owned(),
                show_time_ns(i64::try_from(settings.hold_ns).unwrap_or(i64::MAX)),
            ),
            if samples {
                (
                    "Method".to_owned(),
                    format!("{:?}", settings.method).to_lowercase(),
                )
            } else {
                (
                    "Bandwidth".to_owned(),
                    show_frequency_hz(settings.bandwidth_hz),
                )
            },
        ],
        lead: format!(
            "{} touches, {flagged} of them with a flag: each with the instant of contact, found from all {}, and its doubt.",
            rows.len(),
            if samples {
                "of the light's fall"
            } else {
                "edges of its chatter"
            }
        ),
        facts: Vec::new(),
        origin: Origin::Recorded,
        sections,
        limits: limits(rows, settings, samples),
        again: vec![command()],
    }
    .html())
}

/// What the doubts rest on, and what was flagged.
fn limits(rows: &[Row], settings: &Settings, samples: bool) -> Vec<String> {
    let mut limits = Vec::new();
    if settings.bandwidth_assumed && !samples {
        limits.push(format!(
            "The bandwidth was assumed: it stands behind the doubts until touches of nine edges or more have taught better ({}).",
            show_frequency_hz(settings.bandwidth_hz)
        ));
    }
    let words: BTreeSet<&str> = rows.iter().flat_map(|row| row.flags.words()).collect();
    for word in words {
        let count = rows
            .iter()
            .filter(|row| row.flags.words().any(|own| own == word))
            .count();
        limits.push(format!("{count} touches are flagged {word}."));
    }
    limits.push(
        "A constant place or time by which barrier and comparator are off is in no doubt: calibrate it, and the position."
            .to_owned(),
    );
    limits
}

/// The chatter of the touch `row`, its edges read from the log again. Damage of the log ends the
/// picture; the replay has told it.
pub(crate) fn chatter(
    log: &str,
    row: &Row,
    settings: &Settings,
    options: &Options,
    title: String,
    truth_ns: Option<i64>,
) -> Result<Chatter, Fault> {
    let width = row.last_edge_ns.saturating_sub(row.first_edge_ns);
    let margin = (width / 4).max(20_000);
    let window = row.first_edge_ns.saturating_sub(margin)..=row.last_edge_ns.saturating_add(margin);
    let mut reader = LogReader::open(log, options)?;
    let (mut batch, mut edges) = (Vec::new(), Vec::new());
    let mut line = None;
    while edges.len() < MAX_EDGES && matches!(reader.next_batch(&mut batch), Ok(true)) {
        line = line.or_else(|| reader.lines().iter().position(|info| info.name == row.line));
        for record in batch
            .iter()
            .filter(|record| Some(record.line as usize) == line)
        {
            if let (What::Edge(level), true) = (record.what, window.contains(&record.time_ns)) {
                edges.push((record.time_ns, level == Level::High));
            }
        }
    }
    edges.truncate(MAX_EDGES);
    edges.sort_by_key(|edge| edge.0);
    Ok(Chatter {
        title,
        caption: format!(
            "{}; onset and doubt come from all of them.",
            match row.edges {
                1 => "One edge".to_owned(),
                edges => format!("{edges} edges in {}", short_ns(width.unsigned_abs())),
            }
        ),
        line: row.line.clone(),
        edges,
        touched_high: settings.wants(&row.line).unwrap_or(settings.touched) == Touched::High,
        first_edge_ns: row.first_edge_ns,
        last_edge_ns: row.last_edge_ns,
        onset_ns: row.onset_ns,
        doubt_ns: row.doubt_ns,
        confirmed_ns: row.confirmed_ns,
        truth_ns,
    })
}

/// The fall of the light in the touch `row`, its samples read from the recording again. Damage of
/// the recording ends the picture; the replay has told it. None when the touch is not met again.
pub(crate) fn fall(
    log: &str,
    row: &Row,
    settings: &Settings,
    options: &Options,
    title: String,
    truth_ns: Option<i64>,
) -> Result<Option<Fall>, Fault> {
    let width = row.confirmed_ns.saturating_sub(row.onset_ns).max(1);
    let window = row.onset_ns.saturating_sub(width)..=row.confirmed_ns.saturating_add(width / 8);
    let mut reader = match Recording::open(log, options)? {
        Recording::Light(reader) => reader,
        Recording::Edges(_) => return Ok(None),
    };
    let mut engine = LightEngine::new(settings.clone());
    let (mut batch, mut happened, mut samples) = (Vec::new(), Vec::new(), Vec::new());
    let (mut line, mut met) = (None, None);
    let mut latest_ns = i64::MIN;
    // One in so many is kept, so that a slow touch fills no memory.
    let mut every = 1_u64;
    while latest_ns <= *window.end() && matches!(reader.next_batch(&mut batch), Ok(true)) {
        line = line.or_else(|| reader.lines().iter().position(|info| info.name == row.line));
        for record in batch
            .iter()
            .filter(|record| Some(record.line as usize) == line)
        {
            latest_ns = record.time_ns;
            if window.contains(&latest_ns) && record.index % every == 0 {
                samples.push((record.index, latest_ns, f64::from(record.counts)));
            }
        }
        if samples.len() > MAX_SAMPLES {
            every *= 2;
            samples.retain(|sample: &(u64, i64, f64)| sample.0 % every == 0);
        }
        engine.take(&batch, reader.lines(), &mut happened)?;
        for happening in happened.drain(..) {
            if let Event::Touch(touch) = happening.event {
                let same = nearest_log_ns(touch.onset) == row.onset_ns;
                if same && Some(happening.line as usize) == line {
                    met = engine.levels(&row.line).map(|levels| (touch, levels));
                }
            }
        }
    }
    let counts = |level: u32| f64::from(level) / 256.0;
    let pair = |(low, high): (u32, u32)| (counts(low), counts(high));
    Ok(met.map(|(touch, levels)| Fall {
        title,
        caption: format!(
            "Crossings of the trip point: {}; confirmed {} after the onset.",
            row.edges,
            short_ns(width.unsigned_abs())
        ),
        line: row.line.clone(),
        samples: samples.iter().map(|&(_, at, light)| (at, light)).collect(),
        rest: counts(levels.rest),
        trip: counts(levels.trip),
        narrow: pair(levels.narrow),
        wide: pair(levels.wide),
        guard: pair(levels.guard),
        onset_ns: row.onset_ns,
        doubt_ns: row.doubt_ns,
        early_ns: nearest_log_ns(touch.causal),
        confirmed_ns: row.confirmed_ns,
        truth_ns,
    }))
}

/// The table of touches.
pub(crate) fn touches(rows: &[Row], rest_in: &str) -> Section {
    let words = ["line", "flags"];
    let names = [
        "line",
        "onset s",
        "doubt ns",
        "edges",
        "chatter",
        "confirmed s",
        "release s",
        "release doubt ns",
        "flags",
    ];
    let column = |name: &str| Column {
        name: name.to_owned(),
        number: !words.contains(&name),
    };
    let or_none = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
    let cells = |row: &Row| {
        vec![
            row.line.clone(),
            seconds(row.onset_ns),
            or_none(row.doubt_ns.map(|ns| ns.to_string())),
            row.edges.to_string(),
            short_ns(row.last_edge_ns.abs_diff(row.first_edge_ns)),
            seconds(row.confirmed_ns),
            or_none(row.release_ns.map(seconds)),
            or_none(row.release_doubt_ns.map(|ns| ns.to_string())),
            row.flags.to_string().replace('|', " "),
        ]
    };
    Section::Table(Table {
        title: "Touches".to_owned(),
        caption: "Times on the log's own zero; a doubt is one standard uncertainty.".to_owned(),
        columns: names.map(column).to_vec(),
        rows: rows.iter().map(cells).collect(),
        rest_in: rest_in.to_owned(),
    })
}
