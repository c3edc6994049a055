//! Falls of READY between touches: closed form beside the simulated air.
//!
//! `cargo bench --bench ready_drops [-- simulated|shift] [HOURS]`: simulated
//! drops an hour over HOURS (200; fewer where drops are plenty) and the
//! shortest silence for less than 1e-3 drops in a shift of 8 h. Kept under
//! `tests/results/`. Exit 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use trueonset_sim::fault::Fault;
use trueonset_sim::model::channel::{Loss, Medium, Timing};
use trueonset_sim::study::burst_loss::{dead_for_drops, drops_per_hour};
use trueonset_sim::study::judged::{Judged, Part, Score};
use trueonset_sim::study::ready_drops::{Watch, HOUR_NS};

const RESULTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results");
const MS: u64 = 1_000_000;
/// Drops an hour from which on simulation must agree, and by how much.
const JUDGED: (f64, f64) = (10.0, 0.1);
/// A run has so many minutes of its own air.
const MINUTES: u64 = 15;
/// A shift, h, and the drops allowed in it.
const SHIFT: (f64, f64) = (8.0, 1e-3);

/// Loss %, burst (0: no memory), beat in slots, silence ms, channels, receivers; slots of 1 ms.
const ROWS: [(f64, f64, u64, u64, u32, u32); 20] = [
    (1.0, 0.0, 5, 12, 1, 1),
    (1.0, 2.0, 2, 12, 1, 1),
    (1.0, 3.0, 2, 12, 1, 1),
    (1.0, 3.0, 5, 12, 1, 1),
    (1.0, 3.0, 5, 20, 1, 1),
    (1.0, 3.0, 10, 22, 1, 1),
    (1.0, 3.0, 20, 45, 1, 1),
    (1.0, 5.0, 5, 42, 1, 1),
    (1.0, 10.0, 5, 42, 1, 1),
    (1.0, 20.0, 5, 42, 1, 1),
    (3.0, 5.0, 5, 30, 1, 1),
    (3.0, 20.0, 5, 42, 1, 1),
    (10.0, 5.0, 10, 42, 1, 1),
    (10.0, 20.0, 5, 42, 1, 1),
    (30.0, 0.0, 5, 42, 1, 1),
    (30.0, 20.0, 5, 42, 1, 1),
    (3.0, 20.0, 5, 42, 1, 2),
    (10.0, 10.0, 5, 42, 1, 2),
    (10.0, 20.0, 5, 42, 4, 1),
    (30.0, 5.0, 5, 42, 4, 1),
];

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let asked = |name| words.iter().any(|word| word == name);
    let hours = words
        .iter()
        .find_map(|word| word.parse().ok())
        .unwrap_or(200);
    let both = !asked("simulated") && !asked("shift");
    let run = || -> Result<usize, Fault> {
        let mut broken = 0;
        if both || asked("simulated") {
            broken += simulated(hours)?;
        }
        if both || asked("shift") {
            broken += shift()?;
        }
        Ok(broken)
    };
    match run() {
        Ok(broken) => ExitCode::from(u8::from(broken > 0)),
        Err(fault) => {
            eprintln!("{fault}");
            ExitCode::from(2)
        }
    }
}

fn medium(percent: f64, burst: f64, channels: u32, receivers: u32) -> Result<Medium, Fault> {
    let share = percent / 100.0;
    let loss = if burst > 0.0 {
        Loss::new(share, burst)?
    } else {
        Loss::independent(share)?
    };
    Ok(Medium {
        loss,
        channels,
        receivers,
    })
}

