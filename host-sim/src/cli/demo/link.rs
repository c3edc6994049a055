//! The same probe without a wire: its touches carried over a lossy infrared link to the lines.

use std::fmt::Write as _;

use trueonset::battery::Verdict;
use trueonset::link::Grade;
use trueonset::playout::EdgeRemarks;

use super::compare::Compared;
use super::scenario::settings;
use crate::cli::table::table;
use crate::fault::Fault;
use crate::model::channel::Loss;
use crate::report::{Delays, Discharge, GradePoint, Grades, Passage, Residuals, Told};
use crate::scenario::{Link, Tables};
use crate::study::graded::{self, Graded, Stretch};
use crate::study::over_air::{watch, Course, Edges, Fate, Left};
use crate::study::packs::{Case, Hour, Life};

/// Loss, burst in slots and length in s of the air behind the picture of the grade.
const AIR: [(f64, f64, u32); 3] = [(0.01, 2.0, 120), (0.1, 8.0, 30), (0.01, 2.0, 750)];

/// What the link is told.
pub(crate) const CONFIG: &str = "\
# The link of the demo, an invented scenario; for trueonset sweep.
[link]
medium = \"infrared\"
loss = \"10%\"
burst = 2
[clock]
tolerance = \"60ppm\"
drift = \"0.1ppm/s\"
[battery]
cells = 1
chemistry = \"lithium\"
temperature = \"10C\"
run = \"72h\"
";

/// Columns of what became of the touches.
const COLUMNS: &str = "touch,contact_ns,stop_ns,onset_ns,bound_ns,remarks";
/// Touches behind the pictures of delay and clock, one every so many ns, let go after as long.
const STUDIED: u32 = 400;
const EVERY_NS: i64 = 251_000_000;
const STAND_NS: i64 = 80_000_000;
/// READY counts from so long before a contact on, ns.
const BEFORE_NS: i64 = 100_000_000;
/// From a clean contact to its confirmation in that study, ns: the hold.
const CLEAN_NS: i64 = 1_000_000;

/// Touches of the demo at the lines, and many more over the same link.
pub(crate) struct Carried {
    link: Link,
    /// Number from 1, true contact, confirmation, feed; and how it left.
    touches: Vec<(usize, i64, i64, u32, Option<Left>)>,
    contact: Vec<(i64, bool)>,
    course: Course,
    study: Course,
    graded: Vec<Graded>,
    cells: Case,
    life: (Life, Vec<Hour>),
}

/// Carries all touches that were found.
pub(crate) fn carry(compared: &Compared, end_ns: i64, seed: u64) -> Result<Carried, Fault> {
    let tables = Tables::parse(CONFIG, "link.toml")?;
    let hold_ns = settings().hold_ns;
    let own = |found: String| {
        Fault::new(
            found,
            "tables [link] and [battery]",
            "report this fault, it is one of the program",
        )
    };
    let link = Link::of(&tables, hold_ns)?.ok_or_else(|| own("no link".to_owned()))?;
    let cells = Case::in_scenario(&tables)?.ok_or_else(|| own("no battery".to_owned()))?;
    let life = cells.course(seed).map_err(|why| own(why.to_string()))?;
    let mut edges = Vec::new();
    let mut touches = Vec::new();
    let mut contact = Vec::new();
    for (number, truth, row) in compared.found() {
        edges.push(Edges {
            true_ns: truth.onset_ns,
            onset_ns: row.onset_ns,
            told_ns: row.confirmed_ns,
            touched: true,
        });
        contact.extend([(truth.onset_ns, true), (truth.release_ns, false)]);
        if let Some(onset_ns) = row.release_ns {
            edges.push(Edges {
                true_ns: truth.release_ns,
                onset_ns,
                told_ns: onset_ns.max(truth.release_ns) + hold_ns as i64,
                touched: false,
            });
        }
        touches.push((number, truth.onset_ns, row.confirmed_ns, truth.feed_mm_min));
    }
    let (_, course) = watch(&link, &edges, end_ns, seed, true)?;
    let mut left = course.left.iter().filter(|left| left.touched).copied();
    let touches = touches
        .into_iter()
        .map(|(number, contact_ns, told_ns, feed)| (number, contact_ns, told_ns, feed, left.next()))
        .collect();
    let (_, study) = watch(&link, &studied(), i64::from(STUDIED) * EVERY_NS, seed, true)?;
    let (config, _) = link.configs()?;
    let graded = graded::course(&link.plan, &config, &air()?, seed);
    Ok(Carried {
        link,
        touches,
        contact,
        course,
        study,
        graded,
        cells,
        life,
    })
}

