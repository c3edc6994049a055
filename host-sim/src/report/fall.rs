//! The fall of the light in one touch: samples, zones, trip point, early and refined onset.

use super::axis::{decimals, nice_step, number, Axis, Scale};
use super::chatter::{signed, LEFT, RIGHT};
use super::even::ruler;
use super::poles::{Mark, Poles, ROW};
use super::svg::{c, Anchor, Drawing, Shape, TEXT};

/// One touch in samples of the light. Times in ns on the recording's own zero, light in counts.
#[derive(Debug, Clone, PartialEq)]
pub struct Fall {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// Name of the line.
    pub line: String,
    /// Samples in order of time, each with its time and its counts.
    pub samples: Vec<(i64, f64)>,
    /// Light with no blade near.
    pub rest: f64,
    /// Trip point.
    pub trip: f64,
    /// Lower and upper end of the zone of the early onset.
    pub narrow: (f64, f64),
    /// The same of the refined onset.
    pub wide: (f64, f64),
    /// Its guards.
    pub guard: (f64, f64),
    /// The onset found.
    pub onset_ns: i64,
    /// Its standard uncertainty, if known.
    pub doubt_ns: Option<u64>,
    /// The early onset, for a hard output.
    pub early_ns: i64,
    /// When the touch was confirmed.
    pub confirmed_ns: i64,
    /// The true instant of contact, if known.
    pub truth_ns: Option<i64>,
}

/// Heights of the whole fall and of the close look.
const WHOLE: f64 = 220.0;
const CLOSE: f64 = 130.0;
/// From an axis to the next panel.
const FOOT: f64 = 46.0;

/// A stretch of time (µs from the onset) and of light.
struct Panel {
    name: &'static str,
    time: (f64, f64),
    light: (f64, f64),
    height: f64,
}

