//! Calibration of a comparator by make and break, end to end: simulated logs
//! with their truth, constants out of them, and what is left on fresh logs
//! replayed with those constants.
//!
//! `cargo bench --bench calibration`: half hysteresis of 0, 0.5 and 1 sigma at
//! 60 dB, 0.1 to 5000 mm/min, 400 and 30 pairs a feed. Kept under
//! `tests/results/`. Exit 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use rayon::prelude::*;
use trueonset::lateness::{Calibrator, Lateness};
use trueonset::onset::Chatter;
use trueonset_sim::fault::Fault;
use trueonset_sim::replay::{Row, Settings};
use trueonset_sim::scenario::{Scenario, Tables};
use trueonset_sim::study::judged::{self, Judged, Score};
use trueonset_sim::study::replayed::replayed;
use trueonset_sim::study::statistics::{Moments, Share};
use trueonset_sim::tune::{gather, Calibrated, True, FEEDS};

const RESULTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results");
const HEADER: &str = "hysteresis_sigma,pairs,feed_known,feed_mm_min,trials,mean_nm,error_nm,quantity,value,uncertainty,limit,verdict\n";
const FEEDS_MM_MIN: [f64; 7] = [0.1, 1.0, 10.0, 60.0, 300.0, 1000.0, 5000.0];
/// Seeds of the logs calibrated with begin here, those of fresh logs at 1.
const CALIBRATION_SEEDS: u64 = 7_000_000;
/// Calibrations of their own, for the doubts.
const CALIBRATIONS: u64 = 40;

fn scenario(feed: f64, hysteresis: f64) -> Result<Scenario, Fault> {
    Scenario::of(&Tables::parse(
        &format!(
            "[approach]\nfeed = \"{feed}mm/min\"\ndepth = \"5um\"\nclearance = \"200um\"\n\
             [barrier]\nhysteresis = {hysteresis}\n"
        ),
        "calibration",
    )?)
}

/// A simulated log, replayed.
fn log(
    feed: f64,
    hysteresis: f64,
    touches: u64,
    seed: u64,
    settings: &Settings,
) -> Result<(Vec<True>, Vec<Row>, Chatter), Fault> {
    let scenario = scenario(feed, hysteresis)?;
    let replayed = replayed(&scenario, touches, seed, settings, false)?;
    let truth = replayed.truth.iter().map(|touch| True {
        onset_ns: touch.onset_ns,
        release_ns: touch.release_ns,
        feed_nm_s: (scenario.feed * 1e9).round() as u32,
    });
    Ok((truth.collect(), replayed.rows, replayed.learned))
}

fn calibrate(hysteresis: f64, pairs: u64, series: u64) -> Result<Calibrated, Fault> {
    let logs: Result<Vec<_>, Fault> = FEEDS_MM_MIN
        .par_iter()
        .map(|&feed| {
            log(
                feed,
                hysteresis,
                pairs,
                CALIBRATION_SEEDS + series,
                &Settings::default(),
            )
        })
        .collect();
    let mut calibrator = Calibrator::<FEEDS>::new();
    // What the slowest feed has taught: its touches have the most edges.
    let mut learned = None;
    for (truth, rows, chatter) in logs? {
        gather(&truth, &rows, &mut calibrator, ("log", "truth"))?;
        learned.get_or_insert(chatter);
    }
    Calibrated::of(&calibrator, learned.unwrap_or_default())
}

/// What fresh touches at one feed come to.
struct Found {
    feed: f64,
    /// Behind the truth, nm.
    error: Moments,
    /// Within two doubts of the truth.
    inside: Share,
}

/// Fresh logs at each feed, replayed with `constants`; the feed stated or not.
fn found(
    hysteresis: f64,
    touches: u64,
    constants: &Calibrated,
    known: bool,
) -> Result<Vec<Found>, Fault> {
    FEEDS_MM_MIN
        .par_iter()
        .map(|&feed| {
            let feed_nm_s = (feed * 1e6 / 60.0).round() as u32;
            let settings = Settings {
                lateness: constants.lateness,
                chatter: Chatter::known(constants.chatter_ns.pow(2) * 256),
                feed_nm_s: known.then_some(feed_nm_s),
                one_feed: known,
                ..Settings::default()
            };
            // Slow feeds have a thousand times the edges and a hundredth of the scatter.
            let touches = if feed < 5.0 { touches / 20 } else { touches };
            let (truth, rows, _) = log(feed, hysteresis, touches, 1, &settings)?;
            let mut error = Moments::default();
            let mut inside = Share { hits: 0, trials: 0 };
            for touch in truth {
                let after = rows.partition_point(|row| row.onset_ns < touch.release_ns);
                let Some(row) = after.checked_sub(1).and_then(|own| rows.get(own)) else {
                    continue;
                };
                let late_ns = row.onset_ns - touch.onset_ns;
                error.add(late_ns as f64 * f64::from(feed_nm_s) * 1e-9);
                inside.trials += 1;
                let doubt = row.doubt_ns.unwrap_or(u64::MAX / 2);
                inside.hits += u64::from(late_ns.unsigned_abs() <= 2 * doubt);
            }
            Ok(Found {
                feed,
                error,
                inside,
            })
        })
        .collect()
}

