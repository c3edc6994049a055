//! What a sweep found, as CSV, JSON and a table for people.

use serde_json::{json, Map, Value};

use crate::cli::args::Sweep;
use crate::cli::table;
use crate::study::over_air::Carried;
use crate::study::sweep::{Grid, Row};

/// A column: its name, its decimals, what it takes from a row.
type Column = (&'static str, usize, fn(&Row) -> Option<f64>);

/// Columns behind the varied keys, as promised.
const COLUMNS: [Column; 11] = [
    ("trials", 0, |row| Some(row.trials as f64)),
    ("missed", 0, |row| Some(row.missed as f64)),
    ("false_touches", 0, |row| Some(row.false_touches as f64)),
    ("bias_nm", 3, |row| row.errors.bias_nm),
    ("sd_nm", 3, |row| row.errors.sd_nm),
    ("p999_nm", 3, |row| row.errors.p999_nm),
    ("bound_nm", 3, |row| Some(row.bound_nm)),
    ("doubt_nm", 3, |row| row.doubt_nm),
    ("inside_2u", 4, |row| row.inside_2u),
    ("confirm_mean_ns", 0, |row| row.confirm_mean_ns),
    ("confirm_p999_ns", 0, |row| row.confirm_p999_ns),
];

/// Columns behind these where touches go through the air in any cell, as promised.
const LINK: [Column; 5] = [
    ("late", 0, |row| of_link(row, |link| link.late)),
    ("twice", 0, |row| of_link(row, |link| link.twice)),
    ("outside_doubt", 0, |row| {
        of_link(row, |link| link.outside_doubt)
    }),
    ("stop_max_ns", 0, |row| {
        of_link(row, |link| link.stop_max_ns)
    }),
    ("ready_drops_per_h", 3, |row| row.link?.drops_per_h()),
];

/// Columns behind these where any cell has a battery: of packs drawn, the mean life, how much earlier than needed the
/// yes ended on average, and how often a yes was wrong.
const BATTERY: [Column; 4] = [
    ("battery_packs", 0, |row| Some(row.battery?.packs as f64)),
    ("battery_life_h", 1, |row| Some(row.battery?.life_h)),
    ("battery_spare_h", 1, |row| Some(row.battery?.spare_h)),
    ("battery_wrong_yes", 0, |row| {
        Some(row.battery?.wrong_yes as f64)
    }),
];

/// A count or time of touches that were carried; none where none was.
fn of_link(row: &Row, value: fn(&Carried) -> u64) -> Option<f64> {
    let link = row.link.filter(|link| link.touches > 0)?;
    Some(value(&link) as f64)
}

/// All columns of a grid.
fn columns(grid: &Grid) -> impl Iterator<Item = &'static Column> + Clone {
    let link: &[Column] = if grid.has_link() { &LINK } else { &[] };
    let battery: &[Column] = if grid.has_battery() { &BATTERY } else { &[] };
    COLUMNS.iter().chain(link).chain(battery)
}

