//! One touch on its way from the contact to the output: what the barrier saw, the frames, READY and the touch line.

use std::fmt::Write as _;

use super::axis::{number, Axis, Scale};
use super::even::{ruler, LEFT, RIGHT};
use super::poles::{Mark, Poles};
use super::svg::{c, Anchor, Drawing, Shape, WIDTH};
use super::trace::{self, Place};

/// One touch over a link. Times in ns on any zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passage {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// The true instant of contact.
    pub contact_ns: i64,
    /// When the barrier had confirmed it.
    pub told_ns: i64,
    /// The onset that the receiver took, plus the delay.
    pub due_ns: i64,
    /// The delay, ns.
    pub delay_ns: u64,
    /// Whether there is contact, in order of time.
    pub contact: Vec<(i64, bool)>,
    /// Frames as (sent, accepted), in order of time.
    pub frames: Vec<(i64, bool)>,
    /// READY, in order of time.
    pub ready: Vec<(i64, bool)>,
    /// The touch line, true for run, in order of time.
    pub run: Vec<(i64, bool)>,
}

/// Height of a lane, and of what is drawn in it.
const LANE: f64 = 36.0;
const HIGH: f64 = 22.0;
/// From the field to the name of the axis.
const FOOT: f64 = 42.0;
/// What is shown before contact and after the output, ms.
const BEFORE_MS: f64 = 12.0;
const AFTER_MS: f64 = 14.0;

impl Passage {
    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let delay_ms = self.delay_ns as f64 / 1e6;
        let last = self
            .ms(self.due_ns)
            .max(self.ms(self.told_ns))
            .max(delay_ms);
        let axis = Axis::new(Scale::Linear, (-BEFORE_MS, last + AFTER_MS), (LEFT, RIGHT));
        let marks = self.marks();
        let poles = Poles::new(&marks, &axis, (0.0, WIDTH));
        let field = poles.height() + 8.0;
        let base = field + 5.0 * LANE;
        let mut drawing = Drawing::default();
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, base - field));
        ruler(&mut drawing, &axis, field, base);
        self.lanes(&mut drawing, &axis, field);
        poles.draw(&mut drawing, 4.0, base);
        let middle = f64::midpoint(LEFT, RIGHT);
        let foot = (middle, base + FOOT);
        drawing.text("soft", foot, Anchor::Middle, "time from contact, ms");
        drawing.finish(id, base + FOOT + 10.0, &self.title, &self.description())
    }

    fn lanes(&self, drawing: &mut Drawing, axis: &Axis, field: f64) {
        let top = |lane: f64| field + lane * LANE + (LANE - HIGH) / 2.0;
        let name = |drawing: &mut Drawing, lane: f64, name: &str| {
            let at = (LEFT - 10.0, field + (lane + 0.5) * LANE + 4.5);
            drawing.text("soft strong", at, Anchor::End, name);
        };
        for (lane, what, levels) in [
            (0.0, "contact", &self.contact),
            (3.0, "READY", &self.ready),
            (4.0, "run", &self.run),
        ] {
            name(drawing, lane, what);
            let edges: Vec<_> = levels
                .iter()
                .map(|&(at, high)| (self.ms(at), high))
                .collect();
            let place = Place {
                time: axis,
                across: (LEFT, RIGHT),
                high: top(lane),
                low: top(lane) + HIGH,
            };
            trace::draw(drawing, &edges, place);
        }
        for (lane, what, accepted, class) in [
            (1.0, "accepted", true, "pole onset"),
            (2.0, "lost", false, "pole first"),
        ] {
            name(drawing, lane, what);
            let own = self.frames.iter().filter(|frame| frame.1 == accepted);
            let places = own
                .map(|frame| self.ms(frame.0))
                .filter(|&at| axis.holds(at));
            let mut path = String::new();
            for at in places {
                let _ = write!(path, "M{} {}v{}", c(axis.at(at)), c(top(lane)), c(HIGH));
            }
            drawing.path(class, &path);
        }
    }

    fn marks(&self) -> Vec<Mark> {
        let mark = |class, shape, at: f64, label: String| Mark {
            class,
            shape,
            at,
            label,
        };
        let told = self.ms(self.told_ns);
        let due = self.ms(self.due_ns);
        vec![
            mark("truth", Shape::Cross, 0.0, "contact".to_owned()),
            mark(
                "confirm",
                Shape::Square,
                told,
                format!("told to the probe's sender {} ms", number(told, 2)),
            ),
            mark(
                "onset",
                Shape::Diamond,
                due,
                format!("onset + D {} ms", number(due, 4)),
            ),
        ]
    }

    /// Time in ms from contact.
    fn ms(&self, at: i64) -> f64 {
        (i128::from(at) - i128::from(self.contact_ns)) as f64 / 1e6
    }

    fn description(&self) -> String {
        let lost = self.frames.iter().filter(|frame| !frame.1).count();
        format!(
            "Told {} ms after contact; {} frames sent, {lost} of them lost; the touch leaves {} ms after contact, the \
             delay is {} ms.",
            number(self.ms(self.told_ns), 2),
            self.frames.len(),
            number(self.ms(self.due_ns), 4),
            number(self.delay_ns as f64 / 1e6, 3),
        )
    }
}
