//! Full grid of the edge path: bias, spread, coverage and robustness of the
//! onset, each beside its standard error and its limit.
//!
//! `cargo bench --bench onset_grid -- PART...` with parts of [`PARTS`]; without
//! any, all. Each part is run with the seeds 1..N and again with N+1..2N and
//! stored under `tests/results/`. The exit status is 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use rand_distr::{Distribution, Uniform};
use trueonset_sim::model::rng;
use trueonset_sim::study::closed_form::{balance_sd, full_span_bound};
use trueonset_sim::study::judged::{self, Judged, Score};
use trueonset_sim::study::runner::{run, Cell, Plan, Station};
use trueonset_sim::study::statistics::Share;
use trueonset_sim::study::summary::Summary;

const FEEDS: [f64; 7] = [0.1, 1.0, 10.0, 60.0, 300.0, 1000.0, 5000.0];
const SNRS: [f64; 4] = [40.0, 50.0, 60.0, 70.0];
const MS: u64 = 1_000_000;
const SHORT: u64 = 200_000;
/// Tests keep their results beside their sources.
const RESULTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results");

/// A part of the grid: its name and what it measures.
struct Part {
    name: &'static str,
    about: &'static str,
    rows: fn(&mut Table, half: u64),
}

const PARTS: [Part; 6] = [
    Part {
        name: "bias",
        about: "mean error, hold 1 ms, 40 and 60 dB",
        rows: bias,
    },
    Part {
        name: "cells",
        about: "spread against the closed form, share within two doubts and missed touches, \
                28 cells, holds 1 ms and 200 us, without and with a feed class",
        rows: cells,
    },
    Part {
        name: "hysteresis",
        about: "share within two doubts of the calibrated mean at half hysteresis 0.5 and 1 sigma",
        rows: hysteresis,
    },
    Part {
        name: "orders",
        about: "share within two doubts at noise of order 2, 4, 6 and 8",
        rows: orders,
    },
    Part {
        name: "glitches",
        about: "share within two doubts under 100 spikes a second",
        rows: glitches,
    },
    Part {
        name: "random",
        about: "50 cells drawn from a seed: feed, noise, bandwidth, tick and hold",
        rows: random,
    },
];

fn main() -> ExitCode {
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    if let Some(word) = asked.iter().find(|w| PARTS.iter().all(|p| p.name != **w)) {
        let known: Vec<&str> = PARTS.iter().map(|p| p.name).collect();
        eprintln!("no part '{word}'; parts are: {}", known.join(", "));
        return ExitCode::from(2);
    }
    let mut broken = 0;
    for part in &PARTS {
        if asked.is_empty() || asked.iter().any(|word| word == part.name) {
            broken += part.measure();
        }
    }
    ExitCode::from(u8::from(broken > 0))
}

impl Part {
    /// Runs the part, stores its table and gives the number of broken limits.
    fn measure(&self) -> usize {
        let begin = Instant::now();
        let mut table = Table::default();
        for half in [0, 1] {
            (self.rows)(&mut table, half);
        }
        let part = judged::Part {
            bench: "onset_grid",
            name: self.name,
            about: self.about,
            begin,
            score: table.score,
        };
        part.keep(RESULTS, &(HEADER.to_owned() + &table.text));
        table.score.broken
    }
}

const HEADER: &str = "feed_mm_min,snr_db,k,order,hysteresis_sigma,glitches_per_s,corner_hz,tick_hz,\
    hold_us,bandwidth_stated_hz,class,first_seed,touches,missed,false_touches,edges,bias_nm,bias_se_nm,sd_nm,sd_se_nm,\
    closed_form_nm,full_span_nm,sd_ratio,balance_ratio,first_edge_nm,run_start_nm,p999_nm,\
    inside,inside_se,doubt_rms_ratio,doubt_median_ratio,upper,rough,short,hybrid,confirm_ms,\
    quantity,value,error,limit,verdict\n";

/// Rows as text, and what is counted over them.
#[derive(Default)]
struct Table {
    text: String,
    score: Score,
}

