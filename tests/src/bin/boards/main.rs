//! Both sides of a probe on emulated boards, this program their clock and the air between them:
//! `boards IMAGES FOLDER SEED PLUGIN`, where the plugin counts instructions between markers.
//!
//! Each board does its passes at ticks that it is given, and every answer is compared with that of
//! the same core on this machine under the same events. Then the lines and edges of the course are
//! held against the touches that truly were. Exit status: 0 all holds, 1 something does not.

mod air;
mod board;
mod drive;
mod emulated;
mod eye;
mod head;
mod pace;
mod script;
mod side;
mod verdict;
mod wired;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::mpsc;

use air::{Air, Spans};
use board::SimulatedBoard;
use drive::{Course, Tool};
use emulated::Emulated;
use head::SimulatedHead;
use script::{Script, Trouble as Kind};
use side::{Both, Trouble};
use wired::SimulatedWired;

/// Touches before the troubles begin.
const TOUCHES: usize = 250;
/// A board that has started anew waits for up to 63 s until the probe has counted past its mark.
const RESTARTED_MS: u64 = 70_000;
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
    let mut word = || {
        let word = words.next();
        word.ok_or("usage: boards IMAGES FOLDER SEED PLUGIN")
    };
    let (images, folder) = (PathBuf::from(word()?), PathBuf::from(word()?));
    let (seed, plugin) = (word()?, PathBuf::from(word()?));
    let bench = Place {
        images: &images,
        folder: &folder,
        seed: seed.parse()?,
        plugin: &plugin,
    };
    let script = Script::new(TOUCHES, &Kind::ALL, RESTARTED_MS, bench.seed);
    let course = bench.course(&script, "board", "board", false)?;
    verdict::judge(&course, &script)?;
    // A barrier that does not see its own light go off must not vouch for anything.
    let script = Script::new(3, &[], 1_000, bench.seed);
    let course = bench.course(&script, "board", "stuck", true)?;
    if course.lines.iter().any(|line| line.1 || line.2) {
        return Err("a barrier that failed its self-test reached READY".into());
    }
    println!("a barrier that is stuck fails its self-test, and READY never stands");
    let script = Script::new(3, &[Kind::Silence], 304_000, bench.seed);
    let course = bench.course(&script, "board", "silence", false)?;
    verdict::judge_silence(&course, &script)?;
    let script = Script::new(3, &[Kind::PowerLoss], RESTARTED_MS, bench.seed);
    let course = bench.course(&script, "board", "power", false)?;
    verdict::judge_power(&course, &script)?;
    // The same passes in other shells.
    for shell in ["board_async", "board_rtic"] {
        let script = Script::new(12, &[Kind::LoopStands], RESTARTED_MS, bench.seed);
        let course = bench.course(&script, shell, shell, false)?;
        if course.armed.is_empty() {
            return Err(format!("{shell} was not armed again").into());
        }
    }
    let troubles = [
        Kind::LoopStands,
        Kind::ClockStands,
        Kind::StuckOutput,
        Kind::UnreadableWire,
        Kind::ManyEdges,
        Kind::RepeatedCapture,
        Kind::StuckCapture,
        Kind::OneDirection,
        Kind::OverCapture,
        Kind::UnknownLevel,
        Kind::UnreadableBarrier,
        Kind::Unwritable,
    ];
    let script = Script::new(TOUCHES, &troubles, 3_000, bench.seed);
    verdict::judge_wired(&bench.wired(&script)?, &script)?;
    // Noise may set a board's time ahead, from which it comes back by a new start only: it must go
    // on, and do what the simulation does.
    let script = Script::new(3, &[Kind::PortNoise], 2_000, bench.seed);
    for board in ["board", "board_async", "board_rtic"] {
        bench.course(&script, board, "noise", false)?;
    }
    bench.wired(&script)?;
    println!("noise on the ports of head, wired, board and its shells: no one hangs");
    Ok(())
}

/// Where images are, and where sockets and logs go.
struct Place<'a> {
    images: &'a Path,
    folder: &'a Path,
    seed: u64,
    plugin: &'a Path,
}

impl Place<'_> {
    /// Both boards through a script, from power-up to its end.
    fn course(
        &self,
        script: &Script,
        board: &str,
        name: &str,
        stuck: bool,
    ) -> Result<Course, Trouble> {
        let start = |machine, image: &str, name: &str| {
            let image = self.images.join(image);
            Emulated::start(machine, &image, self.folder, name, self.plugin)
        };
        let probe = start("microbit", "thumbv6m-none-eabi/small/head", "head")?;
        let receiver = start(
            "lm3s6965evb",
            &format!("thumbv7m-none-eabi/small/{board}"),
            name,
        )?;
        let mut probe = Both(probe, SimulatedHead::new(key()?)?);
        let mut receiver = Both(receiver, SimulatedBoard::new(key()?)?);
        let (sender, from_head) = mpsc::channel();
        let troubles = script.troubles_on_board();
        let air = Air::new(from_head, START, self.seed ^ 1, Spans::of(&troubles));
        let end = air.on_board(script.end);
        let (course, fates, passes) = std::thread::scope(|scope| -> Result<_, Trouble> {
            let probe = scope.spawn(|| {
                // The sender ends with the probe, which ends the wait for its frames.
                let sender = sender;
                drive::head(&mut probe, START.0, script, stuck, &sender)
                    .map_err(|why| why.to_string())
            });
            let bench = drive::Bench::new(&mut receiver, air, troubles, pace::BOARD);
            let done = bench.run(START.1, end);
            let passes = probe.join().map_err(|_| "the probe's thread is gone")?;
            let passes = passes.map_err(|why| format!("head: {why}"))?;
            let (course, air) = done.map_err(|why| format!("board: {why}"))?;
            Ok((course, air.fates, passes))
        })?;
        println!(
            "head {passes} passes, board {} passes: all answers equal to the simulation's",
            course.passes
        );
        println!("{fates:?}");
        if !script.is_noisy() {
            pace::HEAD.hold("head", &probe.0.counts()?)?;
            pace::BOARD.hold(board, &receiver.0.counts()?)?;
        }
        // Beside it lies what the board has logged by itself.
        let log = self.folder.join(format!("{name}.expected"));
        std::fs::write(log, receiver.1.log)?;
        Ok(course)
    }
    /// A probe on a cable through a script.
    fn wired(&self, script: &Script) -> Result<Course, Trouble> {
        let image = self.images.join("thumbv7m-none-eabi/small/wired");
        let board = Emulated::start("lm3s6965evb", &image, self.folder, "wired", self.plugin)?;
        let mut board = Both(board, SimulatedWired::new()?);
        let on_board = |tick| air::on_board(START, tick);
        let edges = script.edges.iter().map(|edge| (on_board(edge.0), edge.1));
        let tool = Tool(edges.collect());
        let bench = drive::Bench::new(&mut board, tool, script.troubles_on_board(), pace::WIRED);
        let (course, _) = bench.run(START.1, on_board(script.end))?;
        println!(
            "wired {} passes: all answers equal to the simulation's",
            course.passes
        );
        if !script.is_noisy() {
            pace::WIRED.hold("wired", &board.0.counts()?)?;
        }
        Ok(course)
    }
}
