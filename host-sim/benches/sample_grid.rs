//! Grid of the sampled barrier: spread against the full-span bound, share
//! within two doubts, and what film and slow approaches do to the rest level.
//!
//! `cargo bench --bench sample_grid -- PART...` with parts `spread`, `rest`;
//! without any, both. Each part is run with the seeds 1..N and again with
//! N+1..2N and kept under `tests/results/`. Exit 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use trueonset::barrier::Method;
use trueonset_sim::study::judged::{self, Judged, Score};
use trueonset_sim::study::sampled::{run_sampled, SampledCell, SampledTrial};
use trueonset_sim::study::statistics::{Moments, Share};

/// Tests keep their results beside their sources.
const RESULTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results");
const HEADER: &str =
    "method,rate_hz,snr_db,feed_mm_min,film_per_h,armed_s,first_seed,touches,missed,\
    bias_nm,sd_nm,bound_nm,hard_bias_nm,hard_sd_nm,flags,quantity,value,error,limit,verdict\n";
const METHODS: [Method; 2] = [Method::Matched, Method::Area];

#[derive(Default)]
struct Table {
    text: String,
    score: Score,
}

/// What the trials of a cell come to; lengths in nm.
struct Seen {
    missed: u64,
    error: Moments,
    hard: Moments,
    inside: Share,
    flags: String,
}

impl Seen {
    fn of(trials: &[SampledTrial]) -> Self {
        let found = || trials.iter().filter_map(|t| t.trial.found);
        let error: Moments = found().map(|found| found.error_nm).collect();
        let judged = || found().filter_map(|found| Some((found.error_nm, found.doubt_nm?)));
        Self {
            missed: trials.len() as u64 - error.count(),
            hard: trials.iter().filter_map(|t| t.hard_nm).collect(),
            // About the mean: a constant place offset belongs to the calibration of the place.
            inside: Share {
                hits: judged()
                    .filter(|(e, doubt)| (e - error.mean()).abs() <= 2.0 * doubt)
                    .count() as u64,
                trials: judged().count() as u64,
            },
            flags: found()
                .next()
                .map_or(String::new(), |found| found.flags.to_string()),
            error,
        }
    }
}

impl Table {
    fn measure(
        &mut self,
        cell: &SampledCell,
        n: u64,
        half: u64,
        limits: impl Fn(&Seen) -> Vec<Judged>,
    ) -> Option<Seen> {
        let first = half * n + 1;
        let trials = run_sampled(cell, first..=(half + 1) * n).ok()?;
        let seen = Seen::of(&trials);
        let film_per_h = cell.cell.disturbance.film.map_or(0.0, |film| film.per_hour);
        self.score.touches += n;
        self.score.missed += seen.missed;
        let mut judged = limits(&seen);
        judged.push(Judged::at_most("missed", seen.missed as f64, 0.0, 0.0));
        let method = match cell.method {
            Method::Area => "area",
            Method::Matched => "matched",
        };
        for judged in judged {
            self.score.broken += usize::from(!judged.holds());
            println!(
                "{:6} {method} {} S/s {} dB {} mm/min film {} armed {} s seeds {first}.. N {n}: {judged}; bias {:.2} nm",
                judged.verdict(),
                cell.rate_hz,
                cell.cell.snr,
                cell.cell.feed,
                film_per_h,
                cell.armed_s,
                seen.error.mean(),
            );
            let _ = writeln!(
                self.text,
                "{method},{},{},{},{},{},{first},{n},{},{:.3},{:.3},{:.3},{:.3},{:.3},{},{},{:.4},{:.4},{},{}",
                cell.rate_hz,
                cell.cell.snr,
                cell.cell.feed,
                film_per_h,
                cell.armed_s,
                seen.missed,
                seen.error.mean(),
                seen.error.sd(),
                cell.bound_nm(),
                seen.hard.mean(),
                seen.hard.sd(),
                seen.flags,
                judged.quantity,
                judged.value,
                judged.error,
                judged.limit(),
                judged.verdict(),
            );
        }
        Some(seen)
    }
}

