//! For the integrator: how late, and how far off, is the trigger at each approach feed?
//!
//! ```text
//! cargo run --release -p trueonset-sim --example trigger_timing -- 60dB 1ms
//! ```
//!
//! The scene is invented: a light barrier of 150 µm span, noise up to 100 kHz, a 16 MHz capture
//! clock. Put your own figures into the [`Cell`]. What stands under `delay` is what your control
//! must subtract if it latches at the confirmation; under `spread` and `doubt` what it cannot.
//!
//! Computed on a model. Prove any setting on the machine, at reduced feed, before relying on it.

use std::process::ExitCode;

use trueonset_sim::quantity::{ratio_mdb, span_ns};
use trueonset_sim::study::runner::{run, Cell, Plan, Station};
use trueonset_sim::study::summary::Summary;

/// Feeds shown, mm/min.
const FEEDS: [f64; 5] = [10.0, 60.0, 300.0, 1000.0, 5000.0];
const TOUCHES: u64 = 400;

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1);
    let snr = words.next().unwrap_or("60dB".to_owned());
    let hold = words.next().unwrap_or("1ms".to_owned());
    match table(&snr, &hold) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("error: {why}");
            ExitCode::from(2)
        }
    }
}

fn table(snr: &str, hold: &str) -> Result<(), Box<dyn std::error::Error>> {
    let (snr, hold_ns) = (ratio_mdb(snr)? as f64 / 1e3, span_ns(hold)?);
    println!("feed mm/min  missed  delay ms  bias nm  spread nm  doubt nm  first edge nm");
    for feed in FEEDS {
        let station = Station {
            hold_ns,
            class: false,
            bandwidth_hz: 100_000,
        };
        let plan = Plan {
            stations: vec![station],
            seeds: 1..=TOUCHES,
            devices: 2,
            school: 64,
            warm_up: 8,
        };
        for trials in run(&Cell::new(feed, snr), &plan)? {
            let seen = Summary::of(&trials);
            println!(
                "{feed:>11}  {:>6}  {:>8.3}  {:>7.1}  {:>9.1}  {:>8.1}  {:>13.1}",
                seen.missed,
                seen.confirm_ns.mean() / 1e6,
                seen.error.mean(),
                seen.error.sd(),
                seen.doubt_rms,
                seen.first.mean(),
            );
        }
    }
    Ok(())
}
