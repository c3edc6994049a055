//! The even axis below a field, as many pictures share it.

use std::fmt::Write as _;

use super::axis::{decimals, number, Axis};
use super::svg::{c, Anchor, Drawing, TEXT, WIDTH};

/// Left and right end of the field in the pictures of a link.
pub(super) const LEFT: f64 = 84.0;
pub(super) const RIGHT: f64 = WIDTH - 14.0;

/// A line of this class beside its name, from `x` on above the field.
pub(super) fn legend(drawing: &mut Drawing, x: f64, class: &str, name: &str) {
    drawing.line(class, (x, 9.0), (x + 26.0, 9.0));
    drawing.text("strong", (x + 34.0, TEXT + 0.5), Anchor::Start, name);
}

/// A line through these places, as path data.
pub(super) fn course(places: impl Iterator<Item = (f64, f64)>) -> String {
    let mut path = String::new();
    let mut pen = 'M';
    for (x, y) in places {
        let _ = write!(path, "{pen}{} {}", c(x), c(y));
        pen = 'L';
    }
    path
}

/// Digits behind the point that tell these ticks apart.
pub(super) fn digits(ticks: &[f64]) -> usize {
    let step = ticks.windows(2).next();
    step.map_or(0, |pair| decimals(pair[1] - pair[0]))
}

/// Grid, ticks and their numbers.
pub(super) fn ruler(drawing: &mut Drawing, axis: &Axis, field: f64, base: f64) {
    let (from, to) = axis.range();
    // Long numbers need more room.
    let ticks = axis.ticks(if to.max(-from) < 1e5 { 8 } else { 4 });
    let digits = digits(&ticks);
    for &tick in &ticks {
        let x = axis.at(tick);
        drawing.line("grid", (x, field), (x, base));
        drawing.line("base", (x, base), (x, base + 5.0));
        drawing.text(
            "soft",
            (x, base + 20.0),
            Anchor::Middle,
            &number(tick, digits),
        );
    }
    drawing.line("base", (axis.at(from), base), (axis.at(to), base));
}
