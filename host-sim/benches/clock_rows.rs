//! The clock beside a least-squares line in double precision: spread of dated
//! edges, and whether they stay within the stated bound.
//!
//! `cargo bench --bench clock_rows`; kept under `tests/results/`. Exit 1 when
//! a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;

use rayon::prelude::*;
use trueonset_sim::model::stamp::Stamp;
use trueonset_sim::study::clocked::{Outcome, Probe, Row, MEMORIES};

fn main() -> ExitCode {
    for probe in [Probe::Crystal, Probe::Rc] {
        for (name, stamp) in [
            ("capture", Stamp::CAPTURE),
            ("radio", Stamp::RADIO),
            ("software", Stamp::SOFTWARE),
        ] {
            for (slot_ms, beat) in [(1, 10), (1, 5), (2, 10)] {
                for (loss, burst) in [(0.01, 1.0), (0.3, 1.0), (0.1, 5.0)] {
                    let row = Row {
                        probe,
                        stamp,
                        slot_ms,
                        beat,
                        loss,
                        burst,
                    };
                    let runs: Vec<Outcome> = (0..20_u64)
                        .into_par_iter()
                        .map(|seed| row.run(60.0, seed))
                        .collect();
                    let mut line = String::new();
                    let n: u64 = runs.iter().map(|r| r.clock.moments.count()).sum();
                    let rms = |f: &dyn Fn(&Outcome) -> f64| {
                        (runs.iter().map(|r| f(r).powi(2)).sum::<f64>() / runs.len() as f64).sqrt()
                    };
                    let sd = rms(&|r| r.clock.moments.sd());
                    let max = runs.iter().map(|r| r.clock.farthest()).fold(0.0, f64::max);
                    let _ = write!(line, "{probe:?} {name} {slot_ms}x{beat} loss {loss} L {burst}: n {n} sd {sd:.4} max {max:.3} mean {:.3}", runs[0].clock.moments.mean());
                    for i in 0..MEMORIES.len() {
                        let _ = write!(line, " {:.3}", sd / rms(&|r| r.squares[i].moments.sd()));
                    }
                    let mut bounds: Vec<f64> =
                        runs.iter().flat_map(|r| r.bounds.iter().copied()).collect();
                    bounds.sort_by(f64::total_cmp);
                    let q = |p: f64| {
                        bounds
                            .get(
                                ((bounds.len() as f64 * p) as usize)
                                    .min(bounds.len().saturating_sub(1)),
                            )
                            .copied()
                            .unwrap_or(f64::NAN)
                    };
                    let c = if name == "software" {
                        runs.iter().map(|r| r.clock.moments.mean()).sum::<f64>() / runs.len() as f64
                    } else {
                        0.0
                    };
                    let mut worst = 0.0_f64;
                    let mut outside = 0;
                    let mut stated = 0;
                    for r in &runs {
                        for (e, b) in &r.stated {
                            stated += 1;
                            let x = (f64::from(*e) - c).abs() / f64::from(*b);
                            worst = worst.max(x);
                            if x > 1.0 {
                                outside += 1;
                            }
                        }
                    }
                    let _ = write!(
                        line,
                        " U {:.2}/{:.2}/{:.2} outside {outside}/{stated} worst {worst:.3}",
                        q(0.5),
                        q(0.999),
                        q(1.0)
                    );
                    let _ = write!(
                        line,
                        " refused {} clashes {} minima {} lock {:?}",
                        runs.iter().map(|r| r.refused).sum::<u64>(),
                        runs.iter().map(|r| r.clashes).sum::<u32>(),
                        runs.iter().filter(|r| r.minima).count(),
                        runs.iter().map(|r| r.locked_after.unwrap_or(0)).max()
                    );
                    println!("{line}");
                }
            }
        }
    }
    ExitCode::SUCCESS
}
