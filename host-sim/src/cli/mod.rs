//! The command line: one file a verb, exit codes in one place.

mod advise;
mod again;
mod args;
mod check;
mod convert;
mod demo;
mod describe;
mod files;
mod gauge;
mod manual;
mod picture;
mod replay;
mod rig;
mod running;
mod settings;
mod simulate;
mod sweep;
mod table;
mod talk;
mod tune;

use std::io::{self, Write};
use std::process::ExitCode;

use clap::Parser;

use crate::fault::{Fault, Place};
use args::{Cli, Verb};
use talk::Talk;

/// What a verb came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// It holds: exit 0.
    Holds,
    /// It was judged and does not hold: exit 1.
    Not,
    /// It could not be judged or run, and why has been told: exit 2.
    CouldNot,
}

impl Outcome {
    fn code(self) -> ExitCode {
        ExitCode::from(match self {
            Self::Holds => 0,
            Self::Not => 1,
            Self::CouldNot => 2,
        })
    }
}

/// Runs the program on the arguments of the process.
#[must_use]
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(usage) => {
            // A reader that has gone needs no help text.
            let _ = usage.print();
            return if usage.use_stderr() {
                Outcome::CouldNot
            } else {
                Outcome::Holds
            }
            .code();
        }
    };
    let talk = Talk::new(cli.color);
    match run(&cli, &talk) {
        Ok(outcome) => outcome.code(),
        Err(fault) if fault.is_broken_pipe() => Outcome::Holds.code(),
        Err(fault) => {
            talk.error(&fault.to_string());
            Outcome::CouldNot.code()
        }
    }
}

fn run(cli: &Cli, talk: &Talk) -> Result<Outcome, Fault> {
    if let Some(threads) = cli.threads {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads));
        pool.build_global().map_err(|why| {
            Fault::new(
                why.to_string(),
                format!("{threads} threads"),
                "ask for fewer threads",
            )
            .at(Place::Setting("--threads".to_owned()))
        })?;
    }
    match &cli.verb {
        Verb::Demo(args) => demo::run(args, talk),
        Verb::Replay(args) => replay::run(args, talk),
        Verb::Describe(args) => describe::run(args, talk),
        Verb::Convert(args) => convert::run(args, talk),
        Verb::Check(args) => check::run(args, talk),
        Verb::Simulate(args) => simulate::run(args, talk),
        Verb::Sweep(args) => sweep::run(args, talk),
        Verb::Advise(args) => advise::run(args, talk),
        Verb::Tune(args) => tune::run(args, talk),
        Verb::Rig(args) => rig::run(args, talk),
        Verb::Gauge(args) => gauge::run(args, talk),
        Verb::Completions { shell } => manual::completions(*shell),
        Verb::Manual => manual::manual(),
    }
}

/// Writes a whole file.
fn write_file(path: &std::path::Path, bytes: &[u8]) -> Result<(), Fault> {
    std::fs::write(path, bytes).map_err(|why| Fault::io(&path.display().to_string(), "write", &why))
}

/// Writes to stdout.
fn print(bytes: &[u8]) -> Result<(), Fault> {
    let mut out = io::stdout().lock();
    out.write_all(bytes)
        .and_then(|()| out.flush())
        .map_err(|why| Fault::io("stdout", "write to", &why))
}
