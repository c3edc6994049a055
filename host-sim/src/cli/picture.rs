//! The report of a replay.

use super::table::{seconds, short_ns};
use crate::fault::Fault;
use crate::log::{Level, LogReader, Options, What};
use crate::quantity::{show_frequency_hz, show_time_ns};
use crate::replay::{Row, Settings};
use crate::report::{Chatter, Column, Origin, Report, Section, Table};
use trueonset::onset::Touched;

/// Most edges kept for a picture.
const MAX_EDGES: usize = 200_000;

/// The page for the touches `rows` of `log`. A log from stdin cannot be read again, so its page
/// has no picture of the chatter.
pub(crate) fn replay_report(
    log: &str,
    rows: &[Row],
    settings: &Settings,
    options: &Options,
) -> Result<String, Fault> {
    let mut sections = Vec::new();
    let busiest = rows
        .iter()
        .max_by_key(|row| (row.edges, std::cmp::Reverse(row.onset_ns)));
    if let (Some(row), true) = (busiest, log != "-") {
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
        lead: "Each touch with the instant of contact, found from all edges of its chatter, and its doubt.".to_owned(),
        facts: vec![
            ("Touches".to_owned(), rows.len().to_string()),
            ("With a flag".to_owned(), flagged.to_string()),
            ("Hold".to_owned(), show_time_ns(i64::try_from(settings.hold_ns).unwrap_or(i64::MAX))),
            ("Bandwidth".to_owned(), show_frequency_hz(settings.bandwidth_hz)),
        ],
        origin: Origin::Recorded,
        sections,
    }
    .html())
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
            "{} edges in {}; onset and doubt come from all of them.",
            row.edges,
            short_ns(width.unsigned_abs())
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