/// Air at rest that is disturbed for half a minute.
fn air() -> Result<Vec<Stretch>, Fault> {
    AIR.into_iter()
        .map(|(share, burst, seconds)| {
            let loss = Loss::new(share, burst)?;
            Ok(Stretch { loss, seconds })
        })
        .collect()
}

/// Clean touches, nowhere in step with the slots.
fn studied() -> Vec<Edges> {
    let one = |k: u32| {
        let at = i64::from(k) * EVERY_NS + i64::from(k) * 97_003 % 1_000_000;
        [(at, true), (at + STAND_NS, false)].map(|(true_ns, touched)| Edges {
            true_ns,
            onset_ns: true_ns,
            told_ns: true_ns + CLEAN_NS,
            touched,
        })
    };
    (0..STUDIED).flat_map(one).collect()
}

/// What the control sees of a touch.
pub(crate) struct AtControl {
    /// When the line stops, ns.
    pub stop_ns: i64,
    /// When it lets run again, ns.
    pub release_ns: Option<i64>,
    /// Gaps of READY from a tenth of a second before the contact to the release.
    pub gaps: usize,
}

impl Carried {
    /// What the control sees of the touch `number`.
    pub(crate) fn at_control(&self, number: usize) -> Option<AtControl> {
        let own = self.touches.iter().find(|touch| touch.0 == number);
        let &(_, contact_ns, _, _, left) = own?;
        let stop_ns = left?.at_ns;
        let mut after = self.course.left.iter().filter(|left| left.at_ns > stop_ns);
        let release_ns = after
            .next()
            .filter(|left| !left.touched)
            .map(|left| left.at_ns);
        let window = contact_ns - BEFORE_NS..=release_ns.unwrap_or(stop_ns);
        let outputs = &self.course.outputs;
        let begun = outputs
            .iter()
            .rfind(|outputs| outputs.at_ns <= *window.start());
        let down = outputs
            .iter()
            .filter(|outputs| window.contains(&outputs.at_ns) && !outputs.ready);
        Some(AtControl {
            stop_ns,
            release_ns,
            gaps: down.count() + usize::from(begun.is_none_or(|begun| !begun.ready)),
        })
    }

    /// From onset to line, and the greatest bound stated with any touch, ns.
    pub(crate) fn delay_ns(&self) -> (u32, f64) {
        let bounds = self
            .touches
            .iter()
            .filter_map(|touch| Some(touch.4?.told?.1));
        (self.link.plan.delay_ns, bounds.fold(0.0, f64::max).ceil())
    }

    /// What became of each touch, as CSV.
    pub(crate) fn csv(&self) -> String {
        let mut text = format!("{COLUMNS}\n");
        for &(number, contact_ns, _, _, left) in &self.touches {
            let stop = left.map_or(String::new(), |left| left.at_ns.to_string());
            let (onset, bound) = left.and_then(|left| left.told).unzip();
            let whole = |value: Option<f64>| value.map_or(String::new(), |ns| format!("{ns:.0}"));
            let remarks = words(left.map_or(EdgeRemarks::NONE, |left| left.remarks), "|");
            let (onset, bound) = (whole(onset), whole(bound.map(f64::ceil)));
            let _ = writeln!(
                text,
                "{number},{contact_ns},{stop},{onset},{bound},{remarks}"
            );
        }
        text
    }

