//! The report: what was found, as one self-contained page.
//!
//! Plain data go in, one `String` comes out: an HTML document with inline SVG, without scripts and without anything
//! fetched from elsewhere, readable in print and on light and dark screens. The same data give the same bytes. All
//! text may come from outside; it is escaped here.
//!
//! ```
//! use trueonset_sim::report::{Origin, Report};
//! let report = Report {
//!     title: "Touches of <beam>".into(),
//!     asked: vec![("Log".into(), "edges.csv".into())],
//!     lead: "Two touches, both certain.".into(),
//!     facts: vec![("Touches".into(), "2".into())],
//!     origin: Origin::Recorded,
//!     sections: Vec::new(),
//!     limits: vec!["The doubt is that of the instant.".into()],
//!     again: vec!["trueonset replay edges.csv".into()],
//! };
//! assert!(report.html().contains("<h1>Touches of &lt;beam&gt;</h1>"));
//! ```

mod axis;
mod chatter;
mod curves;
mod delays;
mod discharge;
mod even;
mod fall;
mod feed_error;
mod grades;
mod heat;
mod histogram;
mod labels;
mod lanes;
mod lengths;
mod page;
mod panels;
mod passage;
mod poles;
mod promise;
mod residuals;
mod shares;
mod source;
mod svg;
mod table;
mod trace;

pub use chatter::Chatter;
pub use curves::{Curves, Line, Place, Point};
pub use delays::Delays;
pub use discharge::{Discharge, Told};
pub use fall::Fall;
pub use feed_error::{FeedError, FeedPoint, Kind, Method};
pub use grades::{GradePoint, Grades};
pub use heat::HeatMap;
pub use histogram::{Bin, Histogram, Series};
pub use lengths::{Length, Lengths};
pub use passage::Passage;
pub use promise::{Kept, Promise, Promised};
pub use residuals::Residuals;
pub use shares::{Part, Shares};
pub use source::Source;
pub use table::{Column, Table};

use std::fmt::Write as _;
use std::mem::discriminant;
use svg::escape;

/// A report before it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Title of the document.
    pub title: String,
    /// What was asked, each a label and a value with its unit.
    pub asked: Vec<(String, String)>,
    /// The answer, in a sentence or two.
    pub lead: String,
    /// The figures of the answer, likewise.
    pub facts: Vec<(String, String)>,
    /// Where the data come from.
    pub origin: Origin,
    /// What there is to look at, in this order.
    pub sections: Vec<Section>,
    /// What limits the answer, a sentence each.
    pub limits: Vec<String>,
    /// The commands that give the same again.
    pub again: Vec<String>,
}

/// Where the data of a report come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Out of the program's own model, an invented scenario.
    Simulated,
    /// Out of a log that the user gave.
    Recorded,
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq)]
pub enum Section {
    /// The chatter of one touch.
    Chatter(Chatter),
    /// The fall of the light in one touch.
    Fall(Fall),
    /// Error against feed for several methods.
    FeedError(FeedError),
    /// Bias, spread and 99.9 % along a setting, with the bound.
    Curves(Curves),
    /// One value over two settings.
    HeatMap(HeatMap),
    /// Counts of durations.
    Histogram(Histogram),
    /// One touch on its way over a link.
    Passage(Passage),
    /// Output edges of a link against onset + delay.
    Delays(Delays),
    /// The clock of a link.
    Residuals(Residuals),
    /// The grade of a link over time.
    Grades(Grades),
    /// A pack of cells over its life.
    Discharge(Discharge),
    /// What touches measured.
    Lengths(Lengths),
    /// Error and overtravel over the feed, with what was asked.
    Promise(Promise),
    /// What an uncertainty is made of.
    Shares(Shares),
    /// Text to be copied.
    Source(Source),
    /// A table.
    Table(Table),
}

/// What every reader of lines has to know.
pub(crate) const LINES: &str =
    "A measuring signal, not a safety function; no performance level is claimed; guards \
     and emergency stop stay in charge.";

/// What stands at every verdict and every feed.
pub(crate) const CAUTION: &str =
    "Measuring signal, not a safety function; prove each program at reduced feed with the tool \
     clear; guards and emergency stop stay in charge.";

/// Said of everything that comes out of a model.
const INVENTED: &str =
    "Simulated data of an invented scenario: nothing here was measured on hardware.";

/// What every reader has to know before acting on a report.
const CAUTIONS: [&str; 3] = [
    "Prove every setting with the spindle stopped where possible, before relying on it.",
    "Local codes and licensed practice come first.",
    "A doubt is one standard uncertainty of the instant on the capture clock; it does not cover where the light \
     barrier stands or how the machine moves.",
];

