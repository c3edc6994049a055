//! `convert`: a log in another format.

use std::fs::File;
use std::io;
use std::path::Path;

use super::args::Convert;
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::log::{self, Target};

/// Runs it.
pub(crate) fn run(args: &Convert, talk: &Talk) -> Result<Outcome, Fault> {
    let target = target(args)?;
    let options = args.reading.options();
    let done = if args.output == "-" {
        log::convert(
            &args.input,
            &options,
            target,
            args.lossy,
            io::stdout().lock(),
            "stdout",
        )?
    } else {
        refuse_same_file(args)?;
        let file =
            File::create(&args.output).map_err(|why| Fault::io(&args.output, "write", &why))?;
        log::convert(
            &args.input,
            &options,
            target,
            args.lossy,
            file,
            &args.output,
        )?
    };
    for assumption in &done.assumptions {
        talk.note(assumption);
    }
    if done.loss.times_moved > 0 {
        talk.note(&format!(
            "lost: {} times moved, which the format cannot hold",
            done.loss.times_moved
        ));
    }
    if done.loss.names_changed > 0 {
        talk.note(&format!(
            "lost: {} line names changed",
            done.loss.names_changed
        ));
    }
    talk.line(&format!("records written: {}", done.records));
    match done.damage {
        Some(damage) => Err(damage),
        None => Ok(Outcome::Holds),
    }
}

/// The format: as asked for, or as the extension of the new log tells.
fn target(args: &Convert) -> Result<Target, Fault> {
    if let Some(target) = args.to {
        return Ok(target);
    }
    let extension = Path::new(&args.output)
        .extension()
        .and_then(|text| text.to_str());
    extension
        .map(str::to_ascii_lowercase)
        .unwrap_or_default()
        .parse()
        .map_err(|_| {
            let found = match extension {
                Some(extension) => format!("the extension .{extension}"),
                None => "no extension".to_owned(),
            };
            Fault::new(
                found,
                ".csv or .vcd",
                "name the format with --to csv or --to vcd",
            )
            .at(Place::File(args.output.clone()))
        })
}

/// Creating the new log would empty the old one before it is read.
fn refuse_same_file(args: &Convert) -> Result<(), Fault> {
    let same = match (
        Path::new(&args.input).canonicalize(),
        Path::new(&args.output).canonicalize(),
    ) {
        (Ok(input), Ok(output)) => args.input != "-" && input == output,
        _ => false,
    };
    if same {
        return Err(Fault::new(
            "the log itself as new log",
            "another file",
            "name another file",
        )
        .at(Place::File(args.output.clone())));
    }
    Ok(())
}
