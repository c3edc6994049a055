//! What an uncertainty is made of: a bar for each contribution.

use super::axis::{number, prefixed};
use super::svg::{text_width, Anchor, Drawing, WIDTH};

/// Contributions to an uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Shares {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// The contributions, the largest first.
    pub parts: Vec<Part>,
}

/// One contribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What it comes from.
    pub source: String,
    /// Its standard uncertainty, nm.
    pub u_nm: f64,
    /// Its share of the variance, 0 to 1.
    pub share: f64,
}

const TOP: f64 = 8.0;
const ROW: f64 = 30.0;
const BAR: f64 = 16.0;
const RIGHT: f64 = WIDTH - 150.0;
/// Room for the names at most.
const NAMES: f64 = 260.0;
/// How much wider bold text is.
const BOLD: f64 = 1.12;
/// Contributions drawn at most.
const SHOWN: usize = 20;

impl Shares {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let parts = || self.parts.iter().take(SHOWN);
        let widest = parts()
            .map(|part| text_width(&part.source))
            .fold(0.0, f64::max);
        let left = widest.min(NAMES) * BOLD + 16.0;
        let mut drawing = Drawing::default();
        let mut top = TOP;
        for part in parts() {
            let share = if part.share.is_finite() {
                part.share.clamp(0.0, 1.0)
            } else {
                0.0
            };
            let line = top + 0.5 * BAR + 4.5;
            drawing.text("strong", (left - 12.0, line), Anchor::End, &part.source);
            drawing.rect("ground", (left, top), (RIGHT - left, BAR));
            drawing.rect_with_hint(
                "bar",
                (left, top),
                (((RIGHT - left) * share).max(1.0), BAR),
                &said(part, share),
            );
            let told = format!("{} %, {}", percent(share), length(part.u_nm));
            drawing.text("soft", (RIGHT + 10.0, line), Anchor::Start, &told);
            top += ROW;
        }
        drawing.finish(id, top + 4.0, &self.title, &self.description())
    }

    fn description(&self) -> String {
        let all = self.parts.iter().take(SHOWN);
        let all: Vec<String> = all
            .map(|part| said(part, part.share.clamp(0.0, 1.0)))
            .collect();
        all.join(" ")
    }
}

fn said(part: &Part, share: f64) -> String {
    format!(
        "{}: {} % of the variance, {}.",
        part.source,
        percent(share),
        length(part.u_nm)
    )
}

fn percent(share: f64) -> String {
    let share = if share.is_finite() { share } else { 0.0 };
    number(share * 1e2, usize::from(share < 0.1))
}

fn length(nm: f64) -> String {
    prefixed(
        if nm.is_finite() {
            nm.clamp(0.0, 1e12)
        } else {
            0.0
        },
        "m",
    )
}
