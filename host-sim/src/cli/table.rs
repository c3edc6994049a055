//! Tables for people: columns as wide as their widest cell, numbers to the right.

use crate::quantity::show_time_ns;
use crate::replay::Row;
use crate::report::{Column, Table};

/// A table; the first row is the header, the first column and the last are words.
#[must_use]
pub(crate) fn table(rows: &[Vec<String>]) -> String {
    let columns = rows.first().map_or(0, Vec::len);
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut lines = Vec::new();
    for row in rows {
        let cells = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(i, (cell, width))| {
                if i == 0 || i + 1 == columns {
                    format!("{cell:<width$}")
                } else {
                    format!("{cell:>width$}")
                }
            });
        lines.push(cells.collect::<Vec<_>>().join("  ").trim_end().to_owned());
    }
    lines.join("\n")
}

/// The same for a report: all columns but the first, the last and words are numbers.
#[must_use]
pub(crate) fn sheet(title: &str, caption: &str, mut rows: Vec<Vec<String>>) -> Table {
    let header = rows.remove(0);
    let last = header.len() - 1;
    let columns = header.into_iter().enumerate().map(|(k, name)| Column {
        number: k > 0 && k < last && name != "method",
        name,
    });
    Table {
        title: title.to_owned(),
        caption: caption.to_owned(),
        columns: columns.collect(),
        rows,
        rest_in: "the output of --json".to_owned(),
    }
}

/// The table of touches.
#[must_use]
pub(crate) fn touches(rows: &[Row]) -> String {
    let header = [
        "line",
        "onset s",
        "doubt",
        "edges",
        "chatter",
        "confirmed after",
        "contact for",
        "flags",
    ];
    let mut cells = vec![header.map(str::to_owned).to_vec()];
    for row in rows {
        cells.push(vec![
            row.line.clone(),
            seconds(row.onset_ns),
            row.doubt_ns.map_or("unknown".to_owned(), short_ns),
            row.edges.to_string(),
            short_ns(row.last_edge_ns.abs_diff(row.first_edge_ns)),
            show_time_ns(row.confirmed_ns.saturating_sub(row.onset_ns)),
            row.release_ns.map_or("open".to_owned(), |at| {
                show_time_ns(at.saturating_sub(row.onset_ns) / 1000 * 1000)
            }),
            row.flags.to_string().replace('|', " "),
        ]);
    }
    table(&cells)
}

/// What the hits of turning cutters told, one row a touch; nothing where none turned.
#[must_use]
pub(crate) fn cutters(rows: &[Row]) -> Option<String> {
    let header = [
        "line",
        "onset s",
        "hits",
        "tooth period",
        "hits a turn",
        "widest hit",
        "deepest tooth",
    ];
    let mut cells = vec![header.map(str::to_owned).to_vec()];
    for row in rows {
        let Some(cutter) = row.cutter else { continue };
        cells.push(vec![
            row.line.clone(),
            seconds(row.onset_ns),
            cutter.hits.to_string(),
            short_ns(cutter.tooth_period_ns),
            format!("{:.2}", cutter.hits_per_turn),
            short_ns(cutter.widest_ns.unsigned_abs()),
            cutter
                .deepest_tooth
                .map_or("cannot tell".to_owned(), |tooth| {
                    format!("{tooth} after the first")
                }),
        ]);
    }
    (cells.len() > 1).then(|| table(&cells))
}

/// Seconds with all nine decimals.
#[must_use]
pub(crate) fn seconds(ns: i64) -> String {
    let sign = if ns < 0 { "-" } else { "" };
    let ns = ns.unsigned_abs();
    format!("{sign}{}.{:09}", ns / 1_000_000_000, ns % 1_000_000_000)
}

/// A span in the unit that suits it, three or four digits.
#[must_use]
pub(crate) fn short_ns(ns: u64) -> String {
    match ns {
        0..=9_999 => format!("{ns}ns"),
        10_000..=9_999_999 => format!("{:.1}µs", ns as f64 / 1e3),
        10_000_000..=9_999_999_999 => format!("{:.1}ms", ns as f64 / 1e6),
        _ => format!("{:.1}s", ns as f64 / 1e9),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_keep_every_nanosecond_and_the_sign() {
        assert_eq!(seconds(-1_500_000_001), "-1.500000001");
        assert_eq!(seconds(i64::MIN), "-9223372036.854775808");
    }

    #[test]
    fn columns_line_up() {
        let row = |cells: [&str; 3]| cells.map(str::to_owned).to_vec();
        let text = table(&[row(["a", "n", "note"]), row(["line", "12", ""])]);
        assert_eq!(text, "a      n  note\nline  12");
    }
}
