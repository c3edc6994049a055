//! The report of the demo: one chatter, error against feed, the table.

use indicatif::ProgressBar;

use super::compare::Compared;
use super::light::{self, Lit};
use super::link::Carried;
use super::scenario::{settings, SNR_DB};
use super::tools::Tools;
use crate::cli::gauge::page::{budget, lengths};
use crate::cli::picture::{chatter, fall};
use crate::fault::Fault;
use crate::log::Options;
use crate::replay::Row;
use crate::report::{Column, FeedError, FeedPoint, Kind, Method, Origin, Report, Section, Table};
use crate::study::runner::{self, Cell, Plan, Station, Trial};
use crate::study::statistics::quantile;

/// Feeds of the study, mm/min.
const FEEDS: [f64; 7] = [10.0, 30.0, 100.0, 300.0, 1000.0, 2000.0, 3000.0];
/// Touches at each of them.
const TOUCHES: u64 = 400;

/// Said above tables of touches beside their truth.
const ERRORS: &str =
    "Errors are differences from the simulated truth; a doubt is one standard uncertainty.";

/// What a trial says about one method, nm.
type Error = fn(&Trial) -> Option<f64>;

const METHODS: [(&str, Kind, Error); 3] = [
    ("first edge", Kind::FirstEdge, |trial| trial.first_nm),
    ("N in a row", Kind::NInARow, |trial| trial.run_nm),
    ("onset", Kind::BalancePoint, |trial| {
        trial.found.map(|found| found.error_nm)
    }),
];

/// Error against feed, by Monte Carlo. The scenario of the log without its spikes.
pub(crate) fn study() -> Result<FeedError, Fault> {
    let told = settings();
    let plan = Plan {
        stations: vec![Station {
            hold_ns: told.hold_ns,
            class: false,
            bandwidth_hz: told.bandwidth_hz,
        }],
        seeds: 1..=TOUCHES,
        devices: 8,
        school: 4,
        warm_up: 0,
    };
    let mut methods = METHODS.map(|(name, kind, _)| Method {
        name: name.to_owned(),
        kind,
        points: Vec::new(),
    });
    // Draws on stderr, and only if that is a terminal.
    let bar = ProgressBar::new(FEEDS.len() as u64);
    for feed in FEEDS {
        let cell = Cell::new(feed, SNR_DB);
        let stations = runner::run(&cell, &plan).map_err(|why| {
            Fault::new(
                format!("{why:?}"),
                "settings the core takes",
                "report this fault, it is one of the program",
            )
        })?;
        let trials = stations.first().map_or(&[][..], Vec::as_slice);
        for (method, (_, _, error)) in methods.iter_mut().zip(METHODS) {
            method
                .points
                .extend(point(feed, trials.iter().filter_map(error).collect()));
        }
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(FeedError {
        title: "Error against feed".to_owned(),
        caption: format!(
            "{TOUCHES} simulated touches at each feed, the same barrier without spikes. First edge and 'N in a row' \
             move with the feed; the mean of the onset stays within its sampling error."
        ),
        spread: "2.5 to 97.5 %".to_owned(),
        methods: methods.to_vec(),
    })
}

fn point(feed_mm_min: f64, mut errors: Vec<f64>) -> Option<FeedPoint> {
    let bias_nm = errors.iter().sum::<f64>() / errors.len() as f64;
    let low_nm = quantile(&mut errors, 0.025)?;
    let high_nm = quantile(&mut errors, 0.975)?;
    Some(FeedPoint {
        feed_mm_min,
        bias_nm,
        low_nm,
        high_nm,
    })
}

/// The recordings that pictures are drawn from.
pub(crate) struct Logs<'a> {
    pub edges: &'a str,
    pub light: &'a str,
}

/// What the page tells.
pub(crate) struct Told<'a> {
    pub rows: &'a [Row],
    pub compared: &'a Compared,
    pub carried: &'a Carried,
    pub lit: &'a Lit,
    pub tools: &'a Tools,
    pub study: &'a FeedError,
    pub seed: u64,
}

