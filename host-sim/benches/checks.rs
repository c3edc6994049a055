//! Checks for breakage: how often a broken tool is called whole, and a whole one anything else.
//!
//! `cargo bench -p trueonset-sim --bench checks [-- CHECKS]`: CHECKS of broken tools (10 000 000) in
//! each row, and a tenth of them of whole tools, with one attempt and with two. Kept in
//! `tests/results/checks.csv`. Exit 1 when a broken tool is called whole, a whole one broken in more
//! than 1e-5, or unproven in more than 1e-3 with two attempts and nothing that stays wrong.

use std::fmt::Write as _;
use std::process::ExitCode;

use trueonset_sim::study::checks::{config, live, Hazards};
use trueonset_sim::study::statistics::bound_after_none;

const RESULT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results/checks.csv");

fn main() -> ExitCode {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let checks = asked.unwrap_or(10_000_000_u64);
    let mut rows = String::from("hazards,attempts,tool,checks,whole,broken,unproven\n");
    let mut false_whole = 0;
    let mut fine = true;
    for attempts in [1, 2] {
        let config = match config(attempts) {
            Ok(config) => config,
            Err(why) => {
                eprintln!("{why}");
                return ExitCode::from(2);
            }
        };
        // Whether nothing is wrong that another attempt finds again.
        for (word, hazards, passes) in [
            ("clean", Hazards::CLEAN, true),
            ("droplets", Hazards::DROPLETS, true),
            ("chips", Hazards::CHIPS, true),
            ("faults", Hazards::FAULTS, false),
            ("wet", Hazards::WET, false),
            ("storm", Hazards::STORM, false),
        ] {
            for (tool, short, number) in [
                ("broken", (30e-6, 200e-6), checks),
                ("whole", (-8e-6, 18e-6), checks / 10),
            ] {
                let ends = live(&config, &hazards, short, number, 20_261_127);
                let row = format!(
                    "{word},{attempts},{tool},{number},{},{},{}",
                    ends.whole, ends.broken, ends.unproven
                );
                println!("{row}");
                let _ = writeln!(rows, "{row}");
                if tool == "broken" {
                    false_whole += ends.whole;
                } else {
                    fine &= ends.broken <= number / 100_000;
                    fine &= attempts == 1 || !passes || ends.unproven <= number / 1_000;
                }
            }
        }
    }
    println!(
        "none in {checks} is below {:.1e} at 95 %",
        bound_after_none(checks)
    );
    if let Err(why) = std::fs::write(RESULT, rows) {
        eprintln!("{RESULT}: {why}");
        return ExitCode::from(2);
    }
    ExitCode::from(u8::from(false_whole > 0 || !fine))
}
