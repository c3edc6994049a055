//! What a feed does, and what was asked of it: a panel each for error and overtravel, over the same feeds.

use std::fmt::Write as _;

use super::axis::{number, prefixed, Axis, Scale};
use super::even::{LEFT, RIGHT};
use super::svg::{c, text_width, Anchor, Drawing, Shape, TEXT};

/// Error and overtravel over the feed, with both limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Promise {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// By theory, in order of feed.
    pub points: Vec<Promised>,
    /// What was asked for.
    pub asked: Kept,
    /// The feed advised, mm/min.
    pub feed_mm_min: f64,
    /// The slowest that takes hardly longer, mm/min.
    pub calm_mm_min: f64,
    /// At the feed advised, simulated.
    pub simulated: Kept,
    /// The feed of the overtravel simulated, mm/min: of two touches the first.
    pub stopped_mm_min: f64,
}

/// A feed and what 99.9 % of touches keep there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Promised {
    /// The feed, mm/min.
    pub feed_mm_min: f64,
    /// What they keep.
    pub kept: Kept,
}

/// Two lengths that must not be exceeded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept {
    /// Error of a touch, nm.
    pub error_nm: f64,
    /// Way from contact to standstill, nm.
    pub overtravel_nm: f64,
}

const LEGEND: f64 = 30.0;
const HEAD: f64 = 26.0;
const PANEL: f64 = 170.0;
const GAP: f64 = 16.0;
const FOOT: f64 = 44.0;
/// Lengths drawn, nm: what lies beyond is laid on the edge.
const RANGE: (f64, f64) = (1e-3, 1e12);

type Of = fn(&Kept) -> f64;

impl Promise {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let usable = |feed: f64| feed.is_finite() && feed > 1e-6 && feed < 1e12;
        let points = self.points.iter().filter(|point| usable(point.feed_mm_min));
        let points: Vec<&Promised> = points.collect();
        let feeds = || points.iter().map(|point| point.feed_mm_min);
        let across = Axis::new(
            Scale::Log,
            (
                feeds().fold(f64::INFINITY, f64::min),
                feeds().fold(0.0, f64::max),
            ),
            (LEFT, RIGHT),
        );
        let mut drawing = Drawing::default();
        legend(&mut drawing);
        let mut top = LEGEND;
        let panels: [(&str, Of, f64); 2] = [
            (
                "error of a touch: 99.9 % are smaller",
                |kept| kept.error_nm,
                self.feed_mm_min,
            ),
            (
                "overtravel: 99.9 % stop sooner",
                |kept| kept.overtravel_nm,
                self.stopped_mm_min,
            ),
        ];
        for (name, of, simulated_at) in panels {
            self.panel(
                &mut drawing,
                &across,
                top,
                &points,
                (name, of, simulated_at),
            );
            top += HEAD + PANEL + GAP;
        }
        let base = top - GAP;
        let mut free = 0.0;
        for tick in across.ticks(8) {
            let (x, name) = (across.at(tick), number(tick, usize::from(tick < 1.0) * 3));
            drawing.line("base", (x, base), (x, base + 5.0));
            let half = 0.5 * text_width(&name);
            if x - half >= free {
                drawing.text("soft", (x, base + 20.0), Anchor::Middle, &name);
                free = x + half + 8.0;
            }
        }
        let foot = (f64::midpoint(LEFT, RIGHT), base + FOOT - 2.0);
        drawing.text("soft", foot, Anchor::Middle, "feed, mm/min");
        drawing.finish(id, base + FOOT + 8.0, &self.title, &self.description())
    }

    fn panel(
        &self,
        drawing: &mut Drawing,
        across: &Axis,
        top: f64,
        points: &[&Promised],
        (name, of, simulated_at): (&str, Of, f64),
    ) {
        let sane = |length: f64| Some(length.clamp(RANGE.0, RANGE.1)).filter(|l| l.is_finite());
        let shown = points.iter().filter_map(|point| sane(of(&point.kept)));
        let all: Vec<f64> = shown
            .chain(
                [&self.asked, &self.simulated]
                    .into_iter()
                    .filter_map(|kept| sane(of(kept))),
            )
            .collect();
        let low = all.iter().copied().fold(f64::INFINITY, f64::min) * 0.8;
        let high = all.iter().copied().fold(0.0, f64::max) * 1.4;
        let (field, base) = (top + HEAD, top + HEAD + PANEL);
        let up = Axis::new(Scale::Log, (low, high), (base, field));
        drawing.text("strong", (LEFT, top + TEXT), Anchor::Start, name);
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, PANEL));
        let mut named = f64::INFINITY;
        for tick in up.ticks(6) {
            let y = up.at(tick);
            drawing.line("grid", (LEFT, y), (RIGHT, y));
            if (named - y).abs() > TEXT + 2.0 {
                drawing.text(
                    "soft",
                    (LEFT - 8.0, y + 4.5),
                    Anchor::End,
                    &prefixed(tick, "m"),
                );
                named = y;
            }
        }
        for (feed, class) in [
            (self.feed_mm_min, "pole onset"),
            (self.calm_mm_min, "pole truth"),
        ] {
            if across.holds(feed) {
                let x = across.at(feed);
                drawing.line(class, (x, field), (x, base));
            }
        }
        if let Some(asked) = sane(of(&self.asked)) {
            drawing.line("bound", (LEFT, up.at(asked)), (RIGHT, up.at(asked)));
        }
        let (mut path, mut pen) = (String::new(), 'M');
        for point in points {
            let Some(length) = sane(of(&point.kept)) else {
                pen = 'M';
                continue;
            };
            let _ = write!(
                path,
                "{pen}{} {}",
                c(across.at(point.feed_mm_min)),
                c(up.at(length))
            );
            pen = 'L';
        }
        drawing.path("course onset", &path);
        if let Some(length) = sane(of(&self.simulated)).filter(|_| across.holds(simulated_at)) {
            let at = (across.at(simulated_at), up.at(length));
            drawing.mark("spot onset", Shape::Diamond, at);
        }
        drawing.line("base", (LEFT, base), (RIGHT, base));
    }

    fn description(&self) -> String {
        let told = |kept: &Kept| {
            format!(
                "error {}, overtravel {}",
                prefixed(kept.error_nm, "m"),
                prefixed(kept.overtravel_nm, "m")
            )
        };
        format!(
            "Asked for: {}. Simulated at {} mm/min: {}. {} mm/min takes hardly longer.",
            told(&self.asked),
            number(self.feed_mm_min, 1),
            told(&self.simulated),
            number(self.calm_mm_min, 1)
        )
    }
}

fn legend(drawing: &mut Drawing) {
    let mut x = LEFT;
    for (class, name) in [
        ("course onset", "theory"),
        ("bound", "asked for"),
        ("pole onset", "feed advised"),
        ("pole truth", "calm feed"),
    ] {
        drawing.line(class, (x, 9.0), (x + 26.0, 9.0));
        drawing.text("strong", (x + 34.0, TEXT + 0.5), Anchor::Start, name);
        x += 34.0 + text_width(name) + 26.0;
    }
    drawing.mark("spot onset", Shape::Diamond, (x + 8.0, 9.0));
    drawing.text("strong", (x + 24.0, TEXT + 0.5), Anchor::Start, "simulated");
}