impl Fall {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let times = || self.samples.iter().map(|sample| self.us(sample.0));
        let from = times().fold(f64::INFINITY, f64::min);
        let to = times().fold(f64::NEG_INFINITY, f64::max);
        // Close: some doubts, both onsets, and samples enough to see.
        let doubt = self.doubt_ns.map_or(0.0, |doubt| doubt as f64 / 1e3);
        let early = self.us(self.early_ns).abs();
        let period = (to - from) / (self.samples.len().max(2) - 1) as f64;
        let near = (12.0 * doubt).max(3.0 * early).max(12.0 * period).max(1e-3);
        let half = (self.rest * near / (to - from).max(1e-3) * 1.5).max(2.0);
        let panels = [
            Panel {
                name: "the whole fall",
                time: (from, to),
                light: (0.0, self.rest * 1.06),
                height: WHOLE,
            },
            Panel {
                name: "close to the trip point",
                time: (-near, near),
                light: (self.trip - half, self.trip + half),
                height: CLOSE,
            },
        ];
        let mut drawing = Drawing::default();
        let mut top = 4.0;
        for (k, panel) in panels.iter().enumerate() {
            top = self.draw(&mut drawing, panel, k == 1, top);
        }
        drawing.text(
            "soft",
            (f64::midpoint(LEFT, RIGHT), top - 2.0),
            Anchor::Middle,
            "time from the onset, µs",
        );
        drawing.finish(id, top + 8.0, &self.title, &self.description())
    }

    /// Time `at` in µs from the onset.
    fn us(&self, at: i64) -> f64 {
        (i128::from(at) - i128::from(self.onset_ns)) as f64 / 1e3
    }

    fn description(&self) -> String {
        let doubt = self
            .doubt_ns
            .map_or("of unknown doubt".to_owned(), |doubt| {
                format!(
                    "known to ±{} µs (two standard uncertainties)",
                    number(doubt as f64 / 500.0, 2)
                )
            });
        let truth = self.truth_ns.map_or(String::new(), |truth| {
            format!(
                " The true contact lies {} µs from it.",
                signed(self.us(truth), 2)
            )
        });
        format!(
            "Line {}: the light falls from a rest level of {} counts through the trip point of {} counts; onset {doubt}, early onset {} µs from it, confirmed at {} µs.{truth}",
            self.line,
            number(self.rest, 0),
            number(self.trip, 0),
            signed(self.us(self.early_ns), 2),
            signed(self.us(self.confirmed_ns), 1),
        )
    }

    fn draw(&self, drawing: &mut Drawing, panel: &Panel, close: bool, top: f64) -> f64 {
        let time = Axis::new(Scale::Linear, panel.time, (LEFT, RIGHT));
        let marks = self.marks(&time, close);
        let poles = Poles::new(&marks, &time, (LEFT - 40.0, RIGHT + 12.0));
        let field = top + ROW + poles.height() + 4.0;
        let base = field + panel.height;
        let light = Axis::new(Scale::Linear, panel.light, (base, field));
        drawing.text("soft strong", (LEFT, top + TEXT), Anchor::Start, panel.name);
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, base - field));
        self.zones(drawing, &light);
        ruler(drawing, &time, field, base);
        self.levels(drawing, &light, close);
        if let Some(doubt) = self.doubt_ns {
            let band = doubt as f64 * 2.0 / 1e3;
            let (from, to) = (time.at(-band), time.at(band));
            drawing.rect("band onset", (from, field), (to - from, base - field));
        }
        self.trace(drawing, &time, &light);
        poles.draw(drawing, top + ROW, base);
        base + FOOT
    }

    /// Guards, wide and narrow zone as ever stronger bands.
    fn zones(&self, drawing: &mut Drawing, light: &Axis) {
        for (class, (low, high)) in [
            ("zone", self.guard),
            ("zone", self.wide),
            ("zone", self.narrow),
        ] {
            let (y0, y1) = (light.at(high), light.at(low));
            if y1 - y0 > 0.5 {
                drawing.rect(class, (LEFT, y0), (RIGHT - LEFT, y1 - y0));
            }
        }
    }

    /// Names of the levels beside the plot, and lines for rest and trip.
    fn levels(&self, drawing: &mut Drawing, light: &Axis, close: bool) {
        let mut names = vec![("trip", self.trip)];
        if !close {
            names.extend([
                ("rest", self.rest),
                ("dark", 0.0),
                ("wide", self.wide.1),
                ("wide", self.wide.0),
            ]);
        }
        let mut named: Vec<f64> = Vec::new();
        for (name, level) in names {
            if !light.holds(level) {
                continue;
            }
            let y = light.at(level);
            if name == "trip" || name == "rest" {
                drawing.line("base", (LEFT, y), (RIGHT, y));
            }
            // The first of two that would overlap has the name.
            if named.iter().all(|other| (other - y).abs() > TEXT + 2.0) {
                named.push(y);
                drawing.text("soft", (LEFT - 8.0, y + 4.5), Anchor::End, name);
            }
        }
    }

    /// The samples as a line; where few, a spot for each.
    fn trace(&self, drawing: &mut Drawing, time: &Axis, light: &Axis) {
        let shown: Vec<(usize, f64, f64)> = self
            .samples
            .iter()
            .enumerate()
            .map(|(k, &(at, counts))| (k, self.us(at), counts))
            .filter(|&(_, at, counts)| time.holds(at) && light.holds(counts))
            .collect();
        // More than three points to a unit of the picture show nothing more.
        let every = (shown.len() / 2_000).max(1);
        let mut path = String::new();
        let mut before = None;
        for &(k, at, counts) in shown.iter().step_by(every) {
            // Between samples that the panel leaves out, the light is not on the line between.
            let joined = before.is_some_and(|before| k - before == every);
            let word = if joined { 'L' } else { 'M' };
            path += &format!("{word}{} {}", c(time.at(at)), c(light.at(counts)));
            before = Some(k);
        }
        drawing.path("trace", &path);
        if shown.len() <= 60 {
            for &(_, at, counts) in &shown {
                drawing.mark("mean", Shape::Disc, (time.at(at), light.at(counts)));
            }
        }
    }

    fn marks(&self, time: &Axis, close: bool) -> Vec<Mark> {
        let (from, to) = time.range();
        let digits = decimals(nice_step(to - from, 100)).max(1);
        let onset = self.doubt_ns.map_or("onset".to_owned(), |doubt| {
            let band = doubt as f64 * 2.0 / 1e3;
            let digits = decimals(band / 10.0).clamp(1, 3);
            format!("onset 0 ± {} µs", number(band, digits))
        });
        let mark = |class, shape, at: i64, name: &str| {
            let at = self.us(at);
            Mark {
                class,
                shape,
                at,
                label: format!("{name} {} µs", signed(at, digits)),
            }
        };
        let mut marks = vec![Mark {
            class: "onset",
            shape: Shape::Diamond,
            at: 0.0,
            label: onset,
        }];
        if close {
            marks.push(mark("first", Shape::Down, self.early_ns, "early onset"));
            marks.extend(
                self.truth_ns
                    .map(|truth| mark("truth", Shape::Cross, truth, "truth")),
            );
        } else {
            marks.push(mark("confirm", Shape::Disc, self.confirmed_ns, "confirmed"));
        }
        marks.retain(|mark| time.holds(mark.at));
        marks.sort_by(|a, b| a.at.total_cmp(&b.at));
        marks
    }
}
