//! How far the receiver's idea of the probe's time is off, over time, between the bounds stated with it.

use std::fmt::Write as _;

use super::axis::{prefixed, Axis, Scale};
use super::even::{legend, ruler, LEFT, RIGHT};
use super::svg::{c, Anchor, Drawing, TEXT};

/// A receiver's clock over a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Residuals {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// After each frame, in order of time: when (ns), how far off (ns), and the bound stated (ns), if any.
    pub points: Vec<(i64, f64, Option<f64>)>,
}

const FIELD: f64 = 200.0;
const LEGEND: f64 = 28.0;
const FOOT: f64 = 42.0;
/// Up to here the axis is even, ns.
const EVEN_NS: f64 = 100.0;
/// Stretches of time that are told apart.
const COLUMNS: usize = 300;

/// All points of a stretch of time.
#[derive(Clone, Copy)]
struct Stretch {
    low: f64,
    high: f64,
    bound: Option<f64>,
}

impl Residuals {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let points: Vec<_> = self
            .points
            .iter()
            .filter(|point| point.1.is_finite())
            .collect();
        let zero = points.first().map_or(0, |point| point.0);
        let seconds = |at: i64| (i128::from(at) - i128::from(zero)) as f64 / 1e9;
        let end = points
            .iter()
            .map(|point| seconds(point.0))
            .fold(0.0, f64::max);
        let time = Axis::new(Scale::Linear, (0.0, end), (LEFT, RIGHT));
        let mut stretches: Vec<Option<Stretch>> = vec![None; COLUMNS + 1];
        for point in &points {
            let share = (time.at(seconds(point.0)) - LEFT) / (RIGHT - LEFT);
            let place = (share * COLUMNS as f64) as usize;
            if let Some(stretch) = stretches.get_mut(place) {
                *stretch = Some(Stretch::with(*stretch, point.1, point.2));
            }
        }
        let sizes = stretches
            .iter()
            .flatten()
            .flat_map(|s| [s.low.abs(), s.high.abs(), s.bound.unwrap_or(0.0)]);
        let most = sizes.fold(EVEN_NS, f64::max).min(1e300) * 1.3;
        let (field, base) = (LEGEND, LEGEND + FIELD);
        let up = Axis::new(
            Scale::SymLog { linear: EVEN_NS },
            (-most, most),
            (base, field),
        );
        let mut drawing = Drawing::default();
        legend(&mut drawing, LEFT, "course onset", "clock less truth");
        let bound = "\u{b1}U, as stated with each frame";
        legend(&mut drawing, LEFT + 170.0, "bound", bound);
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, FIELD));
        ruler(&mut drawing, &time, field, base);
        for tick in up.ticks(8).into_iter().chain([-EVEN_NS, EVEN_NS]) {
            let y = up.at(tick);
            let class = if tick == 0.0 { "base" } else { "grid" };
            drawing.line(class, (LEFT, y), (RIGHT, y));
        }
        names(&mut drawing, &up);
        draw(&mut drawing, &stretches, &up);
        let foot = (f64::midpoint(LEFT, RIGHT), base + FOOT);
        drawing.text("soft", foot, Anchor::Middle, "time from the first frame, s");
        drawing.finish(id, base + FOOT + 10.0, &self.title, &description(&points))
    }
}

impl Stretch {
    fn with(before: Option<Self>, off: f64, bound: Option<f64>) -> Self {
        let bound = bound.filter(|bound| bound.is_finite());
        before.map_or(
            Self {
                low: off,
                high: off,
                bound,
            },
            |before| Self {
                low: before.low.min(off),
                high: before.high.max(off),
                bound: match (before.bound, bound) {
                    (Some(a), Some(b)) => Some(a.max(b)),
                    (a, b) => a.or(b),
                },
            },
        )
    }
}

/// Names of the levels; zero first, so that it keeps its name where names would meet.
fn names(drawing: &mut Drawing, up: &Axis) {
    let mut ticks = up.ticks(8);
    ticks.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    let mut named: Vec<f64> = Vec::new();
    for tick in ticks {
        let y = up.at(tick);
        if named.iter().all(|other| (other - y).abs() > TEXT) {
            let label = if tick == 0.0 {
                "0".to_owned()
            } else {
                prefixed(tick, "s")
            };
            drawing.text("soft", (LEFT - 8.0, y + 4.5), Anchor::End, &label);
            named.push(y);
        }
    }
}

fn draw(drawing: &mut Drawing, stretches: &[Option<Stretch>], up: &Axis) {
    let width = (RIGHT - LEFT) / COLUMNS as f64;
    let (mut off, mut above, mut below) = (String::new(), String::new(), String::new());
    let mut pen = 'M';
    for (k, stretch) in stretches.iter().enumerate() {
        let Some(stretch) = stretch else {
            continue;
        };
        let x = (LEFT + (k as f64 + 0.5) * width).min(RIGHT);
        let (low, high) = (up.at(stretch.low), up.at(stretch.high));
        // A single point is drawn as long as it is wide.
        let _ = write!(off, "M{} {}V{}", c(x), c(low + 0.7), c(high - 0.7));
        if let Some(bound) = stretch.bound {
            let _ = write!(above, "{pen}{} {}", c(x), c(up.at(bound)));
            let _ = write!(below, "{pen}{} {}", c(x), c(up.at(-bound)));
            pen = 'L';
        }
    }
    drawing.path("course onset", &off);
    drawing.path("bound", &above);
    drawing.path("bound", &below);
}

fn description(points: &[&(i64, f64, Option<f64>)]) -> String {
    let stated = points.iter().filter_map(|point| Some((point.1, point.2?)));
    let (mut all, mut outside, mut most) = (0, 0, 0.0_f64);
    for (off, bound) in stated {
        all += 1;
        outside += usize::from(off.abs() > bound);
        most = most.max(off.abs());
    }
    format!(
        "{all} frames with a stated bound; the clock is at most {} off, outside its bound {outside} times.",
        prefixed(most, "s")
    )
}
