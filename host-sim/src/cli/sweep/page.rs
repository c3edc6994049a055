//! The report of a sweep: a map where two keys vary, curves along the first one, the table.

use super::output;
use crate::cli::again::command;
use crate::cli::args::Sweep;
use crate::report::{
    Column, Curves, HeatMap, Kind, Line, Origin, Place, Point, Report, Section, Table,
};
use crate::scenario::Tables;
use crate::study::sweep::{Errors, Grid, Row};

/// Pictures of curves at most; further values are in map and table.
const MOST_CURVES: usize = 6;
/// Maps at most.
const MOST_MAPS: usize = 4;

/// What a row says about one method.
type Of = fn(&Row) -> Errors;

/// The methods, as the other reports name them.
const METHODS: [(&str, Kind, Of); 3] = [
    ("first edge", Kind::FirstEdge, |row| row.first),
    ("N in a row", Kind::NInARow, |row| row.in_a_row),
    ("onset", Kind::BalancePoint, |row| row.onset),
];

/// The page.
pub(super) fn page(grid: &Grid, rows: &[Row], tables: &Tables, args: &Sweep) -> String {
    let mut sections = Vec::new();
    if grid.vary.len() > 1 {
        let rests = distinct(rows, 2);
        sections.extend(
            rests
                .iter()
                .take(MOST_MAPS)
                .map(|rest| Section::HeatMap(map(grid, rows, rest))),
        );
    }
    if !grid.vary.is_empty() {
        let rests = distinct(rows, 1);
        sections.extend(
            rests
                .iter()
                .take(MOST_CURVES)
                .map(|rest| Section::Curves(curves(grid, rows, tables, rest))),
        );
    }
    sections.push(Section::Table(table(grid, rows)));
    let keys: Vec<&str> = grid.vary.iter().map(|one| one.key.as_str()).collect();
    Report {
        title: "Sweep of a simulated light barrier".to_owned(),
        asked: vec![
            ("Scenario".to_owned(), args.scenario.display().to_string()),
            (
                "Cells".to_owned(),
                format!("{} of {}", rows.len(), grid.len()),
            ),
            ("Touches a cell".to_owned(), args.trials.to_string()),
            ("Varied".to_owned(), if keys.is_empty() { "nothing".to_owned() } else { keys.join(", ") }),
            ("Seed".to_owned(), args.telling.seed.to_string()),
        ],
        lead: answer(grid, rows),
        facts: Vec::new(),
        origin: Origin::Simulated,
        sections,
        limits: vec![
            format!(
                "{} touches a cell: a mean is known to its sd over the root of that, the 99.9 % lie on the {} largest errors.",
                args.trials,
                args.trials / 1000 + 1
            ),
            "The bound is a closed form for a barrier without hysteresis; what the scenario leaves out, such as servo lag or \
             a bending axis, is in no figure."
                .to_owned(),
        ],
        again: vec![command()],
    }
    .html()
}

/// The cells in a sentence.
fn answer(grid: &Grid, rows: &[Row]) -> String {
    let sum = |of: fn(&Row) -> u64| rows.iter().map(of).sum::<u64>();
    let mut text = format!(
        "{} touches were missed and {} told that were none, of {} in {} cells",
        sum(|row| row.missed),
        sum(|row| row.false_touches),
        sum(|row| row.trials),
        rows.len()
    );
    let known = rows
        .iter()
        .filter_map(|row| Some((row.errors.p999_nm?, row)));
    let worst = known.max_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((p999_nm, row)) = worst {
        let worst = if rows.len() > 1 {
            " in the worst cell"
        } else {
            ""
        };
        text += &format!(
            "; 99.9 % of the errors stay within {p999_nm:.0} nm{worst}{}",
            at(grid, 0, &row.values)
        );
    }
    text + "."
}