    /// The table for people.
    pub(crate) fn table(&self) -> String {
        table(&self.cells())
    }

    /// Its cells, the header first.
    pub(crate) fn cells(&self) -> Vec<Vec<String>> {
        let header = [
            "air",
            "feed mm/min",
            "told ms",
            "line stops ms",
            "after onset + D ns",
            "bound ns",
            "flags",
        ];
        let mut cells = vec![header.map(str::to_owned).to_vec()];
        for &(number, contact_ns, told_ns, feed, left) in &self.touches {
            let ms = |at: i64| format!("{:.3}", (at - contact_ns) as f64 / 1e6);
            let mut line = vec![number.to_string(), feed.to_string(), ms(told_ns)];
            match left {
                Some(left) => {
                    let bound = left
                        .told
                        .map_or("unknown".to_owned(), |(_, ns)| format!("{ns:.0}"));
                    let late = format!("{:+.0}", self.late_ns(&left));
                    line.extend([ms(left.at_ns), late, bound, words(left.remarks, " ")]);
                }
                None => line.extend(["", "", "", "not carried"].map(str::to_owned)),
            }
            cells.push(line);
        }
        cells
    }

    /// A sentence on the link.
    pub(crate) fn lead(&self) -> String {
        format!(
            "The same touches over an infrared link that loses {:.0} % of its frames in bursts of {} slots, D {} ms.",
            self.link.loss.share() * 1e2,
            self.link.loss.burst(),
            self.link.plan.delay_ns / 1_000_000,
        )
    }

    /// From onset + D to the output edge, ns.
    fn late_ns(&self, left: &Left) -> f64 {
        (left.at_ns - left.onset_ns - i64::from(self.link.plan.delay_ns)) as f64
    }

    /// The way of one touch: the one that lost most frames.
    pub(crate) fn passage(&self) -> Option<Passage> {
        let within = |from: i64, to: i64| {
            let frames = self.course.frames.iter();
            frames.filter(move |frame| (from..to).contains(&frame.sent_ns))
        };
        let lost = |contact_ns: i64, left: &Left| {
            within(contact_ns, left.at_ns)
                .filter(|frame| frame.fate == Fate::Lost)
                .count()
        };
        let left = self
            .touches
            .iter()
            .filter_map(|&(number, contact_ns, told_ns, feed, left)| {
                Some((number, contact_ns, told_ns, feed, left?))
            });
        let most = left.max_by_key(|(_, contact_ns, _, _, left)| lost(*contact_ns, left));
        let (number, contact_ns, told_ns, feed, left) = most?;
        let (onset_ns, _) = left.told?;
        let (before, after) = (contact_ns - 100_000_000, left.at_ns + 100_000_000);
        let level = |of: fn(&crate::study::over_air::Outputs) -> bool| {
            self.course
                .outputs
                .iter()
                .map(|outputs| (outputs.at_ns, of(outputs)))
                .collect()
        };
        Some(Passage {
            title: format!("From contact to the line: touch {number} at {feed} mm/min"),
            caption: format!(
                "Simulated, an invented link. Of the frames between contact and output {} were lost; the line stops \
                 as if none had been.",
                lost(contact_ns, &left)
            ),
            contact_ns,
            told_ns,
            due_ns: onset_ns.round() as i64 + i64::from(self.link.plan.delay_ns),
            delay_ns: self.link.plan.delay_ns.into(),
            contact: self.contact.clone(),
            frames: within(before, after)
                .map(|frame| (frame.sent_ns, frame.fate != Fate::Lost))
                .collect(),
            ready: level(|outputs| outputs.ready),
            run: level(|outputs| outputs.run),
        })
    }