/// The page, and its first picture alone.
pub(crate) fn report(logs: &Logs<'_>, told: &Told<'_>) -> Result<(String, Option<String>), Fault> {
    let Told {
        rows,
        compared,
        carried,
        lit,
        tools,
        study,
        seed,
    } = *told;
    let mut sections = Vec::new();
    let mut alone = None;
    if let Some((number, touch, row)) = compared.busiest() {
        let title = format!("Chatter of touch {number} at {} mm/min", touch.feed_mm_min);
        let picture = chatter(
            logs.edges,
            row,
            &settings(),
            &Options::default(),
            title,
            Some(touch.onset_ns),
        )?;
        alone = Some(picture.svg_file());
        sections.push(Section::Chatter(picture));
    }
    sections.push(Section::FeedError(study.clone()));
    sections.push(Section::Table(table(
        "Touches",
        ERRORS,
        compared.cells(),
        "touches.csv",
    )));
    sections.extend(carried.passage().map(Section::Passage));
    sections.push(Section::Delays(carried.delays()));
    sections.push(Section::Residuals(carried.residuals()));
    sections.push(Section::Grades(carried.grades()));
    sections.push(Section::Discharge(carried.discharge()?));
    sections.push(Section::Table(table(
        "Touches at the lines of the link",
        "Told and line stops: from true contact, the error of the onset in them. The line stops a constant D after the \
         onset; how far it may be off at most is the bound that the link states with each touch.",
        carried.cells(),
        "air.csv",
    )));
    if let Some((touch, row)) = lit.shown() {
        let title = format!("Light of a touch at {} mm/min", touch.feed_mm_min);
        let told = light::settings();
        let options = Options::default();
        let picture = fall(
            logs.light,
            row,
            &told,
            &options,
            title,
            Some(touch.onset_ns),
        )?;
        sections.extend(picture.map(Section::Fall));
    }
    sections.push(Section::Table(table(
        "Touches found in the light",
        ERRORS,
        lit.cells(),
        "light_touches.csv",
    )));
    sections.extend(of_tools(tools));
    let nm = |value: f64| format!("{value:.0} nm");
    let page = Report {
        title: "Demo: a length probe, invented".to_owned(),
        asked: vec![
            (
                "Scenario".to_owned(),
                "an invented probe at an invented machine, touches at six feeds out of a simulated noisy log".to_owned(),
            ),
            (
                "Question".to_owned(),
                "how long are the tools, are they whole, and how sure is that".to_owned(),
            ),
            ("Seed".to_owned(), seed.to_string()),
        ],
        lead: tools.sentence(),
        facts: vec![
            ("Touches".to_owned(), rows.len().to_string()),
            ("Error of the onset, rms".to_owned(), nm(compared.rms_nm(|row| row.onset_ns))),
            ("Of the first edge".to_owned(), nm(compared.rms_nm(|row| row.first_edge_ns))),
            ("Of N in a row".to_owned(), nm(compared.rms_nm(|row| row.last_edge_ns))),
            ("Truth within two doubts".to_owned(), compared.inside()),
        ],
        origin: Origin::Simulated,
        sections,
        limits: vec![
            "The lengths hang on the mandrel and on how the axis comes back to a place; the onset itself matters less.".to_owned(),
            "A chip that sticks to the tip cannot be told by any touch.".to_owned(),
            "Heat, servo lag and a bending axis are not in this scenario.".to_owned(),
        ],
        again: vec![format!("trueonset demo --seed {seed}")],
    };
    Ok((page.html(), alone))
}

/// What the touches are for.
fn of_tools(tools: &Tools) -> Vec<Section> {
    let mut sections = Vec::new();
    if let Some((tool, outcome)) = tools.shown() {
        let mut picture = lengths(outcome);
        picture.title = format!("Touches of {tool}");
        sections.push(Section::Lengths(picture));
        let mut doubts = budget(outcome);
        doubts.title = format!("What makes {tool} doubtful");
        sections.push(Section::Table(doubts));
    }
    sections.push(Section::Table(table(
        "Tools",
        "Out of the touches above as the control sees them: the line of the link a constant D after each onset, the position of \
         the axis looked up that much earlier, lengths counted from a mandrel. Invented tools: the true length stands beside.",
        tools.cells(),
        "tools/",
    )));
    sections
}

fn table(title: &str, caption: &str, mut cells: Vec<Vec<String>>, rest_in: &str) -> Table {
    let header = if cells.is_empty() {
        Vec::new()
    } else {
        cells.remove(0)
    };
    Table {
        title: title.to_owned(),
        caption: caption.to_owned(),
        columns: header
            .into_iter()
            .map(|name| Column {
                number: !["flags", "tool", "verdict"].contains(&name.as_str()),
                name,
            })
            .collect(),
        rows: cells,
        rest_in: rest_in.to_owned(),
    }
}