/// 12 bit, 40 to 60 dB, 1 to 5000 mm/min, 200 and 50 kS/s.
fn spread(table: &mut Table, half: u64) {
    for method in METHODS {
        for rate_hz in [200_000, 50_000] {
            for snr in [40.0, 50.0, 60.0] {
                for feed in [1.0, 10.0, 60.0, 300.0, 1000.0, 5000.0] {
                    let cell = SampledCell {
                        rate_hz,
                        ..SampledCell::new(feed, snr, method)
                    };
                    let limit = match (method, rate_hz) {
                        (Method::Matched, 200_000) => 1.05,
                        (Method::Matched, _) => 1.08,
                        (Method::Area, 200_000) => 1.10,
                        (Method::Area, _) => 1.15,
                    };
                    let n = if feed < 5.0 { 1_000 } else { 5_000 };
                    table.measure(&cell, n, half, |seen| {
                        let ratio = seen.error.sd() / cell.bound_nm();
                        let relative = seen.error.sd_error() / seen.error.sd();
                        vec![
                            Judged::at_most("sd/bound", ratio, ratio * relative, limit),
                            Judged {
                                quantity: "inside",
                                value: seen.inside.value(),
                                error: seen.inside.error(),
                                low: 0.94,
                                high: 0.965,
                            },
                        ]
                    });
                }
            }
        }
    }
}

/// Film of half the light an hour, and approaches so slow that they look like film.
fn rest(table: &mut Table, half: u64) {
    for method in METHODS {
        let cell = |feed| SampledCell {
            rate_hz: 50_000,
            ..SampledCell::new(feed, 60.0, method)
        };
        // The place where a fast blade is found, which is where a slow one should be.
        let Some(fast) = table.measure(&cell(1000.0), 400, half, |_| Vec::new()) else {
            return;
        };
        let place = fast.error.mean();
        let away = |quantity, limit: f64| {
            move |seen: &Seen| {
                vec![Judged {
                    quantity,
                    value: seen.error.mean() - place,
                    error: seen.error.mean_error(),
                    low: -limit,
                    high: limit,
                }]
            }
        };
        for (feed, limit) in [(0.1, 65.0), (1.0, 7.0), (10.0, 7.0), (60.0, 7.0)] {
            let n = if feed < 1.0 { 4 } else { 40 };
            table.measure(&cell(feed), n, half, away("slow_nm", limit));
        }
        let limit = match method {
            Method::Area => 60.0,
            Method::Matched => 80.0,
        };
        for armed_s in [120.0, 600.0, 1_800.0] {
            let filmed = cell(300.0).filmed(0.5, armed_s);
            table.measure(&filmed, 100, half, away("film_nm", limit));
        }
        let both = cell(1.0).filmed(0.5, 1_200.0);
        table.measure(&both, 40, half, away("film_and_slow_nm", f64::INFINITY));
    }
}

fn main() -> ExitCode {
    type Rows = fn(&mut Table, u64);
    let parts: [(&str, &str, Rows); 2] = [
        ("spread", "sampled barrier: spread against the full-span bound, share within two doubts of the calibrated mean", spread),
        ("rest", "sampled barrier, 60 dB, 50 kS/s: what slow approaches and film do to the onset", rest),
    ];
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let mut broken = 0;
    for (name, about, rows) in parts {
        if !asked.is_empty() && !asked.iter().any(|word| word == name) {
            continue;
        }
        let begin = Instant::now();
        let mut table = Table::default();
        rows(&mut table, 0);
        rows(&mut table, 1);
        let part = judged::Part {
            bench: "sample_grid",
            name,
            about,
            begin,
            score: table.score,
        };
        part.keep(RESULTS, &(HEADER.to_owned() + &table.text));
        broken += table.score.broken;
    }
    ExitCode::from(u8::from(broken > 0))
}
