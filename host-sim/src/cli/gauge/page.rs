//! The report: answer, picture of the touches, what makes it doubtful, how to repeat it.

use std::path::Path;

use crate::cli::again::command;
use crate::cli::args::Gauge;
use crate::gauge::Outcome;
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
    Report {
        title: format!("Gauge: {}", found.kind),
        asked: asked(args),
        lead: format!("{}.", capital(&found.sentence())),
        facts: facts(found),
        origin: Origin::Recorded,
        sections,
        limits: limits(found),
        again: vec![command()],
    }
    .html()
}

/// With a capital letter in front.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

fn asked(args: &Gauge) -> Vec<(String, String)> {
    let fact = |name: &str, path: &Path| (name.to_owned(), path.display().to_string());
    let mut asked = vec![fact("Plan", &args.plan), fact("Touches", &args.touches)];
    for (name, path) in [("Positions of the axis", &args.axis), ("Hits", &args.hits)] {
        asked.extend(path.as_ref().map(|path| fact(name, path)));
    }
    asked
}

fn facts(found: &Outcome) -> Vec<(String, String)> {
    let mut facts = vec![(
        "Touches used, dropped".to_owned(),
        format!("{}, {}", found.touches, found.dropped),
    )];
    if let Some(k) = found.k {
        let dof = found.dof.map_or("known".to_owned(), |dof| dof.to_string());
        facts.push(("k, degrees of freedom".to_owned(), format!("{k}, {dof}")));
    }
    if let Some(bound) = found.false_whole_bound {
        let text = format!("below {bound:.1e}, by assumed rates, not by data");
        facts.push(("Broken tool called whole".to_owned(), text));
    }
    facts
}

/// The largest contribution, and what else the judgement has to say.
fn limits(found: &Outcome) -> Vec<String> {
    let most = found
        .budget
        .iter()
        .max_by(|a, b| a.of_variance.total_cmp(&b.of_variance));
    let mut limits: Vec<String> = most
        .map(|share| {
            format!(
                "The doubt comes from {} more than from anything else: {:.0} % of the variance.",
                share.source,
                share.of_variance * 100.0
            )
        })
        .into_iter()
        .collect();
    limits.extend(found.notes.iter().cloned());
    limits
}

/// Sizes about the middle of the window, or about the first touch.
pub(in crate::cli) fn lengths(found: &Outcome) -> Lengths {
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

pub(in crate::cli) fn budget(found: &Outcome) -> Table {
    Table {
        title: "What makes it doubtful".to_owned(),
        caption: "Standard uncertainties; shares of the variance of the mean.".to_owned(),
        columns: vec![
            column("source", false),
            column("u nm", true),
            column("share %", true),
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
