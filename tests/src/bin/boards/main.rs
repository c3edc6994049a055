//! Both sides of a probe on emulated boards, this program their clock and the air between them:
//! `boards IMAGES FOLDER SEED PLUGIN COURSE`, on a Cortex-M0 and an M3, or on an M4F and a RISC-V;
//! the plugin counts instructions between markers. `boards courses` tells the courses there are.
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

use std::path::Path;
use std::process::ExitCode;
use std::sync::mpsc;

use air::{Air, Fates, Spans};
use board::SimulatedBoard;
use drive::{Course, Tool};
use emulated::{Emulated, Machine};
use head::SimulatedHead;
use script::{Script, Trouble as Kind};
use side::{Answer, Both, Inputs, Side, Trouble, POWER, READY, RUN, SEEN_READY, SEEN_RUN};
use wired::SimulatedWired;

/// Touches before the troubles begin.
const TOUCHES: usize = 300;
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
    const USAGE: &str = "usage: boards IMAGES FOLDER SEED PLUGIN COURSE, or boards courses";
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let [images, folder, seed, plugin, course] = words[..] else {
        if words == ["courses"] {
            for (name, _) in COURSES {
                println!("{name}");
            }
            return Ok(());
        }
        return Err(USAGE.into());
    };
    let (_, through) = COURSES
        .iter()
        .find(|(name, _)| *name == course)
        .ok_or_else(|| format!("found course `{course}`, which `boards courses` does not tell"))?;
    through(Place {
        images: Path::new(images),
        folder: Path::new(folder),
        seed: seed.parse()?,
        plugin: Path::new(plugin),
        probe: Machine::M0,
        board: Machine::M3,
    })
}

type Through = fn(Place) -> Result<(), Trouble>;

/// Each by itself, so that they can go side by side; the longest first.
const COURSES: [(&str, Through); 21] = [
    ("board", |bench| whole(&bench, "board")),
    ("board_rv32", |bench| whole(&bench.others(), "board_rv32")),
    ("wired", |bench| cable(&bench)),
    ("wired_rv32", |bench| cable(&bench.others())),
    ("silence", silence),
    ("board_async", |bench| shell(&bench, "board_async")),
    ("board_rtic", |bench| shell(&bench, "board_rtic")),
    ("power", power),
    ("noise", |bench| noise(&bench, "board")),
    ("noise_async", |bench| noise(&bench, "board_async")),
    ("noise_rtic", |bench| noise(&bench, "board_rtic")),
    ("noise_wired", |bench| noise(&bench, "wired")),
    ("noise_rv32", |bench| noise(&bench.others(), "board")),
    ("stuck", stuck),
    ("held", held),
    ("foreign_microbit", |bench| foreign(&bench, Machine::M0)),
    ("foreign_lm3s6965evb", |bench| foreign(&bench, Machine::M3)),
    ("foreign_mps2-an386", |bench| foreign(&bench, Machine::M4F)),
    ("foreign_virt", |bench| foreign(&bench, Machine::RV32)),
    ("foreign_board_async", |bench| {
        foreign_shell(&bench, "board_async")
    }),
    ("foreign_board_rtic", |bench| {
        foreign_shell(&bench, "board_rtic")
    }),
];

fn whole(bench: &Place, name: &str) -> Result<(), Trouble> {
    let script = whole_script(bench.seed);
    verdict::judge(&bench.course(&script, "board", name, false)?, &script)
}

/// A barrier that does not see its own light go off must not vouch for anything.
fn stuck(bench: Place) -> Result<(), Trouble> {
    let script = Script::new(3, &[], 1_000, bench.seed);
    let course = bench.course(&script, "board", "stuck", true)?;
    if course.lines.iter().any(|line| line.1 || line.2) {
        return Err("a barrier that failed its self-test reached READY".into());
    }
    println!("a barrier that is stuck fails its self-test, and READY never stands");
    Ok(())
}

/// A tool in the light at power-up.
fn held(bench: Place) -> Result<(), Trouble> {
    let script = held_script(bench.seed);
    verdict::judge_held(&bench.course(&script, "board", "held", false)?, &script)
}

fn silence(bench: Place) -> Result<(), Trouble> {
    let script = silent_script(bench.seed);
    verdict::judge_silence(&bench.course(&script, "board", "silence", false)?, &script)
}

fn power(bench: Place) -> Result<(), Trouble> {
    let script = power_script(bench.seed);
    verdict::judge_power(&bench.course(&script, "board", "power", false)?, &script)
}

/// The same passes in another shell.
fn shell(bench: &Place, shell: &str) -> Result<(), Trouble> {
    let course = bench.course(&shell_script(bench.seed), shell, shell, false)?;
    if course.armed.is_empty() {
        return Err(format!("{shell} was not armed again").into());
    }
    Ok(())
}

fn cable(bench: &Place) -> Result<(), Trouble> {
    let script = cable_script(bench.seed);
    verdict::judge_wired(&bench.wired(&script)?, &script)
}