/// From the lowest to the highest mean, with its standard error.
fn spread(found: &[Found]) -> (f64, f64) {
    let order = |a: &&Found, b: &&Found| a.error.mean().total_cmp(&b.error.mean());
    let (low, high) = (found.iter().min_by(order), found.iter().max_by(order));
    low.zip(high).map_or((f64::NAN, f64::NAN), |(low, high)| {
        (
            high.error.mean() - low.error.mean(),
            high.error.mean_error().hypot(low.error.mean_error()),
        )
    })
}

struct Table {
    text: String,
    score: Score,
}

impl Table {
    fn row(&mut self, cell: (f64, u64, bool, f64), of: &Found, judged: &Judged) {
        let (hysteresis, pairs, known, feed) = cell;
        self.score.broken += usize::from(!judged.holds());
        println!(
            "{:6} h {hysteresis} sigma, {pairs} pairs, feed {} {feed} mm/min: {judged}",
            judged.verdict(),
            if known { "stated" } else { "unknown" },
        );
        let _ = writeln!(
            self.text,
            "{hysteresis},{pairs},{known},{feed},{},{:.3},{:.3},{},{:.4},{:.4},{},{}",
            of.error.count(),
            of.error.mean(),
            of.error.mean_error(),
            judged.quantity,
            judged.value,
            judged.error,
            judged.limit(),
            judged.verdict(),
        );
    }

    /// One half hysteresis: 400 and 30 pairs, feed stated and unknown.
    fn half_hysteresis(&mut self, h: f64, touches: u64) -> Result<(), Fault> {
        let limit = if h > 0.5 { 20.0 } else { 10.0 };
        for pairs in [400, 30] {
            let constants = calibrate(h, pairs, 0)?;
            println!("{:?} {} ns", constants.lateness, constants.chatter_ns);
            for known in [true, false] {
                let found = found(h, touches, &constants, known)?;
                let (apart, error) = spread(&found);
                for at in &found {
                    self.score.touches += at.error.count();
                    let inside = Judged {
                        quantity: "inside",
                        value: at.inside.value(),
                        error: at.inside.error(),
                        low: 0.94,
                        high: if at.feed < 500.0 && pairs == 400 {
                            0.965
                        } else {
                            1.0
                        },
                    };
                    self.row((h, pairs, known, at.feed), at, &inside);
                }
                let limit = if known && pairs == 400 {
                    limit
                } else {
                    f64::INFINITY
                };
                let judged = Judged::at_most("feed_dependent_nm", apart, error, limit);
                self.row((h, pairs, known, 0.0), &found[0], &judged);
            }
        }
        self.doubts(h, touches)
    }

    /// Many calibrations of 30 pairs: what they are off by, in units of their doubt.
    fn doubts(&mut self, h: f64, touches: u64) -> Result<(), Fault> {
        let none = Calibrated {
            lateness: Lateness::default(),
            feeds: Vec::new(),
            chatter_ns: 0,
        };
        let truth = found(h, touches, &none, false)?;
        let many: Result<Vec<_>, Fault> = (1..=CALIBRATIONS)
            .map(|series| calibrate(h, 30, series))
            .collect();
        let many = many?;
        for at in &truth {
            let feed = (at.feed * 1e6 / 60.0).round() as u32;
            let mut squares = Moments::default();
            for calibrated in &many {
                let doubt_ps = calibrated.lateness.at_feed(feed).doubt_ps;
                let doubt = doubt_ps as f64 * f64::from(feed) * 1e-12;
                let off = calibrated.fitted_nm(feed) - at.error.mean();
                // A tenth of a nanometre is nothing beside any onset's own doubt.
                let doubt = doubt.hypot(at.error.mean_error()).hypot(0.1);
                squares.add((off / doubt).powi(2));
            }
            let judged = Judged::at_most(
                "off_over_doubt",
                squares.mean().sqrt(),
                squares.mean_error() / squares.mean().sqrt() / 2.0,
                1.3,
            );
            self.row((h, 30, true, at.feed), at, &judged);
        }
        Ok(())
    }
}

fn main() -> ExitCode {
    let begin = Instant::now();
    let mut table = Table {
        text: String::new(),
        score: Score::default(),
    };
    for h in [0.0, 0.5, 1.0] {
        if let Err(why) = table.half_hysteresis(h, 20_000) {
            eprintln!("{why}");
            return ExitCode::from(2);
        }
    }
    let part = judged::Part {
        bench: "calibration",
        name: "comparator",
        about: "comparator calibrated by make and break, 60 dB: what depends on the feed afterwards, on fresh logs",
        begin,
        score: table.score,
    };
    part.keep(RESULTS, &(HEADER.to_owned() + &table.text));
    ExitCode::from(u8::from(table.score.broken > 0))
}
