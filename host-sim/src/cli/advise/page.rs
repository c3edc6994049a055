//! The report of an advice: what was asked, the answer, pictures, tables, cautions, the command.

use super::output::{asked, better, binding, compared, feed, limits, refusal, sentence, settings};
use super::Answer;
use crate::cli::args::Advise;
use crate::cli::table::sheet;
use crate::report::{Kept, Origin, Part, Promise, Promised, Report, Section, Shares, CAUTION};
use crate::study::advice::{Asked, Impossible, Portion};

/// Feeds drawn, from this share of the answer to so many times it.
const DRAWN: (f64, f64) = (0.02, 4.0);
const POINTS: u32 = 48;

/// The page.
pub(super) fn page(answer: &Answer, args: &Advise) -> String {
    let advice = &answer.advice;
    let mut sections = vec![
        Section::Promise(promise(answer, args)),
        Section::Table(sheet(
            "Theory and simulation",
            "Touches, link or wire and latch are those of the firmware's code; axis and control are drawn as they may be. \
             Behind each share of touches the lower end of Wilson's interval at 95 %.",
            compared(answer),
        )),
        Section::Shares(shares(answer)),
        Section::Table(sheet(
            "What limits the feed",
            "Each limit by itself; the tightest is the answer.",
            limits(&advice.limits),
        )),
    ];
    if !advice.better.is_empty() {
        sections.push(Section::Table(sheet(
            "What one better part would buy",
            "One change, all else as it is.",
            better(&advice.better, advice.feed),
        )));
    }
    let settings = settings(answer)
        .into_iter()
        .map(|(name, value)| vec![name, value]);
    let header = ["setting", "value"].map(str::to_owned).to_vec();
    sections.push(Section::Table(sheet(
        "What goes with it",
        "",
        std::iter::once(header).chain(settings).collect(),
    )));
    Report {
        title: "Approach feed".to_owned(),
        asked: asked_for(args),
        lead: format!("{} It is {}.", sentence(answer), binding(&advice.limits)),
        facts: Vec::new(),
        origin: Origin::Simulated,
        sections,
        limits: own(&answer.cautions),
        again: vec![answer.command.clone()],
    }
    .html()
}

/// The page where nothing is possible.
pub(super) fn impossible(what: &Asked, why: &Impossible, args: &Advise, command: &str) -> String {
    let changes = why.changes.iter().map(|change| vec![change.clone()]);
    let header = vec!["what would have to change".to_owned()];
    Report {
        title: "Approach feed: none".to_owned(),
        asked: asked_for(args),
        lead: format!("{}.", refusal(what, why)),
        facts: Vec::new(),
        origin: Origin::Simulated,
        sections: vec![
            Section::Table(sheet(
                "What would have to change",
                "",
                std::iter::once(header).chain(changes).collect(),
            )),
            Section::Table(sheet(
                "What limits the feed",
                "Each limit by itself.",
                limits(&why.limits),
            )),
        ],
        limits: Vec::new(),
        again: vec![command.to_owned()],
    }
    .html()
}

/// What this advice does not cover; the fixed caution stands on every page.
fn own(cautions: &[String]) -> Vec<String> {
    let own = cautions.iter().filter(|caution| *caution != CAUTION);
    own.cloned().collect()
}

fn asked_for(args: &Advise) -> Vec<(String, String)> {
    [
        ("Scenario", args.scenario.display().to_string()),
        ("Error asked for", asked(args.tolerance)),
        ("Overtravel asked for", asked(args.overtravel)),
        ("Touches simulated", args.touches.to_string()),
        ("Seed", args.telling.seed.to_string()),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .to_vec()
}

fn promise(answer: &Answer, args: &Advise) -> Promise {
    let (advice, proof) = (&answer.advice, &answer.proof);
    let (from, to) = (
        DRAWN.0 * advice.calm.min(advice.feed),
        DRAWN.1 * advice.fastest(),
    );
    let feeds: Vec<f64> = (0..=POINTS)
        .map(|k| from * (to / from).powf(f64::from(k) / f64::from(POINTS)))
        .collect();
    let overtravels = advice.overtravels_at(&feeds, args.telling.seed);
    let point = |(&feed, overtravel): (&f64, f64)| Promised {
        feed_mm_min: feed * 60_000.0,
        kept: Kept {
            error_nm: advice.error_at(feed) * 1e9,
            overtravel_nm: overtravel * 1e9,
        },
    };
    Promise {
        title: "What a feed keeps".to_owned(),
        caption: format!(
            "Up to {} both promises are kept; {} takes a tenth longer than the quickest cycle.",
            feed(advice.feed),
            feed(advice.calm)
        ),
        points: feeds.iter().zip(overtravels).map(point).collect(),
        asked: Kept {
            error_nm: args.tolerance as f64,
            overtravel_nm: args.overtravel as f64,
        },
        feed_mm_min: advice.feed * 60_000.0,
        calm_mm_min: advice.calm * 60_000.0,
        simulated: Kept {
            error_nm: proof.error * 1e9,
            overtravel_nm: proof.overtravel * 1e9,
        },
        stopped_mm_min: advice.fastest() * 60_000.0,
    }
}

fn shares(answer: &Answer) -> Shares {
    let part = |portion: &Portion| Part {
        source: portion.source.to_owned(),
        u_nm: portion.u * 1e9,
        share: portion.share,
    };
    Shares {
        title: "What the error is made of".to_owned(),
        caption: format!(
            "At {}. Trigger path alone: plate, axis and heat come on top.",
            feed(answer.advice.feed)
        ),
        parts: answer.advice.budget.iter().map(part).collect(),
    }
}
