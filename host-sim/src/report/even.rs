//! The even axis below a field, as many pictures share it.

use super::axis::{decimals, number, Axis};
use super::svg::{Anchor, Drawing, WIDTH};

/// Left and right end of the field in the pictures of a link.
pub(super) const LEFT: f64 = 84.0;
pub(super) const RIGHT: f64 = WIDTH - 14.0;

/// Grid, ticks and their numbers.
pub(super) fn ruler(drawing: &mut Drawing, axis: &Axis, field: f64, base: f64) {
    let (from, to) = axis.range();
    // Long numbers need more room.
    let ticks = axis.ticks(if to.max(-from) < 1e5 { 8 } else { 4 });
    let digits = ticks
        .windows(2)
        .next()
        .map_or(0, |pair| decimals(pair[1] - pair[0]));
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
