//! What each touch measured, with twice its doubt, before the window it must lie in.

use std::fmt::Write as _;

use super::axis::{decimals, number, Axis, Scale};
use super::even::{LEFT, RIGHT};
use super::svg::{c, Anchor, Drawing, Shape, TEXT};

/// One touch.
#[derive(Debug, Clone, PartialEq)]
pub struct Length {
    /// Its cycle, and its number in it.
    pub touch: (u32, usize),
    /// Its length less the middle, nm.
    pub off_nm: f64,
    /// One standard uncertainty of its own, nm; none where it is not known.
    pub doubt_nm: Option<f64>,
}

/// Touches of a cycle or of several.
#[derive(Debug, Clone, PartialEq)]
pub struct Lengths {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// What the lengths are counted from.
    pub from: String,
    /// The touches, in their order.
    pub touches: Vec<Length>,
    /// A whole tool lies between these, nm.
    pub window: Option<(f64, f64)>,
    /// Below this a tool is broken, nm.
    pub broken_below: Option<f64>,
}

const FIELD: f64 = 220.0;
const LEGEND: f64 = 46.0;
const FOOT: f64 = 42.0;
/// Touches that still get a name below them.
const NAMED: usize = 8;
/// Lengths drawn as they are, nm; those beyond stand at the rim.
const FURTHEST: f64 = 1e9;
/// Touches drawn, evenly out of all.
const MOST: usize = 400;

impl Lengths {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let all: Vec<&Length> = self
            .touches
            .iter()
            .filter(|touch| touch.off_nm.is_finite())
            .collect();
        let step = all.len().div_ceil(MOST).max(1);
        let drawn: Vec<&Length> = all.iter().copied().step_by(step).collect();
        let ends = drawn.iter().flat_map(|touch| {
            let wide = 2.0 * reach(touch);
            [touch.off_nm - wide, touch.off_nm + wide]
        });
        let marks = self
            .window()
            .into_iter()
            .flat_map(|(low, high)| [low, high]);
        let sizes = ends.chain(marks).chain(self.broken_below);
        let (low, high) = sizes
            .filter(|nm| nm.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), nm| {
                (low.min(nm), high.max(nm))
            });
        let (low, high) = (
            low.clamp(-FURTHEST, FURTHEST),
            high.clamp(-FURTHEST, FURTHEST),
        );
        let (low, high) = if low < high {
            (low, high)
        } else {
            (low - 1.0, low + 1.0)
        };
        let rim = (high - low) * 0.08;
        // In micrometres.
        let up = Axis::new(
            Scale::Linear,
            ((low - rim) / 1e3, (high + rim) / 1e3),
            (LEGEND + FIELD, LEGEND),
        );
        let mut drawing = Drawing::default();
        self.ground(&mut drawing, &up);
        let each = (RIGHT - LEFT) / drawn.len().max(1) as f64;
        for (k, touch) in drawn.iter().enumerate() {
            let x = LEFT + each * (k as f64 + 0.5);
            let at = |nm: f64| (x, up.at(nm.clamp(-FURTHEST, FURTHEST) / 1e3));
            let wide = 2.0 * reach(touch);
            drawing.line(
                "course onset",
                at(touch.off_nm - wide),
                at(touch.off_nm + wide),
            );
            if touch.doubt_nm.is_some() {
                drawing.mark("onset", Shape::Disc, at(touch.off_nm));
            } else {
                drawing.mark("spot truth", Shape::Cross, at(touch.off_nm));
            }
            if drawn.len() <= NAMED {
                let foot = (x, LEGEND + FIELD + 20.0);
                drawing.text("soft", foot, Anchor::Middle, &short(touch));
            }
        }
        let foot = (f64::midpoint(LEFT, RIGHT), LEGEND + FIELD + FOOT);
        let text = format!("touches in their order; \u{b5}m from {}", self.from);
        drawing.text("soft", foot, Anchor::Middle, &text);
        drawing.finish(id, LEGEND + FIELD + FOOT + 10.0, &self.title, &told(&all))
    }

    /// The window, if it has two ends.
    fn window(&self) -> Option<(f64, f64)> {
        self.window
            .filter(|(low, high)| low.is_finite() && high.is_finite())
    }

    fn ground(&self, drawing: &mut Drawing, up: &Axis) {
        let at = |nm: f64| up.at(nm.clamp(-FURTHEST, FURTHEST) / 1e3);
        drawing.rect("ground", (LEFT, LEGEND), (RIGHT - LEFT, FIELD));
        let first = "disc: touch with twice its doubt; cross: doubt not known";
        drawing.text("soft", (LEFT, TEXT + 0.5), Anchor::Start, first);
        let mut legend = Vec::new();
        if let Some((low, high)) = self.window() {
            let (top, foot) = (at(high), at(low));
            drawing.rect("band onset", (LEFT, top), (RIGHT - LEFT, foot - top));
            legend.push("tint: window of a whole tool");
        }
        let ticks = up.ticks(6);
        let digits = ticks
            .windows(2)
            .next()
            .map_or(0, |pair| decimals(pair[1] - pair[0]));
        for &tick in &ticks {
            let y = up.at(tick);
            drawing.line("grid", (LEFT, y), (RIGHT, y));
            let place = (LEFT - 8.0, y + TEXT / 3.0);
            drawing.text("soft", place, Anchor::End, &number(tick, digits));
        }
        if let Some(below) = self.broken_below.filter(|nm| nm.is_finite()) {
            let y = at(below);
            drawing.line("bound", (LEFT, y), (RIGHT, y));
            legend.push("dashes: broken below");
        }
        let second = (LEFT, TEXT + 18.5);
        drawing.text("soft", second, Anchor::Start, &legend.join("; "));
    }
}

