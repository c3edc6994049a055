//! How far the output edge is from onset + delay: counts over time, the delay and the bound marked.

use super::axis::{nice_step, number, prefixed, Axis, Scale};
use super::even::{ruler, LEFT, RIGHT};
use super::poles::{Mark, Poles};
use super::svg::{Anchor, Drawing, Shape, WIDTH};

/// Output edges of many touches over a link.
#[derive(Debug, Clone, PartialEq)]
pub struct Delays {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// From onset + delay to the output edge, ns.
    pub late_ns: Vec<f64>,
    /// The delay, ns.
    pub delay_ns: u64,
    /// Greatest bound that the link stated with any of them, ns.
    pub bound_ns: f64,
}

const FIELD: f64 = 190.0;
const FOOT: f64 = 42.0;
/// Bins across the field, about.
const BINS: usize = 60;

impl Delays {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let late: Vec<f64> = self
            .late_ns
            .iter()
            .copied()
            .filter(|late| late.is_finite())
            .collect();
        let bound = if self.bound_ns.is_finite() {
            self.bound_ns.abs()
        } else {
            0.0
        };
        let most = late
            .iter()
            .map(|late| late.abs())
            .fold(bound, f64::max)
            .clamp(1.0, 1e300);
        let axis = Axis::new(Scale::Linear, (-1.25 * most, 1.25 * most), (LEFT, RIGHT));
        let marks = marks(self.delay_ns, bound);
        let poles = Poles::new(&marks, &axis, (0.0, WIDTH));
        let field = poles.height() + 8.0;
        let base = field + FIELD;
        let mut drawing = Drawing::default();
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, FIELD));
        ruler(&mut drawing, &axis, field, base);
        let left = axis.at(-bound);
        drawing.rect("band onset", (left, field), (axis.at(bound) - left, FIELD));
        bars(&mut drawing, &late, &axis, (field, base));
        poles.draw(&mut drawing, 4.0, base);
        let foot = (f64::midpoint(LEFT, RIGHT), base + FOOT);
        drawing.text(
            "soft",
            foot,
            Anchor::Middle,
            "output edge after onset + D, ns",
        );
        drawing.finish(
            id,
            base + FOOT + 10.0,
            &self.title,
            &self.description(&late, bound),
        )
    }

    fn description(&self, late: &[f64], bound: f64) -> String {
        let most = late.iter().map(|late| late.abs()).fold(0.0, f64::max);
        format!(
            "{} touches, output edges at most {} from onset + {}; greatest bound stated {}.",
            late.len(),
            prefixed(most, "s"),
            prefixed(self.delay_ns as f64, "s"),
            prefixed(bound, "s"),
        )
    }
}

fn marks(delay_ns: u64, bound: f64) -> [Mark; 3] {
    let mark = |class, shape, at: f64, label: String| Mark {
        class,
        shape,
        at,
        label,
    };
    [
        mark("confirm", Shape::Square, -bound, "\u{2212}U".to_owned()),
        mark(
            "onset",
            Shape::Diamond,
            0.0,
            format!("D {}", prefixed(delay_ns as f64, "s")),
        ),
        mark(
            "confirm",
            Shape::Square,
            bound,
            format!("U {}", prefixed(bound, "s")),
        ),
    ]
}

fn bars(drawing: &mut Drawing, late: &[f64], axis: &Axis, (field, base): (f64, f64)) {
    let (from, to) = axis.range();
    let step = nice_step(to - from, BINS);
    let mut counts = vec![0_u64; ((to - from) / step).ceil() as usize + 1];
    let first = (from / step).floor();
    for value in late {
        let bin = ((value / step).floor() - first) as usize;
        if let Some(count) = counts.get_mut(bin) {
            *count += 1;
        }
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let up = Axis::new(Scale::Linear, (0.0, most as f64 * 1.08), (base, field));
    for tick in up.ticks(5).into_iter().filter(|tick| tick.fract() == 0.0) {
        drawing.line("grid", (LEFT, up.at(tick)), (RIGHT, up.at(tick)));
        let at = (LEFT - 8.0, up.at(tick) + 4.5);
        drawing.text("soft", at, Anchor::End, &number(tick, 0));
    }
    for (k, &count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
        let begin = (first + k as f64) * step;
        let (left, right) = (axis.at(begin) + 0.6, axis.at(begin + step) - 0.6);
        let hint = format!(
            "{} to {}: {count}",
            prefixed(begin, "s"),
            prefixed(begin + step, "s")
        );
        let y = up.at(count as f64);
        drawing.rect_with_hint("bar", (left, y), ((right - left).max(0.8), base - y), &hint);
    }
    drawing.line("base", (LEFT, base), (RIGHT, base));
}