/// Noise may set a board's time ahead, from which it comes back by a new start only: it must go
/// on, and do what the simulation does.
fn noise(bench: &Place, board: &str) -> Result<(), Trouble> {
    let script = Script::new(3, &[Kind::PortNoise], 2_000, bench.seed);
    if board == "wired" {
        bench.wired(&script)?;
    } else {
        bench.course(&script, board, "noise", false)?;
    }
    println!("noise on the ports of {board} and of head, where there is one: no one hangs");
    Ok(())
}

/// An interrupt that nobody handles.
fn foreign(bench: &Place, machine: Machine) -> Result<(), Trouble> {
    bench.foreign(machine)?;
    println!("an interrupt that nobody handles, {machine}: boards start anew, at stop and latched, and say so; heads fall silent");
    Ok(())
}

fn foreign_shell(bench: &Place, shell: &str) -> Result<(), Trouble> {
    bench.foreign_at_board(Machine::M3, shell, &format!("foreign_{shell}"))?;
    println!(
        "an interrupt that nobody handles: {shell} starts anew, at stop and latched, and says so"
    );
    Ok(())
}

/// All troubles that a board comes back from.
fn whole_script(seed: u64) -> Script {
    Script::new(TOUCHES, &Kind::ALL, RESTARTED_MS, seed)
}

/// A tool in the light at power-up.
fn held_script(seed: u64) -> Script {
    Script::new(3, &[], 1_000, seed).held()
}

/// A latch, and then a silence.
fn silent_script(seed: u64) -> Script {
    Script::new(3, &[Kind::Silence], 304_000, seed)
}

fn power_script(seed: u64) -> Script {
    Script::new(3, &[Kind::PowerLoss], RESTARTED_MS, seed)
}

fn shell_script(seed: u64) -> Script {
    Script::new(12, &[Kind::LoopStands], RESTARTED_MS, seed)
}

/// All troubles that are not the air's.
fn cable_script(seed: u64) -> Script {
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
    Script::new(TOUCHES, &troubles, 3_000, seed)
}

/// A probe and a board through a script, the air between them: what the board's control saw, what
/// became of the frames, and the passes of the probe.
fn air_between(
    probe: &mut (impl Side + Send),
    board: &mut impl Side,
    script: &Script,
    stuck: bool,
    seed: u64,
) -> Result<(Course, Fates, u64), Trouble> {
    let (sender, from_head) = mpsc::channel();
    let troubles = script.troubles_on_board();
    let end = air::on_board(START, script.end);
    let air = Air::new(from_head, START, seed ^ 1, Spans::of(&troubles, end));
    std::thread::scope(|scope| {
        let probe = scope.spawn(|| {
            // The sender ends with the probe, which ends the wait for its frames.
            let sender = sender;
            drive::head(probe, START.0, script, stuck, &sender).map_err(|why| why.to_string())
        });
        let done = drive::Bench::new(board, air, troubles, pace::BOARD).run(START.1, end);
        let passes = probe.join().map_err(|_| "the probe's thread is gone")?;
        let passes = passes.map_err(|why| format!("head: {why}"))?;
        let (course, air) = done.map_err(|why| format!("board: {why}"))?;
        Ok((course, air.fates, passes))
    })
}

/// A board of a probe on a cable through a script.
fn on_cable(board: &mut impl Side, script: &Script) -> Result<Course, Trouble> {
    let on_board = |tick| air::on_board(START, tick);
    let edges = script.edges.iter().map(|edge| (on_board(edge.0), edge.1));
    let tool = Tool(edges.collect());
    let bench = drive::Bench::new(board, tool, script.troubles_on_board(), pace::WIRED);
    Ok(bench.run(START.1, on_board(script.end))?.0)
}

/// Where images are, where sockets and logs go, what counts instructions, and what the boards of
/// both sides are.
#[derive(Clone, Copy)]
struct Place<'a> {
    images: &'a Path,
    folder: &'a Path,
    seed: u64,
    plugin: &'a Path,
    probe: Machine,
    board: Machine,
}

