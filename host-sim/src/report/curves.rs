//! Bias, spread and 99.9 % of several methods along one setting, each in a panel over the same axis, the bound in it.

use std::fmt::Write as _;

use super::axis::{prefixed, Axis, Scale};
use super::feed_error::Kind;
use super::svg::{c, text_width, Anchor, Drawing, TEXT, WIDTH};

/// Errors of several methods along one setting.
#[derive(Debug, Clone, PartialEq)]
pub struct Curves {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// Name of the setting.
    pub along: String,
    /// Its values, in order.
    pub places: Vec<Place>,
    /// The methods; later ones lie on top.
    pub lines: Vec<Line>,
}

/// One value of the setting.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The value as it stands below the axis.
    pub label: String,
    /// The value as a number; none for a word.
    pub number: Option<f64>,
    /// Least standard deviation that theory allows there, nm.
    pub bound_nm: Option<f64>,
}

/// One method.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its name.
    pub name: String,
    /// Which method it is; decides colour, mark and stroke.
    pub kind: Kind,
    /// Its errors at each place.
    pub points: Vec<Point>,
}

/// Errors of one method at one place, nm; none where there is none.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Point {
    /// Mean.
    pub bias_nm: Option<f64>,
    /// Standard deviation.
    pub sd_nm: Option<f64>,
    /// 99.9 % of |error|.
    pub p999_nm: Option<f64>,
}

const LEFT: f64 = 74.0;
const RIGHT: f64 = WIDTH - 16.0;
const INSET: f64 = 18.0;
const LEGEND: f64 = 30.0;
const HEAD: f64 = 26.0;
const PANEL: f64 = 170.0;
const FOOT: f64 = 18.0;
/// Up to here the axis of the bias is even, nm.
const EVEN_NM: f64 = 10.0;
/// 99.9 % of a normal distribution lie within this many standard deviations.
const NORMAL_999: f64 = 3.290_527;
/// Values this far apart, as a ratio, spread by ratio.
const BY_RATIO: f64 = 4.0;

/// What a panel shows of a point.
type Of = fn(&Point) -> Option<f64>;