impl Table {
    fn row(&mut self, cell: &Cell, station: Station, first: u64, s: &Summary, judged: &[Judged]) {
        self.score.missed += s.missed;
        let light = cell.light();
        let sigma_nm = light.sigma_x() * 1e9;
        let closed = balance_sd(cell.order, cell.k()) * sigma_nm;
        let bound = 1e9
            * full_span_bound(
                cell.feed / 60_000.0,
                cell.corner,
                cell.order,
                light.sigma,
                light.profile.slope_energy(),
            );
        let inside = if cell.hysteresis > 0.0 {
            s.inside_calibrated
        } else {
            s.inside
        };
        let mut row = format!(
            "{},{:.1},{:.4},{},{},{},{:.0},{},{},{},{},{first},{},{},{},{:.1},",
            cell.feed,
            cell.snr,
            cell.k(),
            cell.order,
            cell.hysteresis,
            cell.glitches,
            cell.corner,
            cell.tick_hz,
            station.hold_ns / 1000,
            station.bandwidth_hz,
            u8::from(station.class),
            s.trials,
            s.missed,
            s.false_touches,
            s.edges.mean(),
        );
        let _ = write!(
            row,
            "{:.3},{:.3},{:.3},{:.3},{closed:.3},{bound:.3},{:.4},{:.4},{:.1},{:.1},{:.1},",
            s.error.mean(),
            s.error.mean_error(),
            s.error.sd(),
            s.error.sd_error(),
            s.error.sd() / closed,
            s.balance.sd() / closed,
            s.first.mean(),
            s.run.mean(),
            s.p999,
        );
        let _ = write!(
            row,
            "{:.4},{:.4},{:.3},{:.3},{:.3},{:.4},{:.3},{:.4},{:.3}",
            inside.value(),
            inside.error(),
            s.doubt_rms / s.error.sd(),
            s.doubt_median / s.error.sd(),
            s.upper.value(),
            s.rough.value(),
            s.short.value(),
            s.hybrid.value(),
            s.confirm_ns.mean() * 1e-6,
        );
        for judged in judged {
            let verdict = judged.verdict();
            let limit = judged.limit();
            self.score.broken += usize::from(!judged.holds());
            println!(
                "{verdict:6} {:>6.1} mm/min {:>4.1} dB K {:<9.3} n {} h {} hold {:>5} us fc {:>6} \
                 class {} seeds {first}.. N {}: {judged}",
                cell.feed,
                cell.snr,
                cell.k(),
                cell.order,
                cell.hysteresis,
                station.hold_ns / 1000,
                station.bandwidth_hz,
                u8::from(station.class),
                s.trials,
            );
            let _ = writeln!(
                self.text,
                "{row},{},{:.4},{:.4},{limit},{verdict}",
                judged.quantity, judged.value, judged.error
            );
        }
    }

    /// Runs `n` touches of `cell`, the first half of the seeds or the second, and
    /// writes a row for each station and limit.
    fn measure(
        &mut self,
        cell: &Cell,
        stations: &[Station],
        n: u64,
        half: u64,
        limits: impl Fn(Station, &Summary) -> Vec<Judged>,
    ) {
        let first = half * n + 1;
        let plan = Plan {
            stations: stations.to_vec(),
            seeds: first..=first + n - 1,
            devices: 10,
            school: 40,
            warm_up: if cell.k() < 20.0 { 300 } else { 2 },
        };
        match run(cell, &plan) {
            Ok(trials) => {
                self.score.touches += n;
                for (station, trials) in stations.iter().zip(&trials) {
                    let s = Summary::of(trials);
                    let mut judged = limits(*station, &s);
                    judged.push(Judged::at_most("missed", s.missed as f64, 0.0, 0.0));
                    self.row(cell, *station, first, &s, &judged);
                }
            }
            Err(why) => {
                self.score.broken += 1;
                println!("BROKEN {} mm/min {} dB: {why}", cell.feed, cell.snr);
            }
        }
    }
}

fn share(quantity: &'static str, share: Share, low: f64, high: f64) -> Judged {
    Judged {
        quantity,
        value: share.value(),
        error: share.error(),
        low,
        high,
    }
}