impl Place<'_> {
    /// The same on the other machines.
    fn others(self) -> Self {
        Self {
            probe: Machine::M4F,
            board: Machine::RV32,
            ..self
        }
    }

    /// Both boards through a script, from power-up to its end.
    fn course(
        &self,
        script: &Script,
        board: &str,
        name: &str,
        stuck: bool,
    ) -> Result<Course, Trouble> {
        let probe = self.start(self.probe, "head", "head")?;
        let receiver = self.start(self.board, board, name)?;
        let mut probe = Both(probe, SimulatedHead::new(key()?)?);
        let mut receiver = Both(receiver, SimulatedBoard::new(key()?)?);
        let (course, fates, passes) =
            air_between(&mut probe, &mut receiver, script, stuck, self.seed)?;
        println!(
            "head on {} {passes} passes, {board} on {} {} passes: all answers equal to the simulation's",
            self.probe, self.board, course.passes
        );
        println!("{fates:?}");
        if !script.is_noisy() {
            hold(pace::HEAD, "head", self.probe, probe.0)?;
            hold(pace::BOARD, board, self.board, receiver.0)?;
        }
        // Beside it lies what the board has logged by itself.
        let log = self.folder.join(format!("{name}.expected"));
        std::fs::write(log, receiver.1.log)?;
        Ok(course)
    }

    fn start(&self, machine: Machine, image: &str, name: &str) -> Result<Emulated, Trouble> {
        Emulated::start(machine, self.images, image, self.folder, name, self.plugin)
    }

    /// An interrupt that no image handles, in all of them.
    fn foreign(&self, machine: Machine) -> Result<(), Trouble> {
        self.foreign_at_board(machine, "board", &format!("foreign_{machine}"))?;
        let wired = self.start(machine, "wired", "wired")?;
        let mut wired = Both(wired, SimulatedWired::new()?);
        let before = from_power_up(&mut wired)?;
        if before.pins & (READY | RUN) != READY | RUN {
            return Err("the lines are not up before an interrupt that nobody handles".into());
        }
        wired.0.interrupt()?;
        anew(&mut wired)?;
        let mut probe = self.start(machine, "head", "head")?;
        from_power_up(&mut probe)?;
        probe.interrupt()?;
        if probe.is_silent(START.0 + 10_000_000)? {
            return Ok(());
        }
        Err(format!("head on {machine} goes on after an interrupt that nobody handles").into())
    }

    fn foreign_at_board(&self, machine: Machine, image: &str, name: &str) -> Result<(), Trouble> {
        let board = self.start(machine, image, name)?;
        let mut board = Both(board, SimulatedBoard::new(key()?)?);
        from_power_up(&mut board)?;
        let number = board.0.interrupt()?;
        board.1.log += &format!("interrupt {number} is nobody's, so start anew\n");
        anew(&mut board)?;
        let log = self.folder.join(format!("{name}.expected"));
        std::fs::write(log, board.1.log)?;
        Ok(())
    }

    /// A probe on a cable through a script.
    fn wired(&self, script: &Script) -> Result<Course, Trouble> {
        let board = self.start(self.board, "wired", "wired")?;
        let mut board = Both(board, SimulatedWired::new()?);
        let course = on_cable(&mut board, script)?;
        println!(
            "wired on {} {} passes: all answers equal to the simulation's",
            self.board, course.passes
        );
        if !script.is_noisy() {
            hold(pace::WIRED, "wired", self.board, board.0)?;
        }
        Ok(course)
    }
}

/// The first passes after power-up, 500 µs apart, with nothing in the light; the last answer.
fn from_power_up(side: &mut impl Side) -> Result<Answer, Trouble> {
    let mut answer = Answer::default();
    for pass in 0..20 {
        let inputs = Inputs {
            pins: POWER | seen(&answer),
            ..Inputs::default()
        };
        answer = side.go(START.1 + pass * 8_000, inputs)?;
    }
    Ok(answer)
}

/// The inputs that show the outputs.
fn seen(answer: &Answer) -> u8 {
    [(READY, SEEN_READY), (RUN, SEEN_RUN)]
        .into_iter()
        .filter(|(line, _)| answer.pins & line != 0)
        .fold(0, |pins, (_, seen)| pins | seen)
}

/// The board has started anew by itself: at stop and latched, as the simulation.
fn anew(board: &mut Both<Emulated, impl Side>) -> Result<(), Trouble> {
    board.0.begin_anew()?;
    board.1.restart()?;
    let answer = board.go(START.1 + 10_000_000, Inputs::default())?;
    if answer.pins & (READY | RUN) == 0 && answer.latched == verdict::RESTART {
        return Ok(());
    }
    Err(format!("after an interrupt that nobody handles a board does {answer:?}").into())
}

/// Holds the passes of an image to their length, where the plugin knows the markers.
fn hold(pace: pace::Pace, image: &str, machine: Machine, board: Emulated) -> Result<(), Trouble> {
    match board.counts()? {
        Some(counts) => pace.hold(&format!("{image}/{machine}"), &counts),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The simulated sides alone, so that scripts, air and verdicts hold for any seed.
    #[test]
    fn whatever_the_seed_all_goes_as_it_must() {
        let mut failures = Vec::new();
        for seed in 1..=40 {
            if let Err(why) = simulated(seed) {
                failures.push(format!("seed {seed}: {why}"));
            }
        }
        assert!(failures.is_empty(), "{failures:#?}");
    }

    fn simulated(seed: u64) -> Result<(), Trouble> {
        let through = |script: &Script| {
            let key = *b"both sides alike";
            let mut probe = SimulatedHead::new(key)?;
            let mut board = SimulatedBoard::new(key)?;
            air_between(&mut probe, &mut board, script, false, seed)
        };
        let script = whole_script(seed);
        verdict::judge(&through(&script)?.0, &script)?;
        let script = held_script(seed);
        verdict::judge_held(&through(&script)?.0, &script)?;
        let script = silent_script(seed);
        verdict::judge_silence(&through(&script)?.0, &script)?;
        let script = power_script(seed);
        verdict::judge_power(&through(&script)?.0, &script)?;
        if through(&shell_script(seed))?.0.armed.is_empty() {
            return Err("a short course was not armed again".into());
        }
        let script = cable_script(seed);
        let course = on_cable(&mut SimulatedWired::new()?, &script)?;
        verdict::judge_wired(&course, &script)
    }
}
