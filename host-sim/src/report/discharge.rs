//! A pack from new to its end: voltages, hours left as told and as they were, and the verdict on the run.

use super::axis::{number, Axis, Scale};
use super::even::{course, digits, legend, ruler, LEFT, RIGHT};
use super::lanes;
use super::svg::{Anchor, Drawing};

/// A pack of cells over its life.
#[derive(Debug, Clone, PartialEq)]
pub struct Discharge {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// One an hour, in order.
    pub hours: Vec<Told>,
    /// Voltage at which the electronics stop, V.
    pub stop_v: f64,
    /// The run that is asked about, h.
    pub run_h: f64,
    /// When it ended, h.
    pub life_h: f64,
}

/// What was so and what was told in an hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// When, h in use.
    pub at_h: f64,
    /// Voltage at rest and under a pulse, V.
    pub volts: (f64, f64),
    /// Hours left at least and at most.
    pub left_h: (f64, f64),
    /// Whether it lasts the run: 0 yes, 1 cannot tell, 2 no.
    pub verdict: usize,
}

/// Places along a line at most: more would not be seen.
const PLACES: usize = 400;
/// Beyond these no cell is: V, h.
const MOST_V: f64 = 1e3;
const MOST_H: f64 = 1e6;
const WORDS: [&str; 3] = ["yes", "cannot tell", "no"];
const LEGEND: f64 = 28.0;
const FIELD: f64 = 150.0;
const GAP: f64 = 34.0;
const FOOT: f64 = 42.0;

impl Discharge {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let text = self.description();
        self.sane().drawn(id, &text)
    }

    /// What can be drawn of it: numbers of cells, no more points than can be seen.
    fn sane(&self) -> Self {
        let held = |value: f64, most: f64| value.clamp(-most, most);
        let life_h = if self.life_h.is_finite() {
            held(self.life_h, MOST_H).max(1.0)
        } else {
            1.0
        };
        let hours = self.hours.iter().filter(|told| {
            let all = [
                told.at_h,
                told.volts.0,
                told.volts.1,
                told.left_h.0,
                told.left_h.1,
            ];
            all.iter().all(|value| !value.is_nan()) && (0.0..=life_h).contains(&told.at_h)
        });
        let step = hours.clone().count() / PLACES + 1;
        Self {
            hours: hours
                .step_by(step)
                .map(|told| Told {
                    volts: (held(told.volts.0, MOST_V), held(told.volts.1, MOST_V)),
                    left_h: (
                        held(told.left_h.0, MOST_H).max(0.0),
                        held(told.left_h.1, MOST_H).max(0.0),
                    ),
                    ..*told
                })
                .collect(),
            stop_v: if self.stop_v.is_nan() {
                0.0
            } else {
                held(self.stop_v, MOST_V)
            },
            run_h: if self.run_h.is_nan() {
                0.0
            } else {
                held(self.run_h, MOST_H).max(0.0)
            },
            life_h,
            ..self.clone()
        }
    }

    fn drawn(&self, id: &str, text: &str) -> String {
        let time = Axis::new(Scale::Linear, (0.0, self.life_h), (LEFT, RIGHT));
        let upper = (LEGEND, LEGEND + FIELD);
        let lower = (upper.1 + GAP, upper.1 + GAP + FIELD);
        let strip = lower.1 + 14.0;
        let base = strip + lanes::height(WORDS.len());
        let mut drawing = Drawing::default();
        self.voltages(&mut drawing, &time, upper);
        self.hours_left(&mut drawing, &time, lower);
        let steps: Vec<_> = self
            .hours
            .iter()
            .map(|told| (told.at_h, told.verdict))
            .collect();
        drawing.rect("ground", (LEFT, strip), (RIGHT - LEFT, base - strip));
        ruler(&mut drawing, &time, strip, base);
        lanes::draw(&mut drawing, &time, strip, &WORDS, &steps, self.life_h);
        let foot = (f64::midpoint(LEFT, RIGHT), base + FOOT);
        drawing.text("soft", foot, Anchor::Middle, "hours in use");
        drawing.finish(id, base + FOOT + 10.0, &self.title, text)
    }

    fn voltages(&self, drawing: &mut Drawing, time: &Axis, (field, base): (f64, f64)) {
        let all = self
            .hours
            .iter()
            .flat_map(|told| [told.volts.0, told.volts.1]);
        let (low, high) = all
            .chain([self.stop_v])
            .fold((f64::MAX, f64::MIN), |(low, high), v| {
                (low.min(v), high.max(v))
            });
        let room = 0.1 * (high - low).max(0.1);
        let up = Axis::new(Scale::Linear, (low - room, high + room), (base, field));
        frame(drawing, &up, (field, base));
        legend(drawing, LEFT, "course onset", "V at rest");
        legend(drawing, LEFT + 170.0, "course first", "V under a pulse");
        legend(drawing, LEFT + 345.0, "bound", "electronics stop");
        let volts = |of: fn(&Told) -> f64| {
            course(
                self.hours
                    .iter()
                    .map(|told| (time.at(told.at_h), up.at(of(told)))),
            )
        };
        drawing.path("course onset", &volts(|told| told.volts.0));
        drawing.path("course first", &volts(|told| told.volts.1));
        let y = up.at(self.stop_v);
        drawing.line("bound", (LEFT, y), (RIGHT, y));
    }

    fn hours_left(&self, drawing: &mut Drawing, time: &Axis, (field, base): (f64, f64)) {
        let most = 1.3 * self.life_h;
        let up = Axis::new(Scale::Linear, (0.0, most), (base, field));
        frame(drawing, &up, (field, base));
        let name = format!(
            "hours left: the band as told, dots as it was; line: the run, {} h",
            number(self.run_h, 1)
        );
        drawing.text("strong", (LEFT, field - 9.0), Anchor::Start, &name);
        let place = |told: &Told, left_h: f64| (time.at(told.at_h), up.at(left_h.min(most)));
        let above = self.hours.iter().map(|told| place(told, told.left_h.1));
        let below = self.hours.iter().rev();
        let mut band = course(above.chain(below.map(|told| place(told, told.left_h.0))));
        if !band.is_empty() {
            band.push('Z');
        }
        drawing.path("band onset", &band);
        drawing.line(
            "pole truth",
            (time.at(0.0), up.at(self.life_h)),
            (time.at(self.life_h), up.at(0.0)),
        );
        let y = up.at(self.run_h.min(most));
        drawing.line("bound", (LEFT, y), (RIGHT, y));
    }

    fn description(&self) -> String {
        let count = |verdict| {
            self.hours
                .iter()
                .filter(|told| told.verdict == verdict)
                .count()
        };
        format!(
            "The pack ends after {} h. Told that it lasts {} h more: yes in {} hours, cannot tell in {}, no in {}.",
            number(self.life_h, 0),
            number(self.run_h, 1),
            count(0),
            count(1),
            count(2),
        )
    }
}

/// Ground and levels of a field.
fn frame(drawing: &mut Drawing, up: &Axis, (field, base): (f64, f64)) {
    drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, base - field));
    let ticks = up.ticks(4);
    let digits = digits(&ticks);
    for tick in ticks {
        let y = up.at(tick);
        drawing.line("grid", (LEFT, y), (RIGHT, y));
        drawing.text(
            "soft",
            (LEFT - 8.0, y + 4.5),
            Anchor::End,
            &number(tick, digits),
        );
    }
    drawing.line("base", (LEFT, base), (RIGHT, base));
}