const HELP_CHATTER: &str = "Times in µs from the onset. The tinted band is twice the standard uncertainty on either \
     side. Where edges lie too close to be told apart, the pale field shows that both levels occur and its solid \
     part the mean level. The lens in a panel marks what the panel below enlarges.";

const HELP_FALL: &str = "Light upwards, time in µs from the onset. The three tints, from the outside: guards, wide zone, \
     narrow zone. The narrow zone gives the early onset for a hard output; what the light does in the wide zone gives \
     the refined onset, once it is beyond the guard for a hold. The upright band is twice the standard uncertainty.";

const HELP_HISTOGRAM: &str =
    "Time, and counts where they go beyond 50, on logarithmic scales. Point at a bar to read \
     its count.";

const HELP_PASSAGE: &str = "Each stroke is a frame at the begin of its slot: beats at rest, one in every slot after the \
     edge was told. The touch line falls at onset + D, whatever was lost in between; READY would have fallen before a \
     touch could be late.";

const HELP_DELAYS: &str = "Zero is the onset that the barrier found, plus the constant delay D. The tinted band is the \
     greatest bound U that the link stated with any of these touches. Point at a bar to read its count.";

const HELP_RESIDUALS: &str = "After each frame accepted: the begin of its slot as the receiver has it, less the true one. \
     The axis is even up to 100 ns and by ratio beyond. Without a bound the clock is not locked, and READY is down.";

const HELP_GRADES: &str = "Falls by ratio. Good: READY will fall less than once in a hundred hours; fair: less than once \
     an hour; poor: more often. A grade falls at once and rises only after calm.";

const HELP_DISCHARGE: &str =
    "The question is whether the cells last the run. Yes needs both bounds above it; cannot tell \
     is to be read as no.";

const HELP_LENGTHS: &str = "A longer tool lies higher. What all touches of a cycle share is not in the strokes: it is in the \
     budget below. Touches on different spots that agree, held and released where they were made, are the evidence.";

const HELP_PROMISE: &str = "Both axes go by ratio. Where a line crosses what was asked for, the feed ends; the upright \
     line that is not dotted is the feed advised, and the diamonds are what the simulation found there.";

const HELP_SHARES: &str = "Bars are shares of the variance; lengths are standard uncertainties. Twice as much of a small \
     one changes next to nothing.";

const HELP_CURVES: &str = "Errors are lengths along the path. The bound is the closed form of the least standard \
     deviation that one bit of light allows where the comparator has no hysteresis; beside the 99.9 % stands 3.29 \
     times that.";

const HELP_HEAT: &str =
    "The stronger the tint, the larger the value, by ratio. Point at a cell to read it.";

impl Report {
    /// The report as an HTML document.
    #[must_use]
    pub fn html(&self) -> String {
        let mut body = format!(
            "<header>\n{}\n<h1>{}</h1>\n",
            page::device(),
            escape(&self.title)
        );
        body += "</header>\n<main>\n";
        self.asked_and_answered(&mut body);
        for (k, section) in self.sections.iter().enumerate() {
            let alike = |other: &Section| discriminant(other) == discriminant(section);
            section.write(
                &mut body,
                &format!("s{k}"),
                !self.sections[..k].iter().any(alike),
            );
        }
        list(&mut body, "What limits it", &self.limits);
        self.cautions(&mut body);
        self.commands(&mut body);
        body += "</main>\n";
        page::document(&self.title, &body)
    }

    fn asked_and_answered(&self, body: &mut String) {
        if !self.asked.is_empty() {
            body.push_str("<section>\n<h2>What was asked</h2>\n");
            facts(body, &self.asked);
            body.push_str("</section>\n");
        }
        body.push_str("<section class=\"answer\">\n<h2>Answer</h2>\n");
        let _ = writeln!(body, "<p class=\"lead\">{}</p>", escape(&self.lead));
        if self.origin == Origin::Simulated {
            let _ = writeln!(body, "<p><strong>{INVENTED}</strong></p>");
        }
        let _ = writeln!(body, "<p class=\"caution\">{CAUTION}</p>");
        facts(body, &self.facts);
        body.push_str("</section>\n");
    }

    fn commands(&self, body: &mut String) {
        if self.again.is_empty() {
            return;
        }
        body.push_str("<section>\n<h2>To repeat it</h2>\n");
        for command in &self.again {
            let _ = writeln!(body, "<pre tabindex=\"0\">{}</pre>", escape(command));
        }
        body.push_str("<p class=\"note\">The same input gives the same figures to the last digit, on any machine and any number of threads.</p>\n</section>\n");
    }

