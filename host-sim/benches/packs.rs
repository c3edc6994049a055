//! Packs of cells over their life: a yes that was wrong, and the hours given away by caution.
//!
//! `cargo bench -p trueonset-sim --bench packs [-- PACKS]`: PACKS drawn packs over all rows
//! together (30 000), and as many with capacity, voltage and resistance at their worst together.
//! Kept in `tests/results/packs.csv`. Exit 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use trueonset::battery::{BatteryConfigError, Chemistry};
use trueonset_sim::study::packs::{Case, Life};
use trueonset_sim::study::statistics::{bound_after_none, quantile, Moments};

const RESULT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results/packs.csv");
/// Mean spare hours of a run of 8 h, where the curve of a new pack has a slope to see.
const SPARE_H: f64 = 45.0;
const CELSIUS: [i16; 2] = [22, 5];
/// Rows of drawn packs: chemistries, temperatures, new or part-used.
const ROWS: u64 = 5 * 2 * 2;

fn main() -> ExitCode {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let each = asked.unwrap_or(30_000_u64).div_ceil(ROWS);
    match run(each) {
        Ok((text, broken)) => {
            print!("{text}");
            if let Err(why) = std::fs::write(RESULT, text) {
                eprintln!("{RESULT}: {why}");
                return ExitCode::from(2);
            }
            ExitCode::from(u8::from(broken > 0))
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

fn run(each: u64) -> Result<(String, usize), BatteryConfigError> {
    let begin = Instant::now();
    let mut rows = String::new();
    let (mut broken, mut packs, mut verdicts, mut wrong) = (0, 0, 0, 0);
    for worst in [false, true] {
        for chemistry in Chemistry::ALL {
            for (celsius, new) in CELSIUS.iter().flat_map(|&c| [(c, true), (c, false)]) {
                let case = Case {
                    new,
                    worst,
                    ..Case::of(chemistry, celsius)
                };
                let lives = case.lives(0..each)?;
                packs += each;
                verdicts += lives.iter().map(|life| life.verdicts).sum::<u64>();
                wrong += lives.iter().filter(|life| is_wrong(life)).count();
                broken += usize::from(!row(&mut rows, &case, &lives));
            }
        }
    }
    let bound = if wrong == 0 {
        format!(": below {:.2e} a pack at 95 %", bound_after_none(packs))
    } else {
        String::new()
    };
    let head = format!(
        "# packs of cells through the gauge, hourly verdicts, duty 0-40 % redrawn every 2 h, mean 2 mA\n\
         # cargo bench -p trueonset-sim --bench packs -- {}\n\
         # {:.0} s; packs {packs}, verdicts {verdicts}, packs with a wrong yes {wrong}{bound}; limits broken: {broken}\n\
         chemistry,celsius,cells,parts,packs,life_h,verdicts,wrong_yes_8h,wrong_yes_72h,wrong_no_8h,\
         spare_8h_mean,spare_8h_p95,spare_72h_mean,end_before_least,end_after_most,resistance_rms_percent,\
         spare_8h_limit,verdict\n",
        each * ROWS,
        begin.elapsed().as_secs_f64(),
    );
    Ok((head + &rows, broken))
}

fn is_wrong(life: &Life) -> bool {
    life.wrong_yes.iter().any(|&times| times > 0)
}

/// Writes a row; whether its limits hold.
fn row(rows: &mut String, case: &Case, lives: &[Life]) -> bool {
    let mean = |of: &dyn Fn(&Life) -> f64| lives.iter().map(of).collect::<Moments>().mean();
    let sum = |of: &dyn Fn(&Life) -> u64| lives.iter().map(of).sum::<u64>();
    let spare = mean(&|life| life.spare_h[0]);
    let mut spares: Vec<f64> = lives.iter().map(|life| life.spare_h[0]).collect();
    // Alkaline and lithium-thionyl are told, not judged.
    let judged = !matches!(
        case.chemistry,
        Chemistry::Alkaline | Chemistry::LithiumThionyl
    );
    let right = !lives.iter().any(is_wrong);
    let holds = right && (!judged || spare <= SPARE_H);
    let _ = writeln!(
        rows,
        "{:?},{},{},{},{},{:.0},{},{},{},{},{spare:.1},{:.1},{:.1},{},{},{:.1},{},{}",
        case.chemistry,
        case.celsius,
        if case.new { "new" } else { "part-used" },
        if case.worst { "worst" } else { "drawn" },
        lives.len(),
        mean(&|life| life.hours),
        sum(&|life| life.verdicts),
        sum(&|life| life.wrong_yes[0]),
        sum(&|life| life.wrong_yes[1]),
        sum(&|life| life.wrong_no[0]),
        quantile(&mut spares, 0.95).unwrap_or(f64::NAN),
        mean(&|life| life.spare_h[1]),
        sum(&|life| life.outside[0]),
        sum(&|life| life.outside[1]),
        100.0 * mean(&|life| life.resistance_error.powi(2)).sqrt(),
        if judged {
            format!("{SPARE_H}")
        } else {
            String::new()
        },
        if holds { "holds" } else { "BROKEN" },
    );
    holds
}