    /// Output edges of many touches.
    pub(crate) fn delays(&self) -> Delays {
        let touches = || {
            self.study
                .left
                .iter()
                .filter(|left| left.touched && left.remarks.is_empty())
        };
        Delays {
            title: format!("Output edges of {} touches against onset + D", touches().count()),
            caption: "Simulated, an invented link: clean touches one after the other over the same losses. The delay \
                      is constant; what is left is the clock's error, the step in which ages are told, and the tick."
                .to_owned(),
            late_ns: touches().map(|left| self.late_ns(left)).collect(),
            delay_ns: self.link.plan.delay_ns.into(),
            bound_ns: touches().filter_map(|left| left.told).map(|told| told.1).fold(0.0, f64::max),
        }
    }

    /// The receiver's clock on the way.
    pub(crate) fn residuals(&self) -> Residuals {
        let points = self.study.clock.iter();
        Residuals {
            title: "The receiver's clock, with the bound it states".to_owned(),
            caption: "Simulated, an invented link: the probe's oscillator is off by up to 60 ppm and drifts by 0.1 ppm \
                      a second, arrivals are captured with 200 ns of jitter."
                .to_owned(),
            points: points.map(|clock| (clock.at_ns, clock.off_ns, clock.bound_ns)).collect(),
        }
    }

    /// The grade while the air changes.
    pub(crate) fn grades(&self) -> Grades {
        Grades {
            title: "The grade of the link while its air changes".to_owned(),
            caption: format!(
                "Simulated, an invented link at rest: it loses {:.0} % in bursts of {} slots, and from {} s on, for {} s, {:.0} % in \
                 bursts of {}.",
                AIR[0].0 * 1e2,
                AIR[0].1,
                AIR[0].2,
                AIR[1].2,
                AIR[1].0 * 1e2,
                AIR[1].1,
            ),
            points: self
                .graded
                .iter()
                .map(|point| GradePoint {
                    at_s: point.at_s,
                    grade: match point.grade {
                        Grade::Good => 0,
                        Grade::Fair => 1,
                        Grade::Poor => 2,
                    },
                    told_per_h: point.told_per_h,
                    true_per_h: point.true_per_h,
                })
                .collect(),
        }
    }

    /// The cells from new to their end.
    pub(crate) fn discharge(&self) -> Result<Discharge, Fault> {
        let plan = self
            .cells
            .config()
            .map_err(|why| Fault::new(why.to_string(), "cells", "report this fault"))?;
        let (life, hours) = &self.life;
        let h = |s: u32| f64::from(s) / 3_600.0;
        let run_h = h(self.cells.runs_s[0]);
        Ok(Discharge {
            title: format!("Do the cells last the next {run_h:.0} hours?"),
            caption: "Simulated, an invented pack: one lithium-manganese cell at 10 \u{b0}C under an infrared head, told by \
                      the gauge of the library. Whenever the answer is yes, it does last; cannot tell is to be read as no."
                .to_owned(),
            hours: hours
                .iter()
                .map(|hour| Told {
                    at_h: hour.at_h,
                    volts: (hour.volts_mv.0 / 1e3, hour.volts_mv.1 / 1e3),
                    left_h: (h(hour.lasts_s.0), h(hour.lasts_s.1)),
                    verdict: match hour.verdicts[0] {
                        Verdict::Yes => 0,
                        Verdict::CannotTell => 1,
                        Verdict::No => 2,
                    },
                })
                .collect(),
            stop_v: f64::from(plan.plan().load.stop_mv) / 1e3,
            run_h,
            life_h: life.hours,
        })
    }

    /// A sentence on the cells.
    pub(crate) fn cells_lead(&self) -> String {
        let (life, hours) = &self.life;
        let yes = hours
            .iter()
            .rposition(|hour| hour.verdicts[0] == Verdict::Yes);
        format!(
            "Its cell, simulated: {:.0} h in all; 'lasts 72 h' was told yes up to hour {}, and {} times wrongly.",
            life.hours,
            yes.unwrap_or(0),
            life.wrong_yes[0],
        )
    }
}

fn words(remarks: EdgeRemarks, between: &str) -> String {
    let words: Vec<&str> = remarks.words().collect();
    words.join(between)
}
