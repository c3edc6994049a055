//! Completions and manual, out of the definition the parser uses.

use std::io;

use clap::{Command, CommandFactory};
use clap_complete::Shell;
use clap_mangen::Man;

use super::args::Cli;
use super::Outcome;
use crate::fault::Fault;

/// Completions for `shell`, to stdout.
pub(crate) fn completions(shell: Shell) -> Result<Outcome, Fault> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "trueonset", &mut script);
    super::print(&script)?;
    Ok(Outcome::Holds)
}

/// The manual of the program and of each verb as roff, to stdout.
pub(crate) fn manual() -> Result<Outcome, Fault> {
    let mut command = Cli::command();
    command.build();
    let mut text = Vec::new();
    page(&command, &mut text).map_err(|why| Fault::io("stdout", "write to", &why))?;
    for verb in command
        .get_subcommands()
        .filter(|verb| verb.get_name() != "help")
    {
        page(verb, &mut text).map_err(|why| Fault::io("stdout", "write to", &why))?;
    }
    super::print(&text)?;
    Ok(Outcome::Holds)
}

fn page(command: &Command, text: &mut Vec<u8>) -> io::Result<()> {
    Man::new(command.clone()).render(text)
}
