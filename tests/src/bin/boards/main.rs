//! Both sides of a probe on emulated boards, this program their clock and the air between them:
//! `boards IMAGES FOLDER SEED`.
//!
//! Each board does its passes at ticks that it is given, and every answer is compared with that of
//! the same core on this machine under the same events. Then the lines and edges of the course are
//! held against the touches that truly were. Exit status: 0 all holds, 1 something does not.

mod air;
mod board;
mod drive;
mod emulated;
mod head;
mod script;
mod side;
mod verdict;

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::mpsc;

use air::{Air, Spans};
use board::SimulatedBoard;
use emulated::Emulated;
use head::SimulatedHead;
use script::{Script, Trouble as Kind};
use side::{Both, Trouble};

/// Touches before the troubles begin.
const TOUCHES: usize = 250;
/// Ticks of probe and board when both get power: their counters of 32 bits wrap soon after.
const START: (u64, u64) = ((1 << 32) - 20_000_000, (1 << 32) - 50_000_000);

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("error: {why}");
            ExitCode::FAILURE
        }
    }
}

fn key() -> Result<[u8; 16], Trouble> {
    const NAME: &str = "TRUEONSET_TEST_KEY";
    let digits =
        std::env::var(NAME).map_err(|_| format!("set {NAME} as the images were built with"))?;
    Ok(u128::from_str_radix(&digits, 16)?.to_be_bytes())
}

fn run() -> Result<(), Trouble> {
    let mut words = std::env::args().skip(1);
    let (Some(images), Some(folder), Some(seed)) = (words.next(), words.next(), words.next())
    else {
        return Err("usage: boards IMAGES FOLDER SEED".into());
    };
    let (images, folder, seed) = (
        PathBuf::from(images),
        PathBuf::from(folder),
        seed.parse::<u64>()?,
    );
    let script = Script::new(START.0, TOUCHES, seed);
    let probe = Emulated::start(
        "microbit",
        &images.join("thumbv6m-none-eabi/small/head"),
        &folder,
        "head",
    )?;
    let receiver = Emulated::start(
        "lm3s6965evb",
        &images.join("thumbv7m-none-eabi/small/board"),
        &folder,
        "board",
    )?;
    let mut probe = Both(probe, SimulatedHead::new(key()?, START.0)?);
    let mut receiver = Both(receiver, SimulatedBoard::new(key()?, START.1)?);
    let (sender, from_head) = mpsc::channel();
    let on_board = |tick| air::on_board(START, tick);
    let troubles: Vec<(Kind, u64)> = script
        .troubles
        .iter()
        .map(|(kind, touch)| (*kind, on_board(touch.onset)))
        .collect();
    let span = |kind, before_ms: u64, after_ms: u64| {
        let at = troubles.iter().find(|trouble| trouble.0 == kind);
        let ms = u64::from(board::HZ) / 1_000;
        at.map_or(0..0, |(_, at)| at - before_ms * ms..at + after_ms * ms)
    };
    let spans = Spans {
        outage: span(Kind::Outage, 5, 295),
        noise: span(Kind::Noise, 0, 300),
        replays: span(Kind::Replays, 0, 300),
    };
    let air = Air::new(from_head, START, seed ^ 1, spans);
    let end = on_board(script.end);
    let (course, air, passes) = std::thread::scope(|scope| -> Result<_, Trouble> {
        let probe = scope.spawn(|| {
            // The sender ends with the probe, which ends the wait for its frames.
            let sender = sender;
            drive::head(&mut probe, START.0, &script, &sender).map_err(|why| why.to_string())
        });
        let bench = drive::Bench::new(&mut receiver, air, troubles.clone());
        let done = bench.run(START.1, end);
        let passes = probe.join().map_err(|_| "the probe's thread is gone")?;
        let passes = passes.map_err(|why| format!("head: {why}"))?;
        let (course, air) = done.map_err(|why| format!("board: {why}"))?;
        Ok((course, air, passes))
    })?;
    println!(
        "head {passes} passes, board {} passes: all answers equal to the simulation's",
        course.passes
    );
    println!("{:?}", air.fates);
    verdict::judge(&course, &script, &troubles)
}
