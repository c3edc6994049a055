//! The chatter of one touch: the whole of it down to the confirmation, and enlarged below that.

use super::axis::{decimals, nice_step, number, Axis, Scale};
use super::even::ruler;
use super::page;
use super::panels::{Extent, Panel};
use super::poles::{Mark, Poles, ROW};
use super::svg::{c, Anchor, Drawing, Shape, TEXT, WIDTH};
use super::trace::{self, Place};

/// One touch and the edges it was found in. Times in ns on the log's own zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chatter {
    /// Heading of the picture.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub caption: String,
    /// Name of the line.
    pub line: String,
    /// Edges in order of time, each with its time and whether the level is high after it. Edges before and after
    /// the touch may be among them.
    pub edges: Vec<(i64, bool)>,
    /// Whether high is the level of a touched line.
    pub touched_high: bool,
    /// First edge of the touch.
    pub first_edge_ns: i64,
    /// Last edge of the touch.
    pub last_edge_ns: i64,
    /// The onset found.
    pub onset_ns: i64,
    /// Its standard uncertainty, if known.
    pub doubt_ns: Option<u64>,
    /// When the touch was confirmed.
    pub confirmed_ns: i64,
    /// The true instant of contact, if known.
    pub truth_ns: Option<i64>,
}

pub(super) const LEFT: f64 = 66.0;
pub(super) const RIGHT: f64 = WIDTH - 14.0;
/// Height of the trace, and the room above and below it.
const TRACE: f64 = 58.0;
const ROOM: f64 = 12.0;
/// From the axis to the next panel.
const FOOT: f64 = 46.0;
/// The part of a panel that the next panel enlarges, in units of the picture.
#[derive(Clone, Copy)]
struct Lens {
    from: f64,
    to: f64,
    base: f64,
}

impl Chatter {
    /// The picture as a file of its own, with its colours in it.
    #[must_use]
    pub fn svg_file(&self) -> String {
        page::svg_file(&self.svg("touch"))
    }