/// For those who do not see it.
fn told(all: &[&Length]) -> String {
    let mut text = format!("{} touches.", all.len());
    for touch in all.iter().take(NAMED) {
        let _ = write!(text, " {}: {} nm", short(touch), c(touch.off_nm));
        match touch.doubt_nm {
            Some(doubt) => {
                let _ = write!(text, " \u{b1} {} nm.", c(doubt));
            }
            None => text += ", doubt not known.",
        }
    }
    text
}

/// A doubt that can be drawn, nm.
fn reach(touch: &Length) -> f64 {
    touch
        .doubt_nm
        .filter(|doubt| doubt.is_finite())
        .map_or(0.0, |doubt| doubt.abs().min(1e300))
}

/// A name that fits below a mark.
fn short(touch: &Length) -> String {
    let (cycle, number) = touch.touch;
    format!("{cycle}/{number}").chars().take(8).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::{check, no_overlap, report, NASTY};
    use super::super::Section;
    use super::*;

    #[test]
    fn whatever_was_measured_is_a_picture() {
        let odd = [
            0.0,
            -3.5,
            f64::NAN,
            f64::INFINITY,
            1e300,
            -1e300,
            f64::MAX,
            5e-324,
        ];
        for count in [0, 1, 2, 8, 9, 1_000] {
            for window in [None, Some((-20_000.0, 10_000.0)), Some((f64::NAN, 1e300))] {
                let touches = (0..count).map(|k| Length {
                    touch: (u32::MAX, k),
                    off_nm: odd[k % odd.len()],
                    doubt_nm: Some(odd[(k + 3) % odd.len()]).filter(|_| k % 3 > 0),
                });
                let lengths = Lengths {
                    title: NASTY.into(),
                    caption: NASTY.into(),
                    from: "30.0000 mm".into(),
                    touches: touches.collect(),
                    window,
                    broken_below: window.map(|(low, _)| low - 1.0),
                };
                no_overlap(&check(&report(vec![Section::Lengths(lengths)])));
            }
        }
    }
}
