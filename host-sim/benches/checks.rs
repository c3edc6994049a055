//! Checks for breakage: how often a broken tool is called whole, and a whole one anything else.
//!
//! `cargo bench -p trueonset-sim --bench checks [-- CHECKS]`: CHECKS of broken tools (10 000 000) in
//! each row, and a tenth of them of whole tools. Kept in `tests/results/checks.csv`. Exit 1 when a
//! broken tool is called whole.

use std::fmt::Write as _;
use std::process::ExitCode;

use trueonset_sim::study::checks::{config, live, Hazards};
use trueonset_sim::study::statistics::bound_after_none;

const RESULT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results/checks.csv");

fn main() -> ExitCode {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let checks = asked.unwrap_or(10_000_000_u64);
    let config = match config() {
        Ok(config) => config,
        Err(why) => {
            eprintln!("{why}");
            return ExitCode::from(2);
        }
    };
    let mut rows = String::from("hazards,tool,checks,whole,broken,unproven\n");
    let mut false_whole = 0;
    for (word, hazards) in [
        ("clean", Hazards::CLEAN),
        ("wet", Hazards::WET),
        ("storm", Hazards::STORM),
    ] {
        for (tool, short, number) in [
            ("broken", (30e-6, 200e-6), checks),
            ("whole", (-8e-6, 18e-6), checks / 10),
        ] {
            let ends = live(&config, &hazards, short, number, 20_261_127);
            if tool == "broken" {
                false_whole += ends.whole;
            }
            let _ = writeln!(
                rows,
                "{word},{tool},{number},{},{},{}",
                ends.whole, ends.broken, ends.unproven
            );
        }
    }
    print!("{rows}");
    println!(
        "none in {checks} is below {:.1e} at 95 %",
        bound_after_none(checks)
    );
    if let Err(why) = std::fs::write(RESULT, rows) {
        eprintln!("{RESULT}: {why}");
        return ExitCode::from(2);
    }
    ExitCode::from(u8::from(false_whole > 0))
}
