//! One value over two settings: a grid of cells, each with its value in it; the tint only helps the eye.

use super::axis::prefixed;
use super::svg::{text_width, Anchor, Drawing, WIDTH};

/// A length over two settings.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatMap {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// Name of the setting that changes from column to column.
    pub across: String,
    /// Its values.
    pub columns: Vec<String>,
    /// Name of the setting that changes from row to row.
    pub down: String,
    /// Its values.
    pub rows: Vec<String>,
    /// Value of each cell, nm, row by row; none where there is none.
    pub cells: Vec<Vec<Option<f64>>>,
}

const RIGHT: f64 = WIDTH - 16.0;
const ROW: f64 = 34.0;
const TOP: f64 = 44.0;
/// Widest names of rows.
const NAMES: f64 = 230.0;
/// Tints from pale to strong.
const TINTS: f64 = 7.0;

impl HeatMap {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let names = self.rows.iter().map(|name| text_width(name));
        let left = 16.0 + names.fold(text_width(&self.down), f64::max).min(NAMES);
        let width = (RIGHT - left) / self.columns.len().max(1) as f64;
        let values = || self.cells.iter().flatten().flatten().map(|v| v.abs());
        let finite = || values().filter(|v| v.is_finite() && *v > 0.0);
        let (least, most) = (
            finite().fold(f64::INFINITY, f64::min),
            finite().fold(0.0, f64::max),
        );
        let mut drawing = Drawing::default();
        let middle = f64::midpoint(left, RIGHT);
        drawing.text(
            "soft",
            (middle, 13.0),
            Anchor::Middle,
            &cut(&self.across, RIGHT - left),
        );
        drawing.text(
            "soft",
            (left - 8.0, TOP - 10.0),
            Anchor::End,
            &cut(&self.down, NAMES),
        );
        for (k, column) in self.columns.iter().enumerate() {
            let x = left + (k as f64 + 0.5) * width;
            drawing.text(
                "strong",
                (x, TOP - 10.0),
                Anchor::Middle,
                &cut(column, width - 4.0),
            );
        }
        for (k, name) in self.rows.iter().enumerate() {
            let y = TOP + k as f64 * ROW;
            drawing.text(
                "strong",
                (left - 8.0, y + ROW / 2.0 + 4.5),
                Anchor::End,
                &cut(name, NAMES),
            );
            let cells = self.cells.get(k).map_or(&[][..], Vec::as_slice);
            for (j, column) in self.columns.iter().enumerate() {
                let x = left + j as f64 * width;
                let value = cells.get(j).copied().flatten().filter(|v| v.is_finite());
                let shown = value.map_or(String::from("\u{2013}"), |v| prefixed(v, "m"));
                let tint = value.map_or(0, |v| tint(v.abs(), least, most));
                drawing.rect("ground", (x + 1.0, y + 1.0), (width - 2.0, ROW - 2.0));
                drawing.rect_with_hint(
                    &format!("heat heat{tint}"),
                    (x + 1.0, y + 1.0),
                    (width - 2.0, ROW - 2.0),
                    &format!("{column}, {name}: {shown}"),
                );
                // Too narrow for its value: the hint and the table have it.
                if text_width(&shown) < width {
                    let at = (x + width / 2.0, y + ROW / 2.0 + 4.5);
                    drawing.text("", at, Anchor::Middle, &shown);
                }
            }
        }
        let height = TOP + self.rows.len() as f64 * ROW + 6.0;
        drawing.finish(id, height, &self.title, &self.description())
    }

    fn description(&self) -> String {
        let mut text = format!("Values over {} and {}.", self.across, self.down);
        for (name, cells) in self.rows.iter().zip(&self.cells) {
            for (column, value) in self.columns.iter().zip(cells) {
                if let Some(value) = value.filter(|v| v.is_finite()) {
                    text += &format!(" {column}, {name}: {}.", prefixed(value, "m"));
                }
            }
        }
        text
    }
}

/// Class of the tint, 0 for the palest, by ratio between the smallest and the largest value.
fn tint(value: f64, least: f64, most: f64) -> usize {
    if value <= least || most <= least {
        return 0;
    }
    let share = (value / least).ln() / (most / least).ln();
    ((share * TINTS) as usize).min(TINTS as usize - 1)
}

/// `text`, its end cut off where it is wider than `room`.
fn cut(text: &str, room: f64) -> String {
    if text_width(text) <= room {
        return text.to_owned();
    }
    let mut short = String::new();
    for character in text.chars() {
        if text_width(&short) + text_width("M\u{2026}") > room {
            break;
        }
        short.push(character);
    }
    short + "\u{2026}"
}

#[cfg(test)]
mod tests {
    use super::{cut, tint};

    #[test]
    fn tints_go_by_ratio_and_stay_inside() {
        assert_eq!(tint(1.0, 1.0, 100.0), 0);
        assert_eq!(tint(10.0, 1.0, 100.0), 3);
        assert_eq!(tint(100.0, 1.0, 100.0), 6);
        assert_eq!(tint(5.0, 5.0, 5.0), 0);
        assert_eq!(tint(f64::MAX, 1.0, 100.0), 6);
    }

    #[test]
    fn long_names_are_cut() {
        assert_eq!(cut("60dB", 100.0), "60dB");
        let short = cut(&"barrier".repeat(10), 100.0);
        assert!(short.ends_with('\u{2026}') && super::text_width(&short) <= 115.0);
    }
}
