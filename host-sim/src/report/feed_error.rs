//! Error of the onset against feed, one line with a band for each method.
//!
//! Errors reach from a few nm to several µm on either side of zero, so the axis is even about zero and goes by
//! decades beyond.

use std::fmt::Write as _;

use super::axis::{number, prefixed, Axis, Scale};
use super::svg::{c, text_width, Anchor, Drawing, Shape, WIDTH};

/// Errors of several methods over a range of feeds.
#[derive(Debug, Clone, PartialEq)]
pub struct FeedError {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// What the bands stand for, such as `±1 standard deviation`.
    pub spread: String,
    /// The methods; later ones lie on top.
    pub methods: Vec<Method>,
}

/// One method and its errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Method {
    /// Its name, as it stands beside its line.
    pub name: String,
    /// Which method it is; decides colour, mark and stroke.
    pub kind: Kind,
    /// Its errors. Points whose feed is not positive or that are not finite are left out.
    pub points: Vec<FeedPoint>,
}

/// The methods that are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The first edge.
    FirstEdge,
    /// N equal readings in a row.
    NInARow,
    /// The balance point of the chatter.
    BalancePoint,
}

/// Errors at one feed. An error is positive where the onset is reported late.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FeedPoint {
    /// Feed in mm/min.
    pub feed_mm_min: f64,
    /// Mean error in nm.
    pub bias_nm: f64,
    /// Lower end of the band in nm.
    pub low_nm: f64,
    /// Upper end of the band in nm.
    pub high_nm: f64,
}

const LEFT: f64 = 74.0;
const RIGHT: f64 = WIDTH - 16.0;
const TOP: f64 = 30.0;
const BOTTOM: f64 = 430.0;
/// Up to here the error axis is even, nm.
const EVEN_NM: f64 = 10.0;
/// Room beside the lines for their names.
const GAP: f64 = 14.0;
/// Least distance of two names.
const LEADING: f64 = 18.0;

/// A method as it is drawn: its usable points in order of feed.
struct Course<'a> {
    method: &'a Method,
    points: Vec<FeedPoint>,
}

impl Kind {
    pub(super) fn class(self) -> &'static str {
        match self {
            Self::FirstEdge => "first",
            Self::NInARow => "run",
            Self::BalancePoint => "onset",
        }
    }

    pub(super) fn shape(self) -> Shape {
        match self {
            Self::FirstEdge => Shape::Down,
            Self::NInARow => Shape::Square,
            Self::BalancePoint => Shape::Diamond,
        }
    }
}

impl FeedError {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let courses: Vec<_> = self.methods.iter().filter_map(Course::new).collect();
        let all = || courses.iter().flat_map(|course| &course.points);
        let most = |reach: fn(&FeedPoint) -> f64| all().map(reach).fold(0.0, f64::max);
        let limit =
            most(|p| p.low_nm.abs().max(p.high_nm.abs()).max(p.bias_nm.abs())).max(EVEN_NM) * 1.25;
        let fastest = most(|p| p.feed_mm_min);
        let slowest = all().map(|p| p.feed_mm_min).fold(fastest, f64::min);

        // Names stand at the slow end, where the methods differ most.
        let names = courses
            .iter()
            .map(|course| text_width(&course.method.name))
            .fold(0.0, f64::max)
            .min(200.0);
        let feed = Axis::new(
            Scale::Log,
            (slowest, fastest),
            (LEFT + names + 2.0 * GAP, RIGHT - GAP),
        );
        let error = Axis::new(
            Scale::SymLog { linear: EVEN_NM },
            (-limit, limit),
            (BOTTOM, TOP),
        );
        let mut drawing = Drawing::default();
        grid(&mut drawing, &feed, &error);
        for course in &courses {
            course.draw_band(&mut drawing, &feed, &error);
        }
        for course in &courses {
            course.draw_line(&mut drawing, &feed, &error);
        }
        let mut heights: Vec<_> = courses
            .iter()
            .map(|course| error.at(course.points[0].bias_nm))
            .collect();
        spread_out(&mut heights, LEADING, (TOP + 8.0, BOTTOM - 8.0));
        for (course, y) in courses.iter().zip(heights) {
            let begin = (
                feed.at(course.points[0].feed_mm_min),
                error.at(course.points[0].bias_nm),
            );
            let x = LEFT + GAP + names;
            drawing.line(
                &format!("rim {}", course.method.kind.class()),
                (x + 3.0, y),
                (begin.0 - 7.0, begin.1),
            );
            let class = format!("halo strong {}", course.method.kind.class());
            drawing.text(&class, (x, y + 4.5), Anchor::End, &course.method.name);
        }
        drawing.finish(id, BOTTOM + 46.0, &self.title, &self.description(&courses))
    }

    fn description(&self, courses: &[Course]) -> String {
        let mut text = format!("Mean error and band ({}) against feed.", self.spread);
        for course in courses {
            for point in [course.points.first(), course.points.last()]
                .into_iter()
                .flatten()
            {
                let _ = write!(
                    text,
                    " {} at {} mm/min: {}, band {} to {}.",
                    course.method.name,
                    point.feed_mm_min,
                    prefixed(point.bias_nm, "m"),
                    prefixed(point.low_nm, "m"),
                    prefixed(point.high_nm, "m"),
                );
            }
        }
        text
    }
}

