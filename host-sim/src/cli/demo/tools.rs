//! What the touches are for: tools measured and judged by the code of `gauge`, from what the control sees.
//!
//! ```text
//! output edges at the control, onset + D ─┐
//! positions of the axis, one every ms ────┼─▶ latch ─▶ gauge ─▶ length with doubt, whole, broken, unproven
//! a plan for each visit to the probe ─────┘
//! ```

use std::fmt::Write as _;
use std::path::Path;

use rand_distr::{Distribution, Normal};

use super::compare::Compared;
use super::link::{AtControl, Carried};
use super::scenario::{past_the_middle_nm, Touch, LINE};
use crate::cli::table::table;
use crate::fault::Fault;
use crate::gauge::{judge, read_touches, Outcome, Plan};
use crate::model::rng;

/// Length of the mandrel that lengths are counted from, nm.
const MANDREL_NM: i64 = 20_000_000;
/// Length of a tool that would touch at the position 0, nm.
const ZERO_AT_NM: i64 = 30_000_000;
/// The axis comes back to a place within this standard deviation, nm.
const AXIS_NM: f64 = 80.0;
/// From one position of the axis to the next, ns.
const PERIOD_NS: i64 = 1_000_000;
/// Positions are kept from so long before a contact to so long after its end, ns.
const MARGIN_NS: i64 = 10_000_000;
/// Where an approach that meets nothing ends, below the stored length, nm.
const TRAVEL_NM: i64 = 100_000;
/// Names the stream of the axis among all others.
const NAME: u64 = 0x746f_6f6c;

/// What is asked at a visit to the probe.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Asked {
    /// Where the mandrel touches.
    Reference,
    /// How long the tool is.
    Length,
    /// Whether it is still whole.
    Whole,
}

/// A visit of a tool to the probe.
struct Visit {
    /// Name of its files.
    file: &'static str,
    tool: &'static str,
    asked: Asked,
    /// Numbers of the demo's touches that are its own.
    touches: &'static [usize],
    /// Stored length, nm; of tool 1, which is measured here, none.
    stored_nm: Option<i64>,
    /// The true length, nm; none where nothing is touched.
    true_nm: Option<i64>,
}

const VISITS: [Visit; 5] = [
    Visit {
        file: "0-mandrel",
        tool: "mandrel",
        asked: Asked::Reference,
        touches: &[9, 10, 11, 12],
        stored_nm: None,
        true_nm: Some(MANDREL_NM),
    },
    Visit {
        file: "1-new",
        tool: "tool 1 when new",
        asked: Asked::Length,
        touches: &[13, 14, 15, 16],
        stored_nm: None,
        true_nm: Some(30_012_300),
    },
    Visit {
        file: "1-after",
        tool: "tool 1 after its cut",
        asked: Asked::Whole,
        touches: &[17, 18],
        stored_nm: None,
        true_nm: Some(30_008_200),
    },
    Visit {
        file: "2-after",
        tool: "tool 2 after its cut",
        asked: Asked::Whole,
        touches: &[19, 20],
        stored_nm: Some(25_400_000),
        true_nm: Some(25_320_000),
    },
    Visit {
        file: "3-after",
        tool: "tool 3 after its cut",
        asked: Asked::Whole,
        touches: &[],
        stored_nm: Some(22_000_000),
        true_nm: None,
    },
];

/// A visit with what came of it.
struct Judged {
    visit: &'static Visit,
    feed_mm_min: Option<u32>,
    outcome: Outcome,
}

/// All visits.
pub(crate) struct Tools {
    judged: Vec<Judged>,
}

/// Judges every visit; plans, touches and positions go to `folder`, so that `gauge` can judge them again.
///
/// # Errors
/// A file that cannot be written. Visits that the gauge refuses are faults of the program.
pub(crate) fn judge_all(
    compared: &Compared,
    carried: &Carried,
    seed: u64,
    folder: &Path,
) -> Result<Tools, Fault> {
    std::fs::create_dir_all(folder)
        .map_err(|why| Fault::io(&folder.display().to_string(), "create", &why))?;
    let mut tools = Tools { judged: Vec::new() };
    let mut known = Known::default();
    for (number, visit) in VISITS.iter().enumerate() {
        let mut made = Made::new(visit, seed, number as u64);
        for (touch, truth, row) in compared.found() {
            let (Some(at), true) = (carried.at_control(touch), visit.touches.contains(&touch))
            else {
                continue;
            };
            made.touch(&truth, row.doubt_ns, &row.flags.to_string(), &at);
        }
        let plan = known.plan(visit, carried);
        for (end, text) in [
            ("toml", &plan),
            ("csv", &made.touches),
            ("axis.csv", &made.axis),
        ] {
            let path = folder.join(format!("{}.{end}", visit.file));
            crate::cli::write_file(&path, text.as_bytes())?;
        }
        let touches = read_touches(made.touches.as_bytes(), "touches", true)?;
        // Where nothing was touched, the row says where the axis ended.
        let axis = visit.true_nm.map(|_| (made.axis.as_bytes(), "positions"));
        let outcome = judge(&Plan::parse(&plan, "plan")?, touches, axis, None)?;
        known.learn(visit, &outcome);
        tools.judged.push(Judged {
            visit,
            feed_mm_min: made.feed_mm_min,
            outcome,
        });
    }
    Ok(tools)
}

