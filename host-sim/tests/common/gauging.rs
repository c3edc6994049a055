//! `gauge` as the tests call it.

use std::process::{Command, Output};

use super::common::scenario;

pub(crate) const HEADER: &str = "cycle,touch,line,axis,spot,onset_ns,feed_nm_s,position_nm,doubt_ns,release_nm,held_ns,spindle_mhz,ready_gaps,flags";
const HITS: &str = "cycle,touch,hit,start_ns,width_ns";

/// Plan and touches, further words behind them.
pub(crate) fn gauge(plan: &str, touches: &str, args: &[&str]) -> Output {
    run(plan, touches, None, args)
}

/// The same with rows of hits, told as JSON.
pub(crate) fn gauge_hits(plan: &str, touches: &str, hits: &str) -> Output {
    run(plan, touches, Some(hits), &["--json"])
}

fn run(plan: &str, touches: &str, hits: Option<&str>, args: &[&str]) -> Output {
    let (_folder, path) = scenario("");
    std::fs::write(path("plan.toml"), plan).unwrap();
    std::fs::write(path("touches.csv"), touches).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_trueonset"));
    command.args(["gauge", &path("plan.toml"), &path("touches.csv")]);
    if let Some(hits) = hits {
        std::fs::write(path("hits.csv"), format!("{HITS}\n{hits}")).unwrap();
        command.args(["--hits", &path("hits.csv")]);
    }
    command.args(args).output().unwrap()
}

/// Row of a hit on a plate, so deep into the circle of a cutter of 5 mm that turns once in `turn_s`.
pub(crate) fn hit(number: u32, start_ns: i64, depth_m: f64, turn_s: f64) -> String {
    let width = (8.0 * depth_m / 5e-3).sqrt() / std::f64::consts::TAU * turn_s;
    format!("1,1,{number},{start_ns},{}\n", (width * 1e9) as u32)
}
