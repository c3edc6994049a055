//! The report of `check`.

use super::verdict::Finding;
use super::Judged;
use crate::cli::again::command;
use crate::cli::args::Check;
use crate::cli::picture::{chatter, fall};
use crate::cli::table::seconds;
use crate::fault::Fault;
use crate::quantity::show_time_ns;
use crate::replay::{Row, Settings};
use crate::report::{Column, Origin, Report, Section, Table};

/// What the page is made of.
pub(super) struct Seen<'a> {
    pub judged: &'a Judged,
    pub rows: &'a [Row],
    pub settings: &'a Settings,
    pub light: bool,
    pub damaged: bool,
}

/// The page.
pub(super) fn page(seen: &Seen<'_>, args: &Check) -> Result<String, Fault> {
    let judged = seen.judged;
    let mut sections = picture(seen, args)?;
    sections.push(table(judged));
    let mut limits = vec![
        "Only onsets are compared: doubts, flags and releases are those of a replay.".to_owned(),
    ];
    if seen.damaged {
        limits.push("The log is damaged: what lies beyond the damage was not judged.".to_owned());
    }
    let wrong = judged.wrong();
    Ok(Report {
        title: "Touches against expectation".to_owned(),
        asked: vec![
            ("Log".to_owned(), args.log.clone()),
            ("Expected".to_owned(), args.expect.display().to_string()),
            (
                "Within".to_owned(),
                show_time_ns(i64::try_from(args.within).unwrap_or(i64::MAX)),
            ),
        ],
        lead: format!(
            "{}: {} of {} expected touches were found where they belong, {wrong} are wrong.",
            if seen.damaged {
                "Not judged to its end"
            } else if wrong == 0 {
                "It holds"
            } else {
                "It does not hold"
            },
            judged.matched(),
            judged.expected
        ),
        facts: Vec::new(),
        origin: Origin::Recorded,
        sections,
        limits,
        again: vec![command()],
    }
    .html())
}

/// The first touch that is wrong, or else the busiest; a log from stdin cannot be read again.
fn picture(seen: &Seen<'_>, args: &Check) -> Result<Vec<Section>, Fault> {
    if args.log == "-" {
        return Ok(Vec::new());
    }
    let wrong = seen.judged.bad().find_map(|finding| match finding {
        Finding::Displaced { line, found, .. } | Finding::Extra { line, found } => {
            Some((line, *found))
        }
        _ => None,
    });
    let first = wrong.and_then(|(line, found)| {
        let mut rows = seen.rows.iter();
        rows.find(|row| (&row.line, row.onset_ns) == (line, found))
    });
    let word = if first.is_some() {
        "first wrong"
    } else {
        "busiest"
    };
    let Some(row) = first.or_else(|| seen.rows.iter().max_by_key(|row| row.edges)) else {
        return Ok(Vec::new());
    };
    let (settings, options) = (seen.settings, args.reading.options());
    let title = format!("The {word} touch, at {} s", seconds(row.onset_ns));
    if seen.light {
        let fall = fall(&args.log, row, settings, &options, title, None)?;
        return Ok(fall.map(Section::Fall).into_iter().collect());
    }
    let chatter = chatter(&args.log, row, settings, &options, title, None)?;
    Ok(vec![Section::Chatter(chatter)])
}

/// Those that are wrong, or all where none is.
fn table(judged: &Judged) -> Section {
    let all_is_well = judged.wrong() == 0;
    let shown = judged
        .findings
        .iter()
        .filter(|finding| all_is_well || finding.is_wrong());
    let ns = |ns: i64| ns.to_string();
    let none = String::new;
    let rows = shown.map(|finding| match finding {
        Finding::Matched {
            line,
            expected,
            found,
        }
        | Finding::Displaced {
            line,
            expected,
            found,
        } => vec![
            line.clone(),
            ns(*expected),
            ns(*found),
            ns(found - expected),
            if finding.is_wrong() {
                "displaced"
            } else {
                "matched"
            }
            .to_owned(),
        ],
        Finding::Missing { line, expected } => {
            vec![
                line.clone(),
                ns(*expected),
                none(),
                none(),
                "missing".to_owned(),
            ]
        }
        Finding::Extra { line, found } => {
            vec![line.clone(), none(), ns(*found), none(), "extra".to_owned()]
        }
    });
    let column = |name: &str| Column {
        name: name.to_owned(),
        number: name.ends_with("ns"),
    };
    Section::Table(Table {
        title: if all_is_well {
            "Touches"
        } else {
            "What is wrong"
        }
        .to_owned(),
        caption: "Onsets on the log's own zero.".to_owned(),
        columns: ["line", "expected ns", "found ns", "off ns", "finding"]
            .map(column)
            .to_vec(),
        rows: rows.collect(),
        rest_in: "the output of check".to_owned(),
    })
}