/// Touches of a visit as the control has them, and the positions of its axis.
struct Made {
    visit: &'static Visit,
    touches: String,
    axis: String,
    rows: u32,
    /// How far the axis is off at this visit, nm.
    off_nm: f64,
    feed_mm_min: Option<u32>,
}

impl Made {
    fn new(visit: &'static Visit, seed: u64, number: u64) -> Self {
        let mut rng = rng::stream(&[NAME, seed, number]);
        let mut made = Self {
            visit,
            touches: "cycle,touch,line,axis,spot,onset_ns,feed_nm_s,position_nm,doubt_ns,release_ns,held_ns,ready_gaps,flags\n"
                .to_owned(),
            axis: "time_ns,axis,position_nm\n".to_owned(),
            rows: 0,
            off_nm: Normal::new(0.0, AXIS_NM).map_or(0.0, |normal| normal.sample(&mut rng)),
            feed_mm_min: None,
        };
        if let (None, Some(stored_nm)) = (visit.true_nm, visit.stored_nm) {
            let end_nm = stored_nm - ZERO_AT_NM - TRAVEL_NM;
            let _ = writeln!(made.touches, "1,1,{LINE},z,left,,-5000000,{end_nm},,,,0,");
        }
        made
    }

    /// Adds a touch: its line at the control stops a constant delay after the onset.
    fn touch(&mut self, truth: &Touch, doubt_ns: Option<u64>, flags: &str, at: &AtControl) {
        self.rows += 1;
        self.feed_mm_min = Some(truth.feed_mm_min);
        let doubt = doubt_ns.map_or(String::new(), |ns| ns.to_string());
        let release = at.release_ns.map_or(String::new(), |ns| ns.to_string());
        // Two spots in turn: a chip on the plate lies on one of them.
        let spot = ["right", "left"][self.rows as usize % 2];
        let _ = writeln!(
            self.touches,
            "1,{},{LINE},z,{spot},{},,,{doubt},{release},,{},{flags}",
            self.rows, at.stop_ns, at.gaps
        );
        let contact_nm = (self.visit.true_nm.unwrap_or(0) - ZERO_AT_NM) as f64 + self.off_nm;
        let first = (truth.onset_ns - MARGIN_NS) / PERIOD_NS;
        let last = (truth.release_ns + MARGIN_NS) / PERIOD_NS;
        for time_ns in (first..=last).map(|k| k * PERIOD_NS) {
            let place = contact_nm - past_the_middle_nm(truth, time_ns);
            let _ = writeln!(self.axis, "{time_ns},z,{}", place.round() as i64);
        }
    }
}

/// What earlier visits have taught.
#[derive(Default)]
struct Known {
    /// Position of the mandrel and its standard uncertainty, nm.
    mandrel: Option<(f64, f64)>,
    /// Length of tool 1 when new, and the same.
    length: Option<(f64, f64)>,
}

impl Known {
    fn learn(&mut self, visit: &Visit, outcome: &Outcome) {
        let found = outcome.value_nm.zip(outcome.u_nm);
        match visit.asked {
            Asked::Reference => self.mandrel = found,
            Asked::Length => self.length = found,
            Asked::Whole => {}
        }
    }