/// Drops an hour, computed and counted.
fn simulated(hours: u64) -> Result<usize, Fault> {
    let begin = Instant::now();
    let mut score = Score::default();
    let mut text = String::from(
        "loss_percent,burst_slots,beat_slots,dead_ms,channels,receivers,computed_per_h,simulated_per_h,error_per_h,hours,ratio,ratio_error,limit,verdict\n",
    );
    for (row, cells) in ROWS.into_iter().enumerate() {
        let (percent, burst, every, dead_ms, channels, receivers) = cells;
        let watch = Watch {
            medium: medium(percent, burst, channels, receivers)?,
            timing: Timing::INFRARED,
            slot_ns: MS,
            every,
            dead_ns: dead_ms * MS,
        };
        let computed = drops_per_hour(&watch.medium, watch.beat(), watch.dead_ns);
        // About 20 000 drops are enough for a per cent; ten hours for a spread.
        let enough = ((20_000.0 / computed) as u64).clamp(10, hours.max(10));
        // Air of its own for every row.
        let first = row as u64 * 1_000_000;
        let runs = first..first + enough * 60 / MINUTES;
        let seen = watch.drops_per_hour(runs, HOUR_NS / 60 * MINUTES)?;
        let (from, within) = JUDGED;
        let judged = computed >= from;
        let ratio = Judged {
            quantity: "simulated/computed",
            value: seen.mean() / computed,
            error: seen.mean_error() / computed,
            low: if judged { 1.0 - within } else { 0.0 },
            high: if judged { 1.0 + within } else { f64::INFINITY },
        };
        score.broken += usize::from(!ratio.holds());
        let verdict = if judged { ratio.verdict() } else { "shown" };
        println!(
            "{verdict:6} {percent} %, burst {burst}, beat {every}, silence {dead_ms} ms, {channels} channels, {receivers} receivers: computed {computed:.3} an hour, simulated {:.3} +- {:.3} in {enough} h, ratio {:.4} +- {:.4}",
            seen.mean(), seen.mean_error(), ratio.value, ratio.error,
        );
        let _ = writeln!(
            text,
            "{percent},{},{every},{dead_ms},{channels},{receivers},{computed:.4},{:.4},{:.4},{enough},{:.4},{:.4},{},{verdict}",
            watch.medium.loss.burst(), seen.mean(), seen.mean_error(), ratio.value, ratio.error,
            ratio.limit(),
        );
    }
    let about = "falls of READY between touches, an hour: closed form beside simulated air; slots of 1 ms, frames heard 0.32 ms after their slot began";
    keep("simulated", about, begin, score, &text);
    Ok(score.broken)
}

/// Shortest silences for a shift at loss 1 %.
fn shift() -> Result<usize, Fault> {
    let begin = Instant::now();
    let mut score = Score::default();
    let mut text =
        String::from("loss_percent,burst_slots,beat_slots,receivers,dead_ms,drops_per_8h,in_whole_beats_ms,wanted_ms,verdict\n");
    // Burst, beat, receivers, longest silence wanted, ms.
    let any = f64::INFINITY;
    for (burst, every, receivers, wanted) in [
        (3.0, 2, 1, any),
        (3.0, 5, 1, 55.0),
        (3.0, 10, 1, any),
        (3.0, 20, 1, any),
        (3.0, 5, 2, 30.0),
        (0.0, 5, 1, any),
        (10.0, 5, 1, any),
        (10.0, 5, 2, any),
    ] {
        let watch = Watch {
            medium: medium(1.0, burst, 1, receivers)?,
            timing: Timing::INFRARED,
            slot_ns: MS,
            every,
            dead_ns: 0,
        };
        let (hours, drops) = SHIFT;
        let dead_ns = dead_for_drops(&watch.medium, watch.beat(), drops, hours).unwrap_or(u64::MAX);
        let at = hours * drops_per_hour(&watch.medium, watch.beat(), dead_ns);
        let dead_ms = dead_ns / MS;
        let whole_ms = dead_ms.div_ceil(every) * every;
        let judged = Judged::at_most("dead_ms", dead_ms as f64, 0.0, wanted);
        score.broken += usize::from(!judged.holds());
        println!(
            "{:6} 1 %, burst {burst}, beat {every}, {receivers} receivers: {dead_ms} ms ({whole_ms} ms in whole beats), {at:.2e} drops in {hours} h, wanted {}",
            judged.verdict(), judged.limit(),
        );
        let _ = writeln!(
            text,
            "1,{},{every},{receivers},{dead_ms},{at:.3e},{whole_ms},{},{}",
            watch.medium.loss.burst(),
            judged.limit(),
            judged.verdict(),
        );
    }
    let about = "shortest silence in whole slots for less than 1e-3 falls of READY in 8 h, loss 1 %, closed form; slots of 1 ms";
    keep("shift", about, begin, score, &text);
    Ok(score.broken)
}

fn keep(name: &str, about: &str, begin: Instant, score: Score, text: &str) {
    let part = Part {
        bench: "ready_drops",
        name,
        about,
        begin,
        score,
    };
    part.keep(RESULTS, text);
}