    fn cautions(&self, body: &mut String) {
        body.push_str("<aside>\n<h2>Before you rely on this</h2>\n<ul>\n");
        for caution in CAUTIONS {
            let _ = writeln!(body, "<li>{caution}</li>");
        }
        if self.sections.iter().any(Section::is_of_link) {
            let _ = writeln!(body, "<li>{LINES}</li>");
        }
        body.push_str("</ul>\n</aside>\n");
    }
}

impl Section {
    /// Whether it shows a link and its lines, or what is concluded from them.
    fn is_of_link(&self) -> bool {
        matches!(
            self,
            Self::Passage(_)
                | Self::Delays(_)
                | Self::Residuals(_)
                | Self::Grades(_)
                | Self::Discharge(_)
                | Self::Lengths(_)
        )
    }

    /// Appends the section to `body`; `id` keeps its names apart from those of others. The `first` of its kind tells
    /// how to read it.
    fn write(&self, body: &mut String, id: &str, first: bool) {
        let help = |text: &str| {
            if first {
                text.to_owned()
            } else {
                String::new()
            }
        };
        let (title, caption, picture, help) = match self {
            Self::Chatter(p) => (&p.title, &p.caption, p.svg(id), help(HELP_CHATTER)),
            Self::Fall(p) => (&p.title, &p.caption, p.svg(id), help(HELP_FALL)),
            Self::FeedError(p) => {
                let help = format!("Lines with marks: mean error. Bands: {}.", p.spread);
                (&p.title, &p.caption, p.svg(id), help)
            }
            Self::Curves(p) => (&p.title, &p.caption, p.svg(id), help(HELP_CURVES)),
            Self::HeatMap(p) => (&p.title, &p.caption, p.svg(id), help(HELP_HEAT)),
            Self::Histogram(p) => (&p.title, &p.caption, p.svg(id), help(HELP_HISTOGRAM)),
            Self::Passage(p) => (&p.title, &p.caption, p.svg(id), help(HELP_PASSAGE)),
            Self::Delays(p) => (&p.title, &p.caption, p.svg(id), help(HELP_DELAYS)),
            Self::Residuals(p) => (&p.title, &p.caption, p.svg(id), help(HELP_RESIDUALS)),
            Self::Grades(p) => (&p.title, &p.caption, p.svg(id), help(HELP_GRADES)),
            Self::Discharge(p) => (&p.title, &p.caption, p.svg(id), help(HELP_DISCHARGE)),
            Self::Lengths(p) => (&p.title, &p.caption, p.svg(id), help(HELP_LENGTHS)),
            Self::Promise(p) => (&p.title, &p.caption, p.svg(id), help(HELP_PROMISE)),
            Self::Shares(p) => (&p.title, &p.caption, p.svg(id), help(HELP_SHARES)),
            Self::Source(source) => {
                body.push_str(&source.html());
                return;
            }
            Self::Table(table) => {
                let _ = writeln!(body, "<section>\n<h2>{}</h2>", escape(&table.title));
                if !table.caption.is_empty() {
                    let _ = writeln!(body, "<p class=\"note\">{}</p>", escape(&table.caption));
                }
                body.push_str(&table.html());
                body.push_str("</section>\n");
                return;
            }
        };
        figure(body, title, caption, &picture, &help);
    }
}

fn facts(body: &mut String, facts: &[(String, String)]) {
    if facts.is_empty() {
        return;
    }
    body.push_str("<dl>\n");
    for (label, value) in facts {
        let (label, value) = (escape(label), escape(value));
        let _ = writeln!(body, "<div><dt>{label}</dt><dd>{value}</dd></div>");
    }
    body.push_str("</dl>\n");
}

fn list(body: &mut String, title: &str, items: &[String]) {
    if items.is_empty() {
        return;
    }
    let _ = writeln!(body, "<section>\n<h2>{title}</h2>\n<ul>");
    for item in items {
        let _ = writeln!(body, "<li>{}</li>", escape(item));
    }
    body.push_str("</ul>\n</section>\n");
}

fn figure(body: &mut String, title: &str, caption: &str, picture: &str, help: &str) {
    let _ = writeln!(body, "<figure>\n<figcaption>\n<h2>{}</h2>", escape(title));
    if !caption.is_empty() {
        let _ = writeln!(body, "<p>{}</p>", escape(caption));
    }
    let _ = writeln!(body, "</figcaption>\n<div class=\"view\">\n{picture}</div>");
    if !help.is_empty() {
        let _ = writeln!(body, "<p class=\"help\">{}</p>", escape(help));
    }
    body.push_str("</figure>\n");
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod tests_sweep;