impl Curves {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let across = self.across();
        let mut drawing = Drawing::default();
        self.legend(&mut drawing);
        let mut top = LEGEND;
        let panels: [(&str, Of, Option<f64>); 3] = [
            ("bias: late above zero, early below", |p| p.bias_nm, None),
            ("spread: one standard deviation", |p| p.sd_nm, Some(1.0)),
            (
                "99.9 % of the errors are smaller",
                |p| p.p999_nm,
                Some(NORMAL_999),
            ),
        ];
        for (name, of, bound) in panels {
            self.panel(&mut drawing, &across, top, (name, of, bound));
            top += HEAD + PANEL + FOOT;
        }
        let base = top - FOOT;
        let mut free = 0.0;
        let mut places: Vec<_> = self.places.iter().zip(&across).collect();
        places.sort_by(|a, b| a.1.total_cmp(b.1));
        for (place, &x) in places {
            drawing.line("base", (x, base), (x, base + 5.0));
            let width = text_width(&place.label);
            // Kept inside the picture; one that would run into its neighbour is left out, the table has all.
            let left = (x - width / 2.0).min(WIDTH - width).max(0.0);
            if left >= free {
                let at = (left + width / 2.0, base + 20.0);
                drawing.text("soft", at, Anchor::Middle, &place.label);
                free = left + width + 6.0;
            }
        }
        let middle = f64::midpoint(LEFT, RIGHT);
        drawing.text("soft", (middle, base + 42.0), Anchor::Middle, &self.along);
        drawing.finish(id, base + 52.0, &self.title, &self.description())
    }

    /// Where each place lies.
    fn across(&self) -> Vec<f64> {
        let (left, right) = (LEFT + INSET, RIGHT - INSET);
        let numbers: Option<Vec<f64>> = self.places.iter().map(|p| p.number).collect();
        let numbers = numbers.filter(|all| all.iter().all(|n| n.is_finite()));
        let Some(numbers) = numbers else {
            let even = Axis::new(
                Scale::Linear,
                (0.0, self.places.len().saturating_sub(1) as f64),
                (left, right),
            );
            return (0..self.places.len()).map(|k| even.at(k as f64)).collect();
        };
        let low = numbers.iter().copied().fold(f64::INFINITY, f64::min);
        let high = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let scale = if low > 0.0 && high > BY_RATIO * low {
            Scale::Log
        } else {
            Scale::Linear
        };
        let axis = Axis::new(scale, (low, high), (left, right));
        numbers.iter().map(|&n| axis.at(n)).collect()
    }

    fn legend(&self, drawing: &mut Drawing) {
        let mut x = LEFT;
        for line in &self.lines {
            let class = line.kind.class();
            drawing.line(&format!("course {class}"), (x, 9.0), (x + 26.0, 9.0));
            drawing.mark(&format!("spot {class}"), line.kind.shape(), (x + 13.0, 9.0));
            drawing.text("strong", (x + 34.0, 13.5), Anchor::Start, &line.name);
            x += 34.0 + text_width(&line.name) + 22.0;
        }
        if self.places.iter().any(|place| place.bound_nm.is_some()) {
            drawing.line("bound", (x, 9.0), (x + 26.0, 9.0));
            drawing.text("strong", (x + 34.0, 13.5), Anchor::Start, "bound");
        }
    }

    fn panel(
        &self,
        drawing: &mut Drawing,
        across: &[f64],
        top: f64,
        (name, of, factor): (&str, Of, Option<f64>),
    ) {
        let (field, base) = (top + HEAD, top + HEAD + PANEL);
        let bounds: Vec<Option<f64>> = self
            .places
            .iter()
            .map(|place| Some(place.bound_nm? * factor?).filter(|b| b.is_finite() && *b > 0.0))
            .collect();
        let values = self
            .lines
            .iter()
            .flat_map(|line| line.points.iter().filter_map(of));
        let sizes: Vec<f64> = values
            .chain(bounds.iter().flatten().copied())
            .filter(|value| value.is_finite())
            .map(f64::abs)
            .collect();
        let most = sizes.iter().copied().fold(EVEN_NM / 10.0, f64::max);
        let up = if factor.is_some() {
            let least = sizes
                .iter()
                .copied()
                .filter(|v| *v > 0.0)
                .fold(most, f64::min);
            Axis::new(Scale::Log, (least / 1.6, most * 1.6), (base, field))
        } else {
            let limit = most.max(EVEN_NM) * 2.0;
            Axis::new(
                Scale::SymLog { linear: EVEN_NM },
                (-limit, limit),
                (base, field),
            )
        };
        drawing.text("strong", (LEFT, top + TEXT), Anchor::Start, name);
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, PANEL));
        // Zero first, so that it keeps its name where names would meet.
        let mut ticks = up.ticks(9);
        ticks.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        let mut named: Vec<f64> = Vec::new();
        for tick in ticks {
            let y = up.at(tick);
            drawing.line(
                if tick == 0.0 { "base" } else { "grid" },
                (LEFT, y),
                (RIGHT, y),
            );
            let sign = if factor.is_none() && tick > 0.0 {
                "+"
            } else {
                ""
            };
            let label = match tick {
                0.0 => String::from("0"),
                _ => format!("{sign}{}", prefixed(tick, "m")),
            };
            if named.iter().all(|other| (other - y).abs() > TEXT) {
                drawing.text("soft", (LEFT - 8.0, y + 4.5), Anchor::End, &label);
                named.push(y);
            }
        }
        for &x in across {
            drawing.line("grid", (x, field), (x, base));
        }
        drawing.path("bound", &runs(across, &bounds, &up).0);
        for line in &self.lines {
            let values: Vec<Option<f64>> = line
                .points
                .iter()
                .map(|point| of(point).filter(|v| v.is_finite() && (factor.is_none() || *v > 0.0)))
                .collect();
            let (path, spots) = runs(across, &values, &up);
            let class = line.kind.class();
            drawing.path(&format!("course {class}"), &path);
            for spot in spots {
                drawing.mark(&format!("spot {class}"), line.kind.shape(), spot);
            }
        }
        drawing.line("base", (LEFT, base), (RIGHT, base));
    }

    fn description(&self) -> String {
        let mut text = format!("Errors along {}.", self.along);
        for line in &self.lines {
            for (place, point) in self.places.iter().zip(&line.points) {
                if let (Some(bias), Some(p999)) = (point.bias_nm, point.p999_nm) {
                    let (bias, p999) = (prefixed(bias, "m"), prefixed(p999, "m"));
                    let _ = write!(
                        text,
                        " {} at {}: bias {bias}, 99.9 % {p999}.",
                        line.name, place.label
                    );
                }
            }
        }
        text
    }
}

/// The path through the values there are, broken where one is missing, and the points themselves.
fn runs(across: &[f64], values: &[Option<f64>], up: &Axis) -> (String, Vec<(f64, f64)>) {
    let mut order: Vec<usize> = (0..across.len().min(values.len())).collect();
    order.sort_by(|&a, &b| across[a].total_cmp(&across[b]));
    let (mut path, mut spots, mut pen) = (String::new(), Vec::new(), 'M');
    for k in order {
        let Some(value) = values[k] else {
            pen = 'M';
            continue;
        };
        let (x, y) = (across[k], up.at(value));
        let _ = write!(path, "{pen}{} {}", c(x), c(y));
        spots.push((x, y));
        pen = 'L';
    }
    (path, spots)
}