    /// The plan of a visit, as `gauge` reads it.
    fn plan(&self, visit: &Visit, carried: &Carried) -> String {
        let kind = match visit.asked {
            Asked::Reference | Asked::Length => "length",
            Asked::Whole => "breakage",
        };
        let mut text = format!(
            "# {}: an invented tool on an invented machine; for trueonset gauge.\n[check]\nkind = \"{kind}\"\nline = \"{LINE}\"\n",
            visit.tool
        );
        let (position_nm, mandrel_u_nm) = self.mandrel.unwrap_or_default();
        if visit.asked == Asked::Reference {
            // Counted from nothing, the size is the position itself.
            text += "reference_position = \"0nm\"\nreference_length = \"0nm\"\n";
        } else {
            let _ = writeln!(
                text,
                "reference_position = \"{position_nm:.0}nm\"   # of the mandrel, as measured\nreference_length = \"{MANDREL_NM}nm\""
            );
        }
        if visit.asked == Asked::Whole {
            let (measured_nm, u_nm) = self.length.unwrap_or_default();
            let (expected_nm, doubt_nm) = visit
                .stored_nm
                .map_or((measured_nm, u_nm), |nm| (nm as f64, 100.0));
            let _ = writeln!(
                text,
                "hold = \"20ms\"\ntouches = 2\n[tool]\nexpected = \"{expected_nm:.0}nm\"\nexpected_doubt = \"{doubt_nm:.0}nm\"\n\
                 wear = \"20um\"\nlong = \"10um\"\nsmallest_break = \"50um\""
            );
        }
        let (delay_ns, bound_ns) = carried.delay_ns();
        let _ = writeln!(
            text,
            "[latch]\nmethod = \"history\"\nperiod = \"{PERIOD_NS}ns\"\ndelay = \"{delay_ns}ns\"   # of the link, from onset to line\n\
             delay_doubt = \"{bound_ns:.0}ns\"   # its greatest bound\n[budget.axis]\nsd = \"{AXIS_NM}nm\"\nclass = \"cycle\""
        );
        if visit.asked != Asked::Reference {
            let _ = writeln!(
                text,
                "[budget.mandrel]\nsd = \"{mandrel_u_nm:.0}nm\"\nclass = \"setup\""
            );
        }
        text
    }
}

impl Tools {
    /// Header and rows as words.
    pub(crate) fn cells(&self) -> Vec<Vec<String>> {
        let header = [
            "tool",
            "feed mm/min",
            "touches",
            "length mm",
            "\u{b1} um (95 %)",
            "true mm",
            "off um",
            "verdict",
        ];
        let mut cells = vec![header.map(str::to_owned).to_vec()];
        for one in self
            .judged
            .iter()
            .filter(|one| one.visit.asked != Asked::Reference)
        {
            let found = &one.outcome;
            let or_none = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
            let mm = |nm: f64| format!("{:.5}", nm / 1e6);
            let true_nm = one.visit.true_nm.map(|nm| nm as f64);
            let off = found
                .value_nm
                .zip(true_nm)
                .map(|(found, truth)| found - truth);
            cells.push(vec![
                one.visit.tool.to_owned(),
                or_none(one.feed_mm_min.map(|feed| feed.to_string())),
                found.touches.to_string(),
                or_none(found.value_nm.map(mm)),
                or_none(found.expanded_nm.map(|nm| format!("{:.2}", nm / 1e3))),
                or_none(true_nm.map(mm)),
                or_none(off.map(|nm| format!("{:+.2}", nm / 1e3))),
                verdict(one),
            ]);
        }
        cells
    }

    /// The table for people.
    pub(crate) fn table(&self) -> String {
        table(&self.cells())
    }

    /// The verdicts in a sentence.
    pub(crate) fn sentence(&self) -> String {
        let asked = self
            .judged
            .iter()
            .filter(|one| one.visit.asked == Asked::Whole);
        let one = |one: &Judged| {
            let found = &one.outcome;
            let length =
                found
                    .value_nm
                    .zip(found.expanded_nm)
                    .map_or(String::new(), |(nm, expanded_nm)| {
                        format!(
                            ", {:.4} mm \u{b1} {:.2} \u{b5}m (95 %)",
                            nm / 1e6,
                            expanded_nm / 1e3
                        )
                    });
            format!("{} is {}{length}", one.visit.tool, verdict(one))
        };
        let words: Vec<String> = asked.map(one).collect();
        format!("Verdicts: {}.", words.join("; "))
    }

    /// The visit whose touches are shown: the first that is asked for a verdict.
    pub(crate) fn shown(&self) -> Option<(&str, &Outcome)> {
        let mut asked = self
            .judged
            .iter()
            .filter(|one| one.visit.asked == Asked::Whole);
        asked.next().map(|one| (one.visit.tool, &one.outcome))
    }
}

/// The command that judges a visit again.
pub(crate) fn command(folder: &Path) -> String {
    let at = |end: &str| {
        folder
            .join(format!("{}.{end}", VISITS[2].file))
            .display()
            .to_string()
    };
    format!(
        "trueonset gauge {} {} --axis {}",
        at("toml"),
        at("csv"),
        at("axis.csv")
    )
}

fn verdict(one: &Judged) -> String {
    let reason = one
        .outcome
        .reason
        .map_or(String::new(), |why| format!(" ({why})"));
    one.outcome
        .verdict
        .map_or("measured".to_owned(), |word| format!("{word}{reason}"))
}