fn cells<'a>(
    grid: &Grid,
    row: &'a Row,
) -> impl Iterator<Item = (&'static str, Option<String>)> + 'a {
    columns(grid).map(|(name, decimals, value)| {
        let shown = value(row).filter(|v| v.is_finite());
        (*name, shown.map(|v| format!("{v:.decimals$}")))
    })
}

/// One header line, one line a cell; empty where there is no value.
pub(super) fn csv(grid: &Grid, rows: &[Row]) -> String {
    let keys = grid.vary.iter().map(|one| one.key.as_str());
    let header: Vec<&str> = keys.chain(columns(grid).map(|column| column.0)).collect();
    let mut text = header.join(",") + "\n";
    for row in rows {
        let values = row.values.iter().map(|value| quoted(value));
        let numbers = cells(grid, row).map(|(_, cell)| cell.unwrap_or_default());
        text += &values.chain(numbers).collect::<Vec<_>>().join(",");
        text.push('\n');
    }
    text
}

/// A value has no comma, but it may have been typed with a quote.
fn quoted(value: &str) -> String {
    if value.contains(['"', '\n', '\r']) {
        format!("\"{}\"", value.replace('"', "\"\""))
    } else {
        value.to_owned()
    }
}

/// One document; null where there is no value.
pub(super) fn json(grid: &Grid, rows: &[Row], args: &Sweep) -> String {
    let number = |text: String| text.parse().map_or(Value::Null, Value::Number);
    let cells: Vec<Value> = rows
        .iter()
        .map(|row| {
            let keys = grid.vary.iter().zip(&row.values);
            let mut object: Map<String, Value> = keys
                .map(|(one, value)| (one.key.clone(), json!(value)))
                .collect();
            for (name, cell) in cells(grid, row) {
                object.insert(name.to_owned(), cell.map_or(Value::Null, number));
            }
            Value::Object(object)
        })
        .collect();
    let document = json!({
        "scenario": args.scenario.display().to_string(),
        "seed": args.telling.seed,
        "cells_asked": grid.len(),
        "cells": cells,
    });
    format!("{document:#}\n")
}

/// A table for people.
pub(super) fn table(grid: &Grid, rows: &[Row]) -> String {
    let mut lines = vec![header(grid)];
    lines.extend(rows.iter().map(|row| line(grid, row)));
    let mut text = format!(
        "{}\n\nSimulated. Errors along the path, late positive; 99.9 % of |error|.\n",
        table::table(&lines)
    );
    if grid.has_link() {
        text += "Stop: from true contact to the line at stop, at most. ";
        text += super::LINK_CAUTION;
        text.push('\n');
    }
    if grid.has_battery() {
        text += super::CELLS;
        text.push('\n');
    }
    text
}

/// Headings of [`line`].
pub(super) fn header(grid: &Grid) -> Vec<String> {
    let keys = grid.vary.iter().map(|one| one.key.clone());
    let mut names = vec![
        "trials",
        "bias nm",
        "sd nm",
        "99.9 % nm",
        "bound nm",
        "doubt nm",
        "inside 2u",
        "confirmed after ms",
    ];
    if grid.has_link() {
        names.extend(["stop ms", "READY falls /h"]);
    }
    if grid.has_battery() {
        names.extend(["cells last h", "spare h"]);
    }
    names.push("remarks");
    keys.chain(names.into_iter().map(str::to_owned)).collect()
}

/// A row for people.
pub(super) fn line(grid: &Grid, row: &Row) -> Vec<String> {
    let number = |value: Option<f64>, decimals: usize| match value {
        Some(value) if value.is_finite() => format!("{value:.decimals$}"),
        _ => "-".to_owned(),
    };
    // Three digits suffice a person.
    let nm = |value: Option<f64>| {
        number(
            value,
            value.map_or(0, |v| {
                usize::from(v.abs() < 100.0) + usize::from(v.abs() < 10.0)
            }),
        )
    };
    let link = row.link.unwrap_or_default();
    let remarks: Vec<String> = [
        (row.missed, "missed"),
        (row.false_touches, "false"),
        (link.late, "late"),
        (link.twice, "told twice"),
        (link.outside_doubt, "beyond the link's bound"),
        (link.without, "not carried: no second of READY"),
        (
            row.battery.map_or(0, |cells| cells.wrong_yes),
            "wrong: cells said to last that did not",
        ),
    ]
    .iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, what)| format!("{count} {what}"))
    .collect();
    let mut rest = vec![
        row.trials.to_string(),
        nm(row.errors.bias_nm),
        nm(row.errors.sd_nm),
        nm(row.errors.p999_nm),
        nm(Some(row.bound_nm)),
        nm(row.doubt_nm),
        number(row.inside_2u, 4),
        number(row.confirm_mean_ns.map(|ns| ns / 1e6), 3),
    ];
    if grid.has_link() {
        let stop_ns = of_link(row, |link| link.stop_max_ns);
        rest.push(number(stop_ns.map(|ns| ns / 1e6), 3));
        rest.push(nm(row.link.and_then(|link| link.drops_per_h())));
    }
    if grid.has_battery() {
        rest.push(number(row.battery.map(|cells| cells.life_h), 0));
        rest.push(number(row.battery.map(|cells| cells.spare_h), 1));
    }
    rest.push(remarks.join(", "));
    row.values.iter().cloned().chain(rest).collect()
}
