//! The report of `tune`.

use super::advice::{constants, fitted, late_light};
use super::{Calibration, Found};
use crate::cli::again::command;
use crate::cli::args::Tune;
use crate::cli::picture::{chatter, fall};
use crate::cli::table::{seconds, sheet};
use crate::fault::Fault;
use crate::log::Dwells;
use crate::report::{Bin, Histogram, Origin, Report, Section, Series, Source};

/// The page.
pub(super) fn page(found: &Found, args: &Tune) -> Result<String, Fault> {
    let mut sections = pictures(found, args)?;
    sections.push(Section::Table(sheet(
        "What each setting would do on these logs",
        &format!("Missed and false touches against {}; 'short hold': touches whose chatter is long for the hold.", found.advised.against),
        found.tried(),
    )));
    let mut limits: Vec<String> = vec![
        "Only what these logs show is known: a glitch, droplet or feed that is not in them may ask for another hold.".to_owned(),
    ];
    match &found.calibration {
        Calibration::None => limits.push(
            "Without a truth nobody knows what the holds agree on wrongly: delay and hysteresis of the comparator stay in the \
             onset."
                .to_owned(),
        ),
        Calibration::Edges(calibrated) => {
            sections.push(Section::Table(sheet("Late by comparator and filter", "", fitted(calibrated))));
            limits.extend(constants(calibrated));
        }
        Calibration::Light(feeds) => {
            sections.push(Section::Table(sheet("Late at each feed", "Light, not edges: there is no comparator to calibrate.", late_light(feeds))));
        }
    }
    sections.push(Section::Source(Source {
        title: "The settings in Rust".to_owned(),
        caption: "Compiles against the library; state the tick of your board at its top."
            .to_owned(),
        text: found.source(),
    }));
    let truth = args.truth.iter().map(|path| path.display().to_string());
    let truth: Vec<String> = truth.collect();
    Ok(Report {
        title: "Settings out of logs".to_owned(),
        asked: vec![
            ("Logs".to_owned(), args.logs.join(", ")),
            (
                "Truth".to_owned(),
                if truth.is_empty() {
                    "none".to_owned()
                } else {
                    truth.join(", ")
                },
            ),
        ],
        lead: found.sentence(),
        facts: found.shown(),
        origin: Origin::Recorded,
        sections,
        limits,
        again: vec![command()],
    }
    .html())
}

/// The busiest touch of the first log that has one, and how long levels last.
fn pictures(found: &Found, args: &Tune) -> Result<Vec<Section>, Fault> {
    let mut sections = Vec::new();
    let mut settings = found.settings.clone();
    settings.hold_ns = found.advised.hold_ns;
    settings.method = found.advised.method.unwrap_or(settings.method);
    let options = args.reading.options();
    let logs = args.logs.iter().zip(&found.advised.rows);
    let busiest =
        logs.filter_map(|(log, rows)| Some((log, rows.iter().max_by_key(|row| row.edges)?)));
    if let Some((log, row)) = busiest.max_by_key(|(_, row)| row.edges) {
        let at = seconds(row.onset_ns);
        if found.advised.light.is_some() {
            let title = format!("Light of the touch at {at} s");
            sections.extend(fall(log, row, &settings, &options, title, None)?.map(Section::Fall));
        } else {
            let title = format!("Chatter of the touch at {at} s");
            sections.push(Section::Chatter(chatter(
                log, row, &settings, &options, title, None,
            )?));
        }
    }
    let series = |name: &str, dwells: &Dwells| Series {
        name: name.to_owned(),
        bins: dwells
            .bins()
            .map(|(from_ns, to_ns, count)| Bin {
                from_ns,
                to_ns,
                count,
            })
            .collect(),
    };
    let (rest, contact) = &found.advised.dwells;
    let all: Vec<Series> = [("at rest", rest), ("in contact", contact)]
        .map(|(name, dwells)| series(name, dwells))
        .into_iter()
        .filter(|series| !series.bins.is_empty())
        .collect();
    if !all.is_empty() {
        sections.push(Section::Histogram(Histogram {
            title: "How long levels last".to_owned(),
            caption: "Chatter and glitches are the short ones, touches and pauses the long ones: the hold belongs between.".to_owned(),
            series: all,
        }));
    }
    Ok(sections)
}