    /// The picture. `id` keeps it apart from others on the page.
    pub(super) fn svg(&self, id: &str) -> String {
        let edges: Vec<_> = self
            .edges
            .iter()
            .map(|&(at, high)| (self.us(at), high))
            .collect();
        let touch = Extent {
            first: self.us(self.first_edge_ns),
            last: self.us(self.last_edge_ns),
            confirmed: self.us(self.confirmed_ns),
            band: self.band().unwrap_or(0.0),
            truth: self.truth_ns.map_or(0.0, |truth| self.us(truth)),
        };
        let panels = touch.panels(&edges);
        let mut drawing = Drawing::default();
        let (mut top, mut lens) = (4.0, None);
        for (k, panel) in panels.iter().enumerate() {
            (top, lens) = self.draw(&mut drawing, &edges, panel, (panels.get(k + 1), lens), top);
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

    /// Twice the standard uncertainty, µs.
    fn band(&self) -> Option<f64> {
        self.doubt_ns.map(|doubt| doubt as f64 * 2.0 / 1e3)
    }

    fn description(&self) -> String {
        let within =
            |&&(at, _): &&(i64, bool)| (self.first_edge_ns..=self.last_edge_ns).contains(&at);
        let count = self.edges.iter().filter(within).count();
        let doubt = self
            .band()
            .map_or(String::from("of unknown doubt"), |band| {
                format!(
                    "known to ±{} µs (two standard uncertainties)",
                    number(band, 2)
                )
            });
        let truth = self.truth_ns.map_or(String::new(), |truth| {
            format!(
                " The true contact lies {} µs from it.",
                signed(self.us(truth), 2)
            )
        });
        format!(
            "Line {}: {count} edges from {} µs to {} µs about an onset {doubt}; confirmed at {} µs.{truth}",
            self.line,
            signed(self.us(self.first_edge_ns), 1),
            signed(self.us(self.last_edge_ns), 1),
            signed(self.us(self.confirmed_ns), 1),
        )
    }

    /// Draws `panel` from `top` on, the panel that looks closer and the lens above being known. Answers where the
    /// next panel begins, and the lens that it enlarges.
    fn draw(
        &self,
        drawing: &mut Drawing,
        edges: &[(f64, bool)],
        panel: &Panel,
        (next, above): (Option<&Panel>, Option<Lens>),
        top: f64,
    ) -> (f64, Option<Lens>) {
        let axis = Axis::new(Scale::Linear, (panel.from, panel.to), (LEFT, RIGHT));
        let marks = self.marks(&axis, next.is_none());
        let poles = Poles::new(&marks, &axis, (LEFT - 40.0, RIGHT + 12.0));

        let field = top + ROW + poles.height() + 4.0;
        let high = field + ROOM;
        let low = high + TRACE;
        let base = low + ROOM;
        if let Some(lens) = above {
            lens.open_onto(drawing, field);
        }
        drawing.text("soft strong", (LEFT, top + TEXT), Anchor::Start, panel.name);
        drawing.rect("ground", (LEFT, field), (RIGHT - LEFT, base - field));
        ruler(drawing, &axis, field, base);
        self.level_names(drawing, high, low);
        if let Some(band) = self.band() {
            let (from, to) = (axis.at(-band), axis.at(band));
            drawing.rect("band onset", (from, field), (to - from, base - field));
        }
        let across = (LEFT, RIGHT);
        trace::draw(
            drawing,
            edges,
            Place {
                time: &axis,
                across,
                high,
                low,
            },
        );
        let lens = next.map(|next| Lens {
            from: axis.at(next.from),
            to: axis.at(next.to),
            base,
        });
        if let Some(lens) = lens {
            drawing.rect(
                "lens",
                (lens.from, field),
                (lens.to - lens.from, base - field),
            );
        }
        poles.draw(drawing, top + ROW, base);
        (base + FOOT, lens)
    }

    /// The instants that lie on `axis`; the truth only in the closest look, where it shows.
    fn marks(&self, axis: &Axis, closest: bool) -> Vec<Mark> {
        let (from, to) = axis.range();
        let digits = decimals(nice_step(to - from, 100)).max(1);
        let mark = |class, shape, at: i64, name: &str| {
            let at = self.us(at);
            Mark {
                class,
                shape,
                at,
                label: format!("{name} {} µs", signed(at, digits)),
            }
        };
        let onset = self.band().map_or(String::from("onset"), |band| {
            // At least two digits of the doubt.
            let digits = decimals(band / 10.0).clamp(1, 3);
            format!("onset 0 ± {} µs", number(band, digits))
        });
        let mut marks = vec![
            Mark {
                class: "onset",
                shape: Shape::Diamond,
                at: 0.0,
                label: onset,
            },
            mark("confirm", Shape::Disc, self.confirmed_ns, "confirmed"),
        ];
        if self.first_edge_ns == self.last_edge_ns {
            marks.push(mark("first", Shape::Down, self.first_edge_ns, "only edge"));
        } else {
            marks.push(mark("first", Shape::Down, self.first_edge_ns, "first edge"));
            marks.push(mark("run", Shape::Square, self.last_edge_ns, "last edge"));
        }
        marks.extend(
            self.truth_ns
                .filter(|_| closest)
                .map(|truth| mark("truth", Shape::Cross, truth, "truth")),
        );
        marks.retain(|mark| axis.holds(mark.at));
        marks.sort_by(|a, b| a.at.total_cmp(&b.at));
        marks
    }

    fn level_names(&self, drawing: &mut Drawing, high: f64, low: f64) {
        for (y, name, touched) in [
            (high, "high", self.touched_high),
            (low, "low", !self.touched_high),
        ] {
            drawing.text(
                "",
                (LEFT - 8.0, y + if touched { -1.0 } else { 4.5 }),
                Anchor::End,
                name,
            );
            if touched {
                drawing.text("soft", (LEFT - 8.0, y + 13.0), Anchor::End, "touched");
            }
        }
    }
}

impl Lens {
    /// A faint beam from the lens to the panel whose field begins at `field`.
    fn open_onto(self, drawing: &mut Drawing, field: f64) {
        let (from, to, base) = (c(self.from), c(self.to), c(self.base));
        drawing.path(
            "wedge",
            &format!(
                "M{from} {base}H{to}L{} {f}H{}z",
                c(RIGHT),
                c(LEFT),
                f = c(field)
            ),
        );
    }
}

/// A number that shows its sign.
pub(super) fn signed(value: f64, digits: usize) -> String {
    let text = number(value, digits);
    if value > 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        format!("+{text}")
    } else {
        text
    }
}
