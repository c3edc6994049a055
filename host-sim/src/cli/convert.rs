//! `convert`: a log in another format.

use std::fs::File;
use std::io;
use std::path::Path;

use super::args::Convert;
use super::files;
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::log::{self, Converted, Options, Target};

/// Runs it.
pub(crate) fn run(args: &Convert, talk: &Talk) -> Result<Outcome, Fault> {
    let target = target(args)?;
    let options = args.reading.options();
    let done = if args.output == "-" {
        files::keep_apart(&[("LOG", Some(&args.input))], &[])?;
        log::convert(
            &args.input,
            &options,
            target,
            args.lossy,
            io::stdout().lock(),
            "stdout",
        )?
    } else {
        files::keep_apart(
            &[("LOG", Some(&args.input))],
            &[("NEW LOG", Some(Path::new(&args.output)))],
        )?;
        into_file(args, &options, target)?
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
    if done.loss.times_rounded > 0 {
        talk.note(&format!(
            "lost: {} times rounded to whole nanoseconds",
            done.loss.times_rounded
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

/// Into a file that bears its name only once it is whole, or as whole as a damaged log allows.
fn into_file(args: &Convert, options: &Options, target: Target) -> Result<Converted, Fault> {
    let failed = |why: &io::Error| Fault::io(&args.output, "write", why);
    let output = Path::new(&args.output);
    // A device or a pipe stays what it is.
    let special = output.metadata().is_ok_and(|what| !what.is_file());
    let (part, file) = if special {
        let file = File::create(output);
        (args.output.clone(), file.map_err(|why| failed(&why))?)
    } else {
        part(&args.output).map_err(|why| failed(&why))?
    };
    let (input, lossy) = (&args.input, args.lossy);
    let done = log::convert(input, options, target, lossy, file, &args.output);
    if special {
        return done;
    }
    if done.is_err() {
        // The fault that is on its way says more than a failure to tidy up.
        let _ = std::fs::remove_file(&part);
    } else {
        if let Ok(before) = output.metadata() {
            // A new file in place of an old one is as open to others as that was.
            let _ = std::fs::set_permissions(&part, before.permissions());
        }
        std::fs::rename(&part, output).map_err(|why| failed(&why))?;
    }
    done
}

/// A file beside `output` that nobody else has.
fn part(output: &str) -> io::Result<(String, File)> {
    let mut last = None;
    for number in 0..1_000 {
        let part = format!("{output}.{}-{number}.part", std::process::id());
        match File::create_new(&part) {
            Ok(file) => return Ok((part, file)),
            Err(why) if why.kind() == io::ErrorKind::AlreadyExists => last = Some(why),
            Err(why) => return Err(why),
        }
    }
    Err(last.unwrap_or_else(|| io::ErrorKind::AlreadyExists.into()))
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
