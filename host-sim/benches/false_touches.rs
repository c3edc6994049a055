//! False touches of a line at rest among spikes and bursts, by the hold.
//!
//! `cargo bench --bench false_touches [-- HOURS]`: 50, 60, 80 and 100 µs over
//! HOURS (10 000), 200 µs over ten times as many. Kept under `tests/results/`.
//! Exit 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use trueonset_sim::model::bursts::Environment;
use trueonset_sim::study::false_touches::{false_touches, two_that_meet_per_hour};
use trueonset_sim::study::judged::{self, Judged, Score};

const RESULTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results");
const HEADER: &str =
    "hold_us,hours,touches,per_hour,error,two_that_meet_per_hour,below_per_hour,wanted,verdict\n";
/// Rates an earlier simulation of ours found over 10 000 hours, an hour.
const EARLIER: [(u64, f64); 3] = [(50, 0.307), (60, 0.118), (80, 0.0121)];

fn main() -> ExitCode {
    let begin = Instant::now();
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let hours: u64 = asked.unwrap_or(10_000);
    let environment = Environment::workshop();
    let holds = [50, 60, 80, 100];
    let run = |holds: &[u64], hours| {
        let ns: Vec<u64> = holds.iter().map(|us| us * 1_000).collect();
        false_touches(&environment, &ns, 0..hours)
    };
    let (Ok(short), Ok(long)) = (run(&holds, hours), run(&[200], 10 * hours)) else {
        eprintln!("a hold is out of range");
        return ExitCode::from(2);
    };
    let mut rows: Vec<(u64, u64, u64)> = holds
        .iter()
        .zip(short)
        .map(|(hold, touches)| (*hold, hours, touches))
        .collect();
    rows.push((200, 10 * hours, long[0]));
    let mut text = String::new();
    let mut score = Score::default();
    for (hold_us, hours, touches) in rows {
        let span = hours as f64;
        let rate = touches as f64 / span;
        let earlier = EARLIER.iter().find(|(hold, _)| *hold == hold_us);
        let judged = match earlier {
            Some(&(_, wanted)) => {
                // Both counts scatter: this one, and that of the 10 000 hours before.
                let error = (wanted / span).sqrt().hypot((wanted / 1e4).sqrt());
                Judged {
                    quantity: "per_hour",
                    value: rate,
                    error,
                    low: wanted - 3.0 * error,
                    high: wanted + 3.0 * error,
                }
            }
            None => Judged::at_most("per_hour", rate, 0.0, 0.0),
        };
        score.broken += usize::from(!judged.holds());
        let single = environment.single;
        let meet = two_that_meet_per_hour(
            single.rate,
            (single.shortest, single.longest),
            hold_us as f64 * 1e-6,
        );
        println!(
            "{:6} hold {hold_us} us, {hours} h: {touches} touches, {judged}; two that meet {meet:.4}; below {:.2e} an hour at 95 % where none",
            judged.verdict(),
            3.0 / span,
        );
        let _ = writeln!(
            text,
            "{hold_us},{hours},{touches},{rate:.5},{:.5},{meet:.5},{:.2e},{},{}",
            judged.error,
            3.0 / span,
            judged.limit(),
            judged.verdict(),
        );
    }
    let part = judged::Part {
        bench: "false_touches",
        name: "rest",
        about: "false touches of a line at rest: ten single spikes a second of 0.5 to 50 us, a burst every ten seconds",
        begin,
        score,
    };
    part.keep(RESULTS, &(HEADER.to_owned() + &text));
    ExitCode::from(u8::from(score.broken > 0))
}
