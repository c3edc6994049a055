//! Lanes below a field: which of a few words held when.

use super::axis::Axis;
use super::even::LEFT;
use super::svg::{Anchor, Drawing};

/// Height of a lane, and of what is drawn in it.
const LANE: f64 = 22.0;
const BAR: f64 = 12.0;

/// Height of so many lanes.
pub(super) fn height(lanes: usize) -> f64 {
    lanes as f64 * LANE
}

/// Draws the lanes named `names` from `top` on. `steps` are instants and the lane that holds from there to the next
/// of them, the last one to `end`.
pub(super) fn draw(
    drawing: &mut Drawing,
    axis: &Axis,
    top: f64,
    names: &[&str],
    steps: &[(f64, usize)],
    end: f64,
) {
    let middle = |lane: usize| top + (lane as f64 + 0.5) * LANE;
    for (lane, name) in names.iter().enumerate() {
        let at = (LEFT - 10.0, middle(lane) + 4.5);
        drawing.text("soft", at, Anchor::End, name);
    }
    let ends = steps.iter().skip(1).map(|step| step.0).chain([end]);
    let mut open: Option<(f64, usize, f64)> = None;
    let bar = |drawing: &mut Drawing, (from, lane, to): (f64, usize, f64)| {
        let (left, right) = (axis.at(from), axis.at(to));
        if lane >= names.len() {
            return;
        }
        let corner = (left, middle(lane) - BAR / 2.0);
        drawing.rect("bar", corner, (right - left, BAR));
    };
    for (&(from, lane), to) in steps.iter().zip(ends) {
        open = match open {
            Some((begin, same, _)) if same == lane => Some((begin, lane, to)),
            before => {
                if let Some(stretch) = before {
                    bar(drawing, stretch);
                }
                Some((from, lane, to))
            }
        };
    }
    if let Some(stretch) = open {
        bar(drawing, stretch);
    }
}