/// A line that is told the bandwidth of its noise, as every user should.
fn told(hold_ns: u64, class: bool, cell: &Cell) -> Station {
    Station {
        hold_ns,
        class,
        bandwidth_hz: cell.corner as u32,
    }
}

/// A line that is told nothing.
fn untold(hold_ns: u64, class: bool) -> Station {
    Station {
        hold_ns,
        class,
        bandwidth_hz: 0,
    }
}

/// Mean error: within 3 nm, known to 1 nm (3 nm at the slowest feed).
fn bias(table: &mut Table, half: u64) {
    for snr in [40.0, 60.0] {
        for feed in FEEDS {
            let cell = Cell::new(feed, snr);
            let n = match feed as u32 {
                _ if snr > 50.0 => 8_000,
                5000 => 144_000,
                1000 => 30_000,
                300 => 8_700,
                60 => 1_800,
                _ => 1_000,
            };
            let n = if snr > 50.0 && feed < 60.0 { 1_000 } else { n };
            table.measure(&cell, &[told(MS, false, &cell)], n, half, |_, s| {
                let known = if feed < 1.0 { 3.0 } else { 1.0 };
                vec![
                    Judged {
                        quantity: "bias_nm",
                        value: s.error.mean(),
                        error: s.error.mean_error(),
                        low: -3.0,
                        high: 3.0,
                    },
                    Judged::at_most("bias_se_nm", s.error.mean_error(), 0.0, known),
                ]
            });
        }
    }
}

/// Limits of the share within two doubts at K, with or without a feed class. In
/// between (0.15 to 0.9 without a class) most touches are upper bounds, and the
/// few that chatter enough speak for themselves.
fn doubt_limits(k: f64, class: bool, s: &Summary) -> Vec<Judged> {
    let ratio = s.doubt_rms / s.error.sd();
    let ratio_error = s.error.sd_error() / s.error.sd() * ratio;
    if k >= 0.9 || (class && k >= 0.15) {
        return vec![
            share("inside", s.inside, 0.94, 0.97),
            Judged::at_most("doubt_rms/sd", ratio, ratio_error, 1.3),
        ];
    }
    let mut judged = vec![share("inside", s.inside, 0.94, 1.0)];
    if !class && k < 0.15 {
        judged.push(share("upper", s.upper, 1.0, 1.0));
    }
    judged
}

/// Spread that an earlier study found at a hold of 200 µs, nm, 40 and 50 dB.
const SHORT_HOLD_SD: [(u32, [f64; 7]); 2] = [
    (40, [13.7, 13.9, 20.0, 42.0, 94.0, 170.0, 379.0]),
    (50, [4.6, 4.8, 10.0, 23.0, 52.0, 94.0, 203.0]),
];

fn cells(table: &mut Table, half: u64) {
    for snr in SNRS {
        for (column, feed) in FEEDS.into_iter().enumerate() {
            let cell = Cell::new(feed, snr);
            let k = cell.k();
            let n = match k {
                _ if k > 10_000.0 => 2_000,
                _ if k > 1_000.0 => 4_000,
                _ => 10_000,
            };
            let classes: &[bool] = if k < 20.0 { &[false, true] } else { &[false] };
            let mut stations = Vec::new();
            for &class in classes {
                for hold in [MS, SHORT] {
                    stations.extend([told(hold, class, &cell), untold(hold, class)]);
                }
            }
            table.measure(&cell, &stations, n, half, |station, s| {
                let mut judged = doubt_limits(k, station.class, s);
                let closed = balance_sd(4, k) * cell.light().sigma_x() * 1e9;
                let relative = s.balance.sd_error() / s.balance.sd();
                // Onset and spread do not depend on what is told, the class or the doubt.
                if station.class || station.bandwidth_hz == 0 {
                    return judged;
                }
                if station.hold_ns == MS {
                    let limit = match (feed < 0.5, snr as u32) {
                        (true, 40) => 1.40,
                        (true, 50) => 1.15,
                        _ => 1.05,
                    };
                    let balance = s.balance.sd() / closed;
                    judged.push(Judged::at_most(
                        "balance/closed",
                        balance,
                        balance * relative,
                        limit,
                    ));
                    let hybrid = s.error.sd() / closed;
                    judged.push(Judged::at_most(
                        "onset/closed",
                        hybrid,
                        hybrid * relative,
                        limit.max(1.08),
                    ));
                } else if let Some((_, study)) =
                    SHORT_HOLD_SD.iter().find(|row| row.0 == snr as u32)
                {
                    let ratio = s.balance.sd() / study[column];
                    judged.push(Judged {
                        quantity: "balance/study",
                        value: ratio,
                        error: ratio * relative,
                        low: 0.95,
                        high: 1.05,
                    });
                }
                judged
            });
        }
    }
}

