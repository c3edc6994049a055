//! The clock beside a least-squares line in double precision: spread of dated
//! edges, their stated bounds, and how many predictions lie outside them.
//!
//! `cargo bench --bench clock_rows -- PART...` with parts `rows`, `starts`;
//! without any, both. Kept under `tests/results/`. Exit 1 when a limit is
//! broken. Errors of captured frames are judged as they are, those of software
//! stamps about the mean of the settled clock, which belongs to the calibrated
//! delay.

use std::fmt::Write as _;
use std::path::Path;
use std::process::ExitCode;
use std::time::{Instant, SystemTime};

use rayon::prelude::*;
use trueonset_sim::model::stamp::Stamp;
use trueonset_sim::study::clocked::{Outcome, Probe, Row, MEMORIES};
use trueonset_sim::study::judged::Judged;
use trueonset_sim::study::statistics::{bound_after_none, quantile};

/// Tests keep their results beside their sources.
const RESULTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results");
/// Predictions of a row to be judged.
const STATED: f64 = 1.05e6;

/// Runs of a row put together; µs.
#[derive(Default)]
struct Seen {
    edges: u64,
    mean: f64,
    sd: f64,
    farthest: f64,
    /// Spread of least squares with each of the memories.
    squares: [f64; MEMORIES.len()],
    bounds: Vec<f64>,
    stated: u64,
    outside: u64,
    /// Largest error over its bound.
    worst: f64,
    refused: u64,
    clashes: u64,
    minima: usize,
}

impl Seen {
    fn of(runs: &[Outcome], constant: Option<f64>) -> Self {
        let n = runs.len() as f64;
        let mean = |f: &dyn Fn(&Outcome) -> f64| runs.iter().map(f).sum::<f64>() / n;
        let rms = |f: &dyn Fn(&Outcome) -> f64| mean(&|run| f(run).powi(2)).sqrt();
        let mut seen = Self {
            edges: runs.iter().map(|run| run.clock.moments.count()).sum(),
            mean: mean(&|run| run.clock.moments.mean()),
            sd: rms(&|run| run.clock.moments.sd()),
            farthest: runs
                .iter()
                .map(|run| run.clock.farthest())
                .fold(0.0, f64::max),
            bounds: runs
                .iter()
                .flat_map(|run| run.bounds.iter().copied())
                .collect(),
            refused: runs.iter().map(|run| run.refused).sum(),
            clashes: runs.iter().map(|run| u64::from(run.clashes)).sum(),
            minima: runs.iter().filter(|run| run.minima).count(),
            ..Self::default()
        };
        for (i, squares) in seen.squares.iter_mut().enumerate() {
            *squares = rms(&|run| run.squares[i].moments.sd());
        }
        let constant = constant.unwrap_or(seen.mean);
        for (error, bound) in runs.iter().flat_map(|run| &run.stated) {
            let share = (f64::from(*error) - constant).abs() / f64::from(*bound);
            seen.stated += 1;
            seen.outside += u64::from(share > 1.0);
            seen.worst = seen.worst.max(share);
        }
        seen
    }
}

/// A row of the table and its limits.
struct Case {
    name: &'static str,
    row: Row,
    /// Of the spread against least squares, and of the bound in µs.
    ratio: f64,
    bound: f64,
}

const STAMPS: [(&str, Stamp); 3] = [
    ("capture", Stamp::CAPTURE),
    ("radio", Stamp::RADIO),
    ("software", Stamp::SOFTWARE),
];

fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for probe in [Probe::Crystal, Probe::Rc] {
        for (name, stamp) in STAMPS {
            for (slot_ms, beat) in [(1, 10), (1, 5), (2, 10)] {
                for (loss, burst, ratio) in [
                    (0.01, 1.0, 1.1),
                    (0.3, 1.0, 1.15),
                    (0.1, 5.0, f64::INFINITY),
                ] {
                    // What an infrared link, a radio link and an RC are to state.
                    let bound = match (probe, name, slot_ms * beat as u32) {
                        _ if burst > 1.0 => f64::INFINITY,
                        (Probe::Crystal, "capture", 5 | 10) => 1.0,
                        (Probe::Crystal, "radio", _) => 2.0,
                        (Probe::Rc, "capture", _) => 4.0,
                        _ => f64::INFINITY,
                    };
                    cases.push(Case {
                        name,
                        row: Row {
                            probe,
                            stamp,
                            slot_ms,
                            beat,
                            loss,
                            burst,
                        },
                        ratio,
                        bound,
                    });
                }
            }
        }
    }
    cases
}

/// As long and as often as it takes.
fn runs(row: &Row, seconds: f64, stated: f64) -> Vec<Outcome> {
    let frame_s = f64::from(row.slot_ms) * 1e-3 * row.beat as f64;
    let each = 2.0 * seconds / frame_s * (1.0 - row.loss);
    let seeds = 1..=(stated / each).ceil() as u64;
    seeds
        .into_par_iter()
        .map(|seed| row.run(seconds, seed))
        .collect()
}