impl<'a> Course<'a> {
    fn new(method: &'a Method) -> Option<Self> {
        let finite = |p: &FeedPoint| {
            [p.bias_nm, p.low_nm, p.high_nm, p.feed_mm_min]
                .iter()
                .all(|v| v.is_finite())
        };
        let usable = method
            .points
            .iter()
            .filter(|p| finite(p) && p.feed_mm_min > 0.0);
        let mut points: Vec<_> = usable.copied().collect();
        points.sort_by(|a, b| a.feed_mm_min.total_cmp(&b.feed_mm_min));
        (!points.is_empty()).then_some(Self { method, points })
    }

    fn draw_band(&self, drawing: &mut Drawing, feed: &Axis, error: &Axis) {
        let class = self.method.kind.class();
        let along = |reach: fn(&FeedPoint) -> f64| {
            let place =
                |p: &FeedPoint| format!("{} {}", c(feed.at(p.feed_mm_min)), c(error.at(reach(p))));
            self.points.iter().map(place).collect::<Vec<_>>()
        };
        let (upper, mut lower) = (along(|p| p.high_nm), along(|p| p.low_nm));
        drawing.path(
            &format!("rim {class}"),
            &format!("M{}M{}", upper.join("L"), lower.join("L")),
        );
        lower.reverse();
        drawing.path(
            &format!("band {class}"),
            &format!("M{}L{}z", upper.join("L"), lower.join("L")),
        );
    }

    fn draw_line(&self, drawing: &mut Drawing, feed: &Axis, error: &Axis) {
        let kind = self.method.kind;
        let place = |p: &FeedPoint| (feed.at(p.feed_mm_min), error.at(p.bias_nm));
        let path: Vec<_> = self
            .points
            .iter()
            .map(place)
            .map(|(x, y)| format!("{} {}", c(x), c(y)))
            .collect();
        drawing.path(
            &format!("course {}", kind.class()),
            &format!("M{}", path.join("L")),
        );
        for point in &self.points {
            drawing.mark(
                &format!("spot {}", kind.class()),
                kind.shape(),
                place(point),
            );
        }
    }
}

fn grid(drawing: &mut Drawing, feed: &Axis, error: &Axis) {
    drawing.rect("ground", (LEFT, TOP), (RIGHT - LEFT, BOTTOM - TOP));
    let (even_top, even_bottom) = (error.at(EVEN_NM), error.at(-EVEN_NM));
    drawing.rect(
        "wedge",
        (LEFT, even_top),
        (RIGHT - LEFT, even_bottom - even_top),
    );
    for tick in error.ticks(16) {
        let y = error.at(tick);
        drawing.line(
            if tick == 0.0 { "base" } else { "grid" },
            (LEFT, y),
            (RIGHT, y),
        );
        let sign = if tick > 0.0 { "+" } else { "" };
        let label = if tick == 0.0 {
            String::from("0")
        } else {
            format!("{sign}{}", prefixed(tick, "m"))
        };
        drawing.text("soft", (LEFT - 8.0, y + 4.5), Anchor::End, &label);
    }
    for tick in feed.ticks(10) {
        let x = feed.at(tick);
        drawing.line("grid", (x, TOP), (x, BOTTOM));
        drawing.line("base", (x, BOTTOM), (x, BOTTOM + 5.0));
        let digits = if tick < 1.0 {
            super::axis::decimals(tick)
        } else {
            0
        };
        drawing.text(
            "soft",
            (x, BOTTOM + 20.0),
            Anchor::Middle,
            &number(tick, digits),
        );
    }
    drawing.line("base", (LEFT, BOTTOM), (RIGHT, BOTTOM));
    drawing.text(
        "soft",
        (f64::midpoint(LEFT, RIGHT), BOTTOM + 40.0),
        Anchor::Middle,
        "feed, mm/min",
    );
    drawing.text(
        "soft",
        (LEFT, TOP - 12.0),
        Anchor::Start,
        "error of the onset: late above zero, early below",
    );
    drawing.text(
        "soft",
        (RIGHT, TOP - 12.0),
        Anchor::End,
        "even up to ±10 nm, decades beyond",
    );
}

/// Moves `heights` until neighbours are `least` apart, in the same order and between `lo` and `hi`.
fn spread_out(heights: &mut [f64], least: f64, (lo, hi): (f64, f64)) {
    let mut order: Vec<usize> = (0..heights.len()).collect();
    order.sort_by(|&a, &b| heights[a].total_cmp(&heights[b]));
    // Pushing both of a close pair by half of what is missing settles quickly for a handful of names.
    for _ in 0..200 {
        for pair in order.windows(2) {
            let missing = least - (heights[pair[1]] - heights[pair[0]]);
            if missing > 0.0 {
                heights[pair[0]] -= missing / 2.0;
                heights[pair[1]] += missing / 2.0;
            }
        }
    }
    let last = order.len().saturating_sub(1);
    for (k, &at) in order.iter().enumerate() {
        heights[at] = heights[at]
            .max(lo + k as f64 * least)
            .min(hi - (last - k) as f64 * least);
    }
}

#[cfg(test)]
mod tests {
    use super::spread_out;

    #[test]
    fn names_end_up_apart_and_in_order() {
        let mut heights = [100.0, 101.0, 100.5, 300.0];
        spread_out(&mut heights, 18.0, (90.0, 295.0));
        assert!(heights[2] - heights[0] > 17.9 && heights[1] - heights[2] > 17.9);
        assert!((heights[3] - 295.0).abs() < 1e-9 && heights[0] >= 90.0);
    }
}
