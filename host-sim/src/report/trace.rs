//! The level of a line over a window of time, drawn so that its size does not grow with the number of edges.
//!
//! The window is cut into blocks. Where a block holds more edges than the picture can resolve, it is drawn as a
//! density bar: a tint because both levels occur, solid up to the mean level. Elsewhere the line steps.

use std::fmt::Write as _;

use super::axis::Axis;
use super::svg::{c, Drawing};

/// Width of a block, in units of the picture.
const BLOCK: f64 = 3.0;
/// Most edges that a block shows one by one.
const RESOLVED: usize = 3;

/// Where the trace lies.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place<'a> {
    /// Places of times.
    pub(super) time: &'a Axis,
    /// Left and right end, in units of the picture.
    pub(super) across: (f64, f64),
    /// Place of the high level.
    pub(super) high: f64,
    /// Place of the low level.
    pub(super) low: f64,
}

/// Draws `edges`, each a time on the axis and the level after it, in order of time.
pub(super) fn draw(drawing: &mut Drawing, edges: &[(f64, bool)], place: Place) {
    let placed = |edge: &(f64, bool)| (place.time.at(edge.0), edge.1);
    let (mut steps, mut tint, mut mean) = (String::new(), String::new(), String::new());
    let Some(&(_, first)) = edges.first() else {
        return;
    };
    let (begin, end) = place.time.range();
    let (before, mut rest) = edges.split_at(edges.partition_point(|edge| edge.0 < begin));
    let mut level = before.last().map_or(!first, |edge| edge.1);
    let height = |level: bool| if level { place.high } else { place.low };
    let (left, right) = place.across;
    let blocks = ((right - left) / BLOCK).round() as usize;
    let mut pen_down = false;
    for block in 0..blocks {
        let from = left + block as f64 * BLOCK;
        let to = if block + 1 == blocks {
            right
        } else {
            from + BLOCK
        };
        let within = rest.partition_point(|edge| edge.0 <= end && place.time.at(edge.0) < to);
        let (here, later) = rest.split_at(within);
        if here.len() > RESOLVED {
            if pen_down {
                let _ = write!(steps, "H{}", c(from));
                pen_down = false;
            }
            let share = high_time(here.iter().map(placed), level, (from, to)) / (to - from);
            let top = place.low + share.clamp(0.0, 1.0) * (place.high - place.low);
            let _ = write!(
                tint,
                "M{} {}H{}V{}H{}z",
                c(from),
                c(place.low),
                c(to),
                c(place.high),
                c(from)
            );
            let _ = write!(
                mean,
                "M{} {}H{}V{}H{}z",
                c(from),
                c(place.low),
                c(to),
                c(top),
                c(from)
            );
        } else {
            if !pen_down {
                let _ = write!(steps, "M{} {}", c(from), c(height(level)));
                pen_down = true;
            }
            for (x, after) in here.iter().map(placed) {
                let _ = write!(steps, "H{}V{}", c(x), c(height(after)));
            }
        }
        level = here.last().map_or(level, |edge| edge.1);
        rest = later;
    }
    if pen_down {
        let _ = write!(steps, "H{}", c(right));
    }
    drawing.path("both", &tint);
    drawing.path("mean", &mean);
    drawing.path("trace", &steps);
}

/// How much of `from..to` is spent at high, given the level at its begin and the edges in it.
fn high_time(
    edges: impl Iterator<Item = (f64, bool)>,
    mut level: bool,
    (from, to): (f64, f64),
) -> f64 {
    let (mut since, mut sum) = (from, 0.0);
    for (x, after) in edges.chain([(to, false)]) {
        if level {
            sum += x - since;
        }
        (since, level) = (x, after);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::axis::Scale;

    fn drawn(edges: &[(f64, bool)]) -> String {
        let time = Axis::new(Scale::Linear, (-100.0, 100.0), (0.0, 600.0));
        let mut drawing = Drawing::default();
        draw(
            &mut drawing,
            edges,
            Place {
                time: &time,
                across: (0.0, 600.0),
                high: 10.0,
                low: 50.0,
            },
        );
        drawing.finish("p", 60.0, "", "")
    }

    #[test]
    fn few_edges_are_one_stepped_line() {
        let svg = drawn(&[
            (-200.0, true),
            (-150.0, false),
            (-50.0, true),
            (0.0, false),
            (20.0, true),
            (300.0, false),
        ]);
        assert!(
            svg.contains("d=\"M0 50H150V10H300V50H360V10H600\""),
            "{svg}"
        );
        assert!(!svg.contains("both"));
    }

    #[test]
    fn the_picture_does_not_grow_with_the_edges() {
        let dense = |n: i32| {
            (0..n)
                .map(|k| (f64::from(k) * 100.0 / f64::from(n), k % 2 == 0))
                .collect::<Vec<_>>()
        };
        let (some, many) = (drawn(&dense(1000)), drawn(&dense(200_000)));
        assert!(many.contains("mean") && many.len() < some.len() * 11 / 10);
        // Half of the time is spent at high, so solid bars reach half way up.
        assert!(many.contains("V30H"), "{many}");
    }

    #[test]
    fn a_log_before_or_after_the_window_is_a_flat_line() {
        assert!(drawn(&[(-500.0, true)]).contains("M0 10H600"));
        assert!(drawn(&[(500.0, true)]).contains("M0 50H600"));
    }
}