struct Table {
    text: String,
    broken: usize,
    stated: u64,
    outside: u64,
}

impl Table {
    fn add(&mut self, case: &Case, mut seen: Seen, limits: &[Judged]) {
        let Row {
            probe,
            slot_ms,
            beat,
            loss,
            burst,
            ..
        } = case.row;
        self.stated += seen.stated;
        self.outside += seen.outside;
        let ratio = |i: usize| seen.sd / seen.squares[i];
        let ratios: Vec<String> = (0..MEMORIES.len())
            .map(|i| format!("{:.3}", ratio(i)))
            .collect();
        let most = quantile(&mut seen.bounds, 1.0).unwrap_or(f64::NAN);
        let middle = quantile(&mut seen.bounds, 0.5).unwrap_or(f64::NAN);
        let verdict = limits
            .iter()
            .map(Judged::verdict)
            .find(|v| *v != "holds")
            .unwrap_or("holds");
        self.broken += limits.iter().filter(|judged| !judged.holds()).count();
        let told: Vec<String> = limits.iter().map(ToString::to_string).collect();
        println!(
            "{verdict:6} {probe:?} {} {slot_ms} ms x {beat} loss {loss} bursts of {burst}: {}",
            case.name,
            told.join(", ")
        );
        let _ = writeln!(
            self.text,
            "{probe:?},{},{slot_ms},{beat},{loss},{burst},{},{:.4},{:.4},{:.3},{},{middle:.3},{most:.3},{},{},{:.3},{},{},{},{verdict}",
            case.name,
            seen.edges,
            seen.mean,
            seen.sd,
            seen.farthest,
            ratios.join(","),
            seen.stated,
            seen.outside,
            seen.worst,
            seen.refused,
            seen.clashes,
            seen.minima,
        );
    }
}

/// The constant about which a row is judged.
fn constant(case: &Case) -> Option<f64> {
    (case.name != "software").then_some(0.0)
}

/// Settled clocks: runs of a minute.
fn rows(table: &mut Table) {
    for case in cases() {
        let mut seen = Seen::of(&runs(&case.row, 60.0, STATED), constant(&case));
        let bound = quantile(&mut seen.bounds, 0.999).unwrap_or(f64::INFINITY);
        let ratio = seen.sd / seen.squares[0];
        let limits = [
            Judged::at_most(
                "sd/least squares",
                ratio,
                ratio / (2.0 * seen.edges as f64).sqrt(),
                case.ratio,
            ),
            Judged::at_most("bound_us, 999 of 1000", bound, 0.0, case.bound),
            Judged::at_most("outside", seen.outside as f64, 0.0, 0.0),
        ];
        table.add(&case, seen, &limits);
    }
}

/// Clocks that have just started: runs of 150 frames.
fn starts(table: &mut Table) {
    for case in cases() {
        let frame_s = f64::from(case.row.slot_ms) * 1e-3 * case.row.beat as f64;
        let settled = Seen::of(&runs(&case.row, 60.0, 5e4), None).mean;
        let constant = constant(&case).unwrap_or(settled);
        let seen = Seen::of(&runs(&case.row, 150.0 * frame_s, STATED), Some(constant));
        let limits = [Judged::at_most("outside", seen.outside as f64, 0.0, 0.0)];
        table.add(&case, seen, &limits);
    }
}

fn main() -> ExitCode {
    type Fill = fn(&mut Table);
    let parts: [(&str, &str, Fill); 2] = [
        ("rows", "clock and least squares with 1, 0.5, 0.71, 1.41 and 2 times its memory: settled, edges up to 50 ms old", rows),
        ("starts", "the same from the first frame on, 150 frames a run", starts),
    ];
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let mut broken = 0;
    for (name, about, fill) in parts {
        if !asked.is_empty() && !asked.iter().any(|word| word == name) {
            continue;
        }
        let begin = Instant::now();
        let mut table = Table {
            text: String::new(),
            broken: 0,
            stated: 0,
            outside: 0,
        };
        fill(&mut table);
        let notes = format!(
            "# {about}; us\n# cargo bench --bench clock_rows -- {name}\n# {:.0} s; outside {} of {} predictions: below {:.1e} each at 95 % if none; limits broken: {}\n# {}\n",
            begin.elapsed().as_secs_f64(),
            table.outside,
            table.stated,
            bound_after_none(table.stated),
            table.broken,
            humantime::format_rfc3339_seconds(SystemTime::now()),
        );
        print!("{notes}");
        let header = "probe,stamp,slot_ms,beat,loss,burst,edges,mean_us,sd_us,farthest_us,sd_ls1,sd_ls05,sd_ls07,sd_ls14,sd_ls2,bound_median_us,bound_most_us,stated,outside,worst,refused,clashes,on_minima,verdict\n";
        let path = Path::new(RESULTS).join(format!("clock_rows_{name}.csv"));
        if let Err(why) = std::fs::write(&path, notes + header + &table.text) {
            eprintln!("cannot keep {}: {why}", path.display());
        }
        broken += table.broken;
    }
    ExitCode::from(u8::from(broken > 0))
}
