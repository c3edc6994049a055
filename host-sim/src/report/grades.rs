//! The grade of a link over time, the forecast of falls beside the closed form of the air.

use super::axis::{number, Axis, Scale};
use super::even::{course, legend, ruler, LEFT, RIGHT};
use super::lanes;
use super::svg::{Anchor, Drawing};

/// A link while its air changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Grades {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// In order of time.
    pub points: Vec<GradePoint>,
}

/// What is told at an instant, and what is so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GradePoint {
    /// The instant, s.
    pub at_s: f64,
    /// 0 good, 1 fair, 2 poor.
    pub grade: usize,
    /// Falls of READY an hour: forecast, and by the closed form.
    pub told_per_h: f64,
    /// By the closed form.
    pub true_per_h: f64,
}

const WORDS: [&str; 3] = ["good", "fair", "poor"];
const LEGEND: f64 = 28.0;
const FIELD: f64 = 180.0;
const FOOT: f64 = 42.0;
/// Places along the lines at most: more would not be seen.
const PLACES: usize = 900;
/// Changes that the description names at most.
const NAMED: usize = 8;
/// Ends of the axis: below and above nobody cares, falls an hour.
const RANGE: (f64, f64) = (1e-4, 1e4);

impl Grades {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let points = self.sane();
        let end = points.last().map_or(1.0, |point| point.at_s);
        let time = Axis::new(Scale::Linear, (0.0, end), (LEFT, RIGHT));
        let (field, under) = (LEGEND, LEGEND + FIELD);
        let up = Axis::new(Scale::Log, RANGE, (under, field));
        let strip = under + 14.0;
        let base = strip + lanes::height(WORDS.len());
        let mut drawing = Drawing::default();
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, FIELD));
        for tick in up.ticks(5) {
            let y = up.at(tick);
            drawing.line("grid", (LEFT, y), (RIGHT, y));
            let name = if tick >= 1.0 {
                number(tick, 0)
            } else {
                format!("{tick}")
            };
            drawing.text("soft", (LEFT - 8.0, y + 4.5), Anchor::End, &name);
        }
        drawing.line("base", (LEFT, under), (RIGHT, under));
        let told = "falls of READY an hour, forecast";
        legend(&mut drawing, LEFT, "course onset", told);
        let truth = "by the closed form of the air";
        legend(&mut drawing, LEFT + 300.0, "pole truth", truth);
        let line = |of: fn(&GradePoint) -> f64| {
            course(points.iter().map(|point| {
                let falls = of(point).clamp(RANGE.0, RANGE.1);
                (time.at(point.at_s), up.at(falls))
            }))
        };
        drawing.path("course onset", &line(|point| point.told_per_h));
        drawing.path("pole truth", &line(|point| point.true_per_h));
        let steps: Vec<_> = points
            .iter()
            .map(|point| (point.at_s, point.grade))
            .collect();
        drawing.rect("ground", (LEFT, strip), (RIGHT - LEFT, base - strip));
        ruler(&mut drawing, &time, strip, base);
        lanes::draw(&mut drawing, &time, strip, &WORDS, &steps, end);
        let foot = (f64::midpoint(LEFT, RIGHT), base + FOOT);
        drawing.text("soft", foot, Anchor::Middle, "time, s");
        drawing.finish(id, base + FOOT + 10.0, &self.title, &self.description())
    }

    /// What can be drawn: in order of time, no more points than can be seen.
    fn sane(&self) -> Vec<GradePoint> {
        let step = self.points.len() / PLACES + 1;
        let mut points: Vec<GradePoint> = Vec::new();
        for point in self.points.iter().step_by(step) {
            let after = points.last().map_or(0.0, |before| before.at_s);
            let numbers = [point.at_s, point.told_per_h, point.true_per_h];
            if numbers.iter().all(|number| !number.is_nan()) && (after..1e9).contains(&point.at_s) {
                points.push(*point);
            }
        }
        points
    }

    fn description(&self) -> String {
        let changes = self
            .points
            .windows(2)
            .filter(|pair| pair[0].grade != pair[1].grade);
        let mut said: Vec<String> = changes
            .map(|pair| {
                let word = WORDS.get(pair[1].grade).unwrap_or(&"");
                format!("{word} from {} s on", number(pair[1].at_s, 0))
            })
            .collect();
        let first = self
            .points
            .first()
            .and_then(|point| WORDS.get(point.grade))
            .unwrap_or(&"unknown");
        let more = said.len().saturating_sub(NAMED);
        said.truncate(NAMED);
        if more > 0 {
            said.push(format!("and {more} more changes"));
        }
        if said.is_empty() {
            format!("{first} throughout.")
        } else {
            format!("{first} at first, {}.", said.join(", "))
        }
    }
}
