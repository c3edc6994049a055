//! Cutters of four teeth that touch while they turn: radius and run-out by the widths of their hits.
//!
//! `cargo bench --bench cutters [-- CUTTERS]`: 4000 a row, drawn as `study::cutters` says. Kept in
//! `tests/results/cutters.csv`. Exit 1 when a limit is broken: bias of the radius at most 0.1 um by the
//! hits, and by the feed where the teeth are known to be equal; run-outs of 3 um and more told in 30 %
//! and more where the plate comes back between the teeth, and at most 1 % of them told wrong.
//!
//! `bias_feed_nm` of uneven teeth is what half a turn's feed leaves: without hits nobody knows more.

use std::fmt::Write as _;
use std::process::ExitCode;

use trueonset_sim::study::cutters::{draw, Asked};

const RESULT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results/cutters.csv");
const BIAS: f64 = 0.1e-6;
const TOLD: f64 = 0.3;
const WRONG: f64 = 0.01;

fn main() -> ExitCode {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let cutters = asked.unwrap_or(4_000_u64);
    let mut text = format!(
        "# cutters of four teeth, {cutters} a row; cargo bench --bench cutters -- {cutters}\n\
         per_turn_um,teeth,cutters,batted,uneven,told,told_share,wrong,wrong_share,by_hits,bias_hits_nm,se_nm,sd_hits_nm,inside_2u,bias_feed_nm,sd_feed_nm\n"
    );
    let mut fine = true;
    for per_turn in [0.1e-6, 0.3e-6, 1e-6] {
        for (word, run_out) in [
            ("equal", (0.0, 0.0)),
            ("nearly equal", (0.0, 1e-6)),
            ("uneven", (3e-6, 10e-6)),
        ] {
            let ends = draw(&Asked { per_turn, run_out }, cutters, 1);
            let share = |hits: u64, of: u64| hits as f64 / of.max(1) as f64;
            let (told, wrong) = (share(ends.told, ends.uneven), share(ends.wrong, ends.told));
            fine &= ends.by_hits.mean().abs() <= BIAS;
            fine &= word != "equal" || ends.by_feed.mean().abs() <= BIAS;
            fine &= word != "uneven" || (told >= TOLD && wrong <= WRONG);
            let row = format!(
                "{:.1},{word},{},{},{},{},{told:.3},{},{wrong:.4},{},{:.1},{:.1},{:.1},{:.3},{:.1},{:.1}",
                per_turn * 1e6,
                ends.cutters,
                ends.batted,
                ends.uneven,
                ends.told,
                ends.wrong,
                ends.by_hits.count(),
                ends.by_hits.mean() * 1e9,
                ends.by_hits.mean_error() * 1e9,
                ends.by_hits.sd() * 1e9,
                share(ends.inside, ends.by_hits.count()),
                ends.by_feed.mean() * 1e9,
                ends.by_feed.sd() * 1e9,
            );
            println!("{row}");
            let _ = writeln!(text, "{row}");
        }
    }
    if let Err(why) = std::fs::write(RESULT, text) {
        eprintln!("{RESULT}: {why}");
        return ExitCode::from(2);
    }
    ExitCode::from(u8::from(!fine))
}
