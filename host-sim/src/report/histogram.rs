//! How long things last: counts over time on a logarithmic axis, one panel a series.

use super::axis::{number, prefixed, Axis, Scale};
use super::svg::{Anchor, Drawing, TEXT, WIDTH};

/// Counts of durations in bins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Histogram {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// What was counted, a panel each over the same axis of time.
    pub series: Vec<Series>,
}

/// One panel of a histogram.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series {
    /// What it counts.
    pub name: String,
    /// Its bins. Empty ones may be left out.
    pub bins: Vec<Bin>,
}

/// One bin of a histogram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bin {
    /// Shortest duration in the bin, ns.
    pub from_ns: u64,
    /// Longest duration in the bin, ns.
    pub to_ns: u64,
    /// How many there were.
    pub count: u64,
}

const LEFT: f64 = 74.0;
const RIGHT: f64 = WIDTH - 16.0;
const PANEL: f64 = 120.0;
/// From the top of a panel's name to its field, and from its field to the next name.
const HEAD: f64 = 26.0;
const FOOT: f64 = 16.0;
/// Counts beyond this share a logarithmic axis, so that a rare bin still shows.
const EVEN_COUNTS: u64 = 50;
/// Most marks on the axis of counts.
const COUNTS: usize = 5;

impl Bin {
    /// The stretch of time that the bin covers on the axis, which begins at 1 ns.
    fn stretch(self) -> (f64, f64) {
        (
            self.from_ns.max(1) as f64,
            (self.to_ns.max(self.from_ns) as f64 + 1.0).max(2.0),
        )
    }
}

impl Histogram {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let filled = || {
            self.series
                .iter()
                .flat_map(|s| &s.bins)
                .filter(|bin| bin.count > 0)
        };
        let longest = filled().map(|bin| bin.stretch().1).fold(1.0, f64::max);
        let shortest = filled().map(|bin| bin.stretch().0).fold(longest, f64::min);
        let time = Axis::new(Scale::Log, (shortest, longest), (LEFT, RIGHT));
        let most = filled().map(|bin| bin.count).max().unwrap_or(1);
        let mut drawing = Drawing::default();
        let mut top = 2.0;
        for series in &self.series {
            draw(&mut drawing, series, &time, most, top);
            top += HEAD + PANEL + FOOT;
        }
        for tick in marks(&time) {
            let (x, base) = (time.at(tick), top - FOOT);
            drawing.line("base", (x, base), (x, base + 5.0));
            drawing.text(
                "soft",
                (x, base + 20.0),
                Anchor::Middle,
                &prefixed(tick, "s"),
            );
        }
        drawing.text(
            "soft",
            (f64::midpoint(LEFT, RIGHT), top + 24.0),
            Anchor::Middle,
            "duration",
        );
        drawing.finish(id, top + 32.0, &self.title, &self.description())
    }

    fn description(&self) -> String {
        let one = |series: &Series| {
            let filled = || series.bins.iter().filter(|bin| bin.count > 0);
            let total: u64 = filled().fold(0, |sum, bin| sum.saturating_add(bin.count));
            let range = filled()
                .map(|bin| bin.from_ns)
                .min()
                .zip(filled().map(|bin| bin.to_ns).max());
            let range = range.map_or(String::new(), |(from, to)| {
                format!(
                    ", from {} to {}",
                    prefixed(from as f64, "s"),
                    prefixed(to as f64, "s")
                )
            });
            format!("{}: {total}{range}.", series.name)
        };
        self.series.iter().map(one).collect::<Vec<_>>().join(" ")
    }
}

/// Times that get a mark. Thousands of seconds are long to write and need more room.
fn marks(time: &Axis) -> Vec<f64> {
    time.ticks(if time.range().1 > 1e13 { 6 } else { 10 })
}

fn draw(drawing: &mut Drawing, series: &Series, time: &Axis, most: u64, top: f64) {
    let (field, base) = (top + HEAD, top + HEAD + PANEL);
    let even = most <= EVEN_COUNTS;
    // A single count must show as a bar, so a logarithmic axis begins below 1.
    let count = if even {
        Axis::new(Scale::Linear, (0.0, most as f64 * 1.08), (base, field))
    } else {
        Axis::new(Scale::Log, (0.6, most as f64 * 1.5), (base, field))
    };
    drawing.text("strong", (LEFT, top + TEXT), Anchor::Start, &series.name);
    drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, PANEL));
    for tick in marks(time) {
        drawing.line("grid", (time.at(tick), field), (time.at(tick), base));
    }
    for tick in count
        .ticks(COUNTS)
        .into_iter()
        .filter(|tick| tick.fract() == 0.0)
    {
        drawing.line("grid", (LEFT, count.at(tick)), (RIGHT, count.at(tick)));
        drawing.text(
            "soft",
            (LEFT - 8.0, count.at(tick) + 4.5),
            Anchor::End,
            &number(tick, 0),
        );
    }
    for bin in series.bins.iter().filter(|bin| bin.count > 0) {
        let (from, to) = bin.stretch();
        let (left, right) = (time.at(from) + 0.8, time.at(to) - 0.8);
        let y = count.at(bin.count as f64);
        let (shortest, longest) = (prefixed(from, "s"), prefixed(to, "s"));
        let hint = format!("{shortest} to {longest}: {}", bin.count);
        drawing.rect_with_hint("bar", (left, y), ((right - left).max(1.0), base - y), &hint);
    }
    drawing.line("base", (LEFT, base), (RIGHT, base));
}