/// Feeds at 40 dB from K 4849 to 0.97.
const LIVELY: [f64; 6] = [1.0, 10.0, 60.0, 300.0, 1000.0, 5000.0];

/// Both holds, with and without the bandwidth.
fn told_and_untold(cell: &Cell) -> [Station; 4] {
    [
        told(MS, false, cell),
        told(SHORT, false, cell),
        untold(MS, false),
        untold(SHORT, false),
    ]
}

/// The share within two doubts wanted under hysteresis and other filters.
const LEARNER_LIMIT: f64 = 0.93;

fn hysteresis(table: &mut Table, half: u64) {
    for hysteresis in [0.5, 1.0] {
        for feed in LIVELY {
            let cell = Cell {
                hysteresis,
                ..Cell::new(feed, 40.0)
            };
            let n = if cell.k() > 1000.0 { 2_000 } else { 5_000 };
            table.measure(&cell, &told_and_untold(&cell), n, half, |_, s| {
                vec![share(
                    "inside_calibrated",
                    s.inside_calibrated,
                    LEARNER_LIMIT,
                    1.0,
                )]
            });
        }
    }
}

fn orders(table: &mut Table, half: u64) {
    for order in [2, 4, 6, 8] {
        for feed in LIVELY {
            let cell = Cell {
                order,
                ..Cell::new(feed, 40.0)
            };
            let n = if cell.k() > 1000.0 { 2_000 } else { 5_000 };
            table.measure(&cell, &told_and_untold(&cell), n, half, |_, s| {
                vec![share("inside", s.inside, LEARNER_LIMIT, 1.0)]
            });
        }
    }
}

fn glitches(table: &mut Table, half: u64) {
    // K from 48 to 0.03.
    for (feed, snr) in [
        (10.0, 60.0),
        (60.0, 60.0),
        (300.0, 60.0),
        (1000.0, 60.0),
        (5000.0, 60.0),
        (5000.0, 70.0),
    ] {
        let cell = Cell {
            glitches: 100.0,
            ..Cell::new(feed, snr)
        };
        table.measure(&cell, &told_and_untold(&cell), 5_000, half, |_, s| {
            vec![share("inside", s.inside, 0.95, 1.0)]
        });
    }
}

/// Cells whose settings nobody chose: drawn once, from one seed, before any run.
fn random(table: &mut Table, half: u64) {
    let mut rng = rng::stream(&[50]);
    let mut draw = |low: f64, high: f64| {
        Uniform::new(low.ln(), high.ln()).map_or(low, |u| u.sample(&mut rng).exp())
    };
    for _ in 0..50 {
        let corner = draw(10e3, 200e3);
        let feed = draw(0.1, 5000.0);
        let snr = draw(40.0, 70.0);
        let tick_hz = draw(4e6, 200e6) as u32;
        // From the 10 mean dwells a hold needs (8/fc) to ten times as many.
        let hold_ns = (draw(8.0, 80.0) / corner * 1e9) as u64;
        let cell = Cell {
            feed,
            snr,
            corner,
            tick_hz,
            ..Cell::new(feed, snr)
        };
        let k = cell.k();
        let class = (0.15..0.97).contains(&k);
        let stations = [told(hold_ns, class, &cell)];
        table.measure(&cell, &stations, 2_000, half, |_, s| {
            doubt_limits(k, class, s)
        });
    }
}