/// The different values of the keys from number `from` on, in the order of the grid.
fn distinct(rows: &[Row], from: usize) -> Vec<Vec<String>> {
    let mut all: Vec<Vec<String>> = Vec::new();
    for row in rows {
        let rest = row.values[from..].to_vec();
        if !all.contains(&rest) {
            all.push(rest);
        }
    }
    all
}

/// ` at barrier.snr 60dB, ...` for the keys from number `from` on.
fn at(grid: &Grid, from: usize, rest: &[String]) -> String {
    let pairs = grid.vary[from..].iter().zip(rest);
    let pairs: Vec<String> = pairs
        .map(|(one, value)| format!("{} {value}", one.key))
        .collect();
    if pairs.is_empty() {
        String::new()
    } else {
        format!(" at {}", pairs.join(", "))
    }
}

fn map(grid: &Grid, rows: &[Row], rest: &[String]) -> HeatMap {
    let (across, down) = (&grid.vary[0], &grid.vary[1]);
    let cell = |column: &String, name: &String| {
        let row = rows.iter().find(|row| {
            &row.values[0] == column && &row.values[1] == name && row.values[2..] == *rest
        });
        row.and_then(|row| row.errors.p999_nm)
    };
    let cells = down.values.iter().map(|name| {
        across
            .values
            .iter()
            .map(|column| cell(column, name))
            .collect()
    });
    HeatMap {
        title: format!("99.9 % of the errors are smaller{}", at(grid, 2, rest)),
        caption: format!(
            "{} by column, {} by row; errors of the method asked for.",
            across.key, down.key
        ),
        across: across.key.clone(),
        columns: across.values.clone(),
        down: down.key.clone(),
        rows: down.values.clone(),
        cells: cells.collect(),
    }
}

fn curves(grid: &Grid, rows: &[Row], tables: &Tables, rest: &[String]) -> Curves {
    let rows: Vec<&Row> = rows.iter().filter(|row| row.values[1..] == *rest).collect();
    let along = &grid.vary[0].key;
    let number = |text: &str| {
        let mut tables = tables.clone();
        tables.set(along, text).ok()?;
        tables.number(along)
    };
    let place = |row: &&Row| Place {
        label: row.values[0].clone(),
        number: number(&row.values[0]),
        bound_nm: Some(row.bound_nm),
    };
    Curves {
        title: format!("Error along {along}{}", at(grid, 1, rest)),
        caption: "Each method on the same simulated touches.".to_owned(),
        along: along.clone(),
        places: rows.iter().map(place).collect(),
        lines: METHODS
            .iter()
            // Samples have no edges to take the first of.
            .filter(|(_, _, of)| rows.iter().any(|row| of(row).sd_nm.is_some()))
            .map(|(name, kind, of)| Line {
                name: (*name).to_owned(),
                kind: *kind,
                points: rows.iter().map(|row| point(of(row))).collect(),
            })
            .collect(),
    }
}

fn point(errors: Errors) -> Point {
    Point {
        bias_nm: errors.bias_nm,
        sd_nm: errors.sd_nm,
        p999_nm: errors.p999_nm,
    }
}

fn table(grid: &Grid, rows: &[Row]) -> Table {
    let header = output::header(grid);
    let keys = grid.vary.len();
    let last = header.len() - 1;
    let columns = header.into_iter().enumerate().map(|(k, name)| Column {
        number: k >= keys && k < last,
        name,
    });
    let mut caption = "Errors along the path, late positive; a doubt is one standard uncertainty, 'inside 2u' the share \
                       of touches with the truth within two of them."
        .to_owned();
    if grid.has_link() {
        caption += " Stop: from true contact to the line at stop, at most; falls of READY are counted between touches. ";
        caption += super::LINK_CAUTION;
    }
    if grid.has_battery() {
        caption.push(' ');
        caption += super::CELLS;
    }
    Table {
        title: "Cells".to_owned(),
        caption,
        columns: columns.collect(),
        rows: rows.iter().map(|row| output::line(grid, row)).collect(),
        rest_in: "the table that --csv prints".to_owned(),
    }
}
