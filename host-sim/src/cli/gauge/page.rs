//! The report: answer, picture of the touches, what makes it doubtful, how to repeat it.

use crate::cli::args::Gauge;
use crate::gauge::{Outcome, CAUTION};
use crate::report::{Column, Length, Lengths, Origin, Report, Section, Table};

/// The page.
pub(super) fn page(found: &Outcome, args: &Gauge) -> String {
    let mut sections = Vec::new();
    if !found.made.is_empty() {
        sections.push(Section::Lengths(lengths(found)));
    }
    if !found.budget.is_empty() {
        sections.push(Section::Table(budget(found)));
    }
    if !found.notes.is_empty() {
        sections.push(Section::Table(Table {
            title: "Notes".to_owned(),
            caption: String::new(),
            columns: vec![column("note", false)],
            rows: found.notes.iter().map(|note| vec![note.clone()]).collect(),
            rest_in: "--json".to_owned(),
        }));
    }
    Report {
        title: format!("Gauge: {}", found.kind),
        lead: format!("{}. Caution: {CAUTION}.", found.sentence()),
        facts: facts(found, args),
        origin: Origin::Recorded,
        sections,
    }
    .html()
}

fn facts(found: &Outcome, args: &Gauge) -> Vec<(String, String)> {
    let mut facts = vec![
        ("Plan".to_owned(), args.plan.display().to_string()),
        ("Touches".to_owned(), args.touches.display().to_string()),
        (
            "Used, dropped".to_owned(),
            format!("{}, {}", found.touches, found.dropped),
        ),
    ];
    if let Some(k) = found.k {
        let dof = found.dof.map_or("known".to_owned(), |dof| dof.to_string());
        facts.push(("k, degrees of freedom".to_owned(), format!("{k}, {dof}")));
    }
    if let Some(bound) = found.false_whole_bound {
        let text = format!("below {bound:.1e}, by assumed rates, not by data");
        facts.push(("Broken tool called whole".to_owned(), text));
    }
    let beside = [("--axis", &args.axis), ("--hits", &args.hits)];
    let given = beside
        .iter()
        .filter_map(|(option, path)| Some((option, path.as_ref()?)));
    let options: Vec<String> = given
        .map(|(option, path)| format!(" {option} {}", path.display()))
        .collect();
    let again = format!(
        "trueonset gauge {} {}{}",
        args.plan.display(),
        args.touches.display(),
        options.concat()
    );
    facts.push(("To repeat it".to_owned(), again));
    facts
}

/// Sizes about the middle of the window, or about the first touch.
fn lengths(found: &Outcome) -> Lengths {
    let middle = found.window.map_or_else(
        || found.made.first().map_or(0.0, |made| made.size_nm),
        |(low, high, _)| f64::midpoint(low, high),
    );
    Lengths {
        title: "Touches".to_owned(),
        caption: format!("Counted from {:.4} mm.", middle / 1e6),
        from: format!("{:.4} mm", middle / 1e6),
        touches: found
            .made
            .iter()
            .map(|made| Length {
                touch: made.touch,
                off_nm: made.size_nm - middle,
                doubt_nm: made.doubt_nm,
            })
            .collect(),
        window: found
            .window
            .map(|(low, high, _)| (low - middle, high - middle)),
        broken_below: found.window.map(|(_, _, broken)| broken - middle),
    }
}

fn budget(found: &Outcome) -> Table {
    Table {
        title: "What makes it doubtful".to_owned(),
        caption: "Standard uncertainties; shares of the variance of the mean.".to_owned(),
        columns: vec![
            column("source", false),
            column("u_nm", true),
            column("share_percent", true),
            column("class", false),
        ],
        rows: found
            .budget
            .iter()
            .map(|share| {
                vec![
                    share.source.clone(),
                    format!("{:.1}", share.u_nm),
                    format!("{:.1}", share.of_variance * 100.0),
                    share.class.to_owned(),
                ]
            })
            .collect(),
        rest_in: "--json".to_owned(),
    }
}

fn column(name: &str, number: bool) -> Column {
    Column {
        name: name.to_owned(),
        number,
    }
}
