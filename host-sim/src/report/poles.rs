//! Instants worth a label: a pole in the plot, a spot at its foot, a flag above it.

use super::axis::Axis;
use super::labels::{self, Flag, Placed};
use super::svg::{text_width, Anchor, Drawing, Shape};

/// Height of a row of labels.
pub(super) const ROW: f64 = 20.0;

/// An instant worth a label, in the unit of the axis.
pub(super) struct Mark {
    pub(super) class: &'static str,
    pub(super) shape: Shape,
    pub(super) at: f64,
    pub(super) label: String,
}

/// Marks with places for their labels.
pub(super) struct Poles<'a> {
    marks: &'a [Mark],
    flags: Vec<Flag>,
    placed: Vec<Placed>,
}

impl<'a> Poles<'a> {
    /// Finds places for the labels between `lo` and `hi`.
    pub(super) fn new(marks: &'a [Mark], axis: &Axis, (lo, hi): (f64, f64)) -> Self {
        let flag = |mark: &Mark| Flag {
            pole: axis.at(mark.at),
            width: text_width(&mark.label) + 12.0,
        };
        let flags: Vec<_> = marks.iter().map(flag).collect();
        let placed = labels::place(&flags, lo, hi);
        Self {
            marks,
            flags,
            placed,
        }
    }

    /// Height of the labels.
    pub(super) fn height(&self) -> f64 {
        labels::rows(&self.placed) as f64 * ROW
    }

    /// Draws them, labels from `top` on, poles down to `base`.
    pub(super) fn draw(&self, drawing: &mut Drawing, top: f64, base: f64) {
        for ((mark, flag), label) in self.marks.iter().zip(&self.flags).zip(&self.placed) {
            let bottom = top + (label.row + 1) as f64 * ROW;
            drawing.line(
                &format!("pole {}", mark.class),
                (flag.pole, bottom - ROW + 3.0),
                (flag.pole, base),
            );
            drawing.mark(
                &format!("spot {}", mark.class),
                mark.shape,
                (flag.pole, base),
            );
            let (x, anchor) = if label.leftward {
                (label.right - 6.0, Anchor::End)
            } else {
                (label.left + 6.0, Anchor::Start)
            };
            drawing.text(
                &format!("halo {}", mark.class),
                (x, bottom - 5.0),
                anchor,
                &mark.label,
            );
        }
    }
}
