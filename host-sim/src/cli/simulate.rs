//! `simulate`: a log from physics, its truth beside it.

mod lines;

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use indicatif::ProgressBar;
use trueonset::battery::Verdict;

use super::args::Simulate;
use super::files;
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::light::LightWriter;
use crate::log::{Level, Record, Target, What, Writer, ALL_LINES};
use crate::quantity::show_time_ns;
use crate::report::LINES;
use crate::scenario::{draw, idle_in_log, unfit, Drawn, Scenario, Sensing, Tables, Touch, LINE};
use lines::Lines;

/// Columns of the truth.
const TRUTH: &str = "touch,onset_ns,release_ns,feed_nm_s";

/// Runs it.
pub(crate) fn run(args: &Simulate, talk: &Talk) -> Result<Outcome, Fault> {
    refuse_one_file_for_both(args)?;
    let tables = Tables::read(&args.scenario)?;
    let scenario = Scenario::of(&tables)?;
    if let Some(idle) = idle_in_log(&tables, args.lines.is_some()) {
        talk.note(&idle);
    }
    let mut drawn = draw(&scenario, args.touches, args.seed)?;
    let mut lines = match &args.lines {
        Some(path) => Some(Lines::create(path, &scenario)?),
        None => None,
    };
    if let Sensing::Samples { .. } = scenario.sensing {
        return light(args, &scenario, drawn, talk);
    }
    let mut log = args.log.as_deref().map(Log::of_edges).transpose()?;
    let mut truth = args.truth.as_deref().map(Truth::create).transpose()?;
    let feed_nm_s = (scenario.feed * 1e9).round() as i64;
    let period_ns = drawn.period_ns();
    let (mut number, mut edges, mut most) = (0, 0, 0);
    // Draws on stderr, and only if that is a terminal.
    let bar = ProgressBar::new(args.touches);
    while let Some((touch, of_touch)) = drawn.next_touch() {
        number += 1;
        edges += of_touch.len();
        most = most.max(of_touch.len());
        if let Some(log) = &mut log {
            log.edges(of_touch)?;
        }
        if let Some(lines) = &mut lines {
            lines.touch(&touch, of_touch, number * period_ns);
        }
        if let Some(truth) = &mut truth {
            truth.touch(number, &touch, feed_nm_s)?;
        }
        bar.inc(1);
    }
    bar.finish_and_clear();
    let length_ns = (number * period_ns) as i64;
    if let Some(log) = log {
        log.finish(length_ns)?;
    }
    if let Some(truth) = truth {
        truth.finish()?;
    }
    let at_the_lines = match lines {
        Some(lines) => {
            let met = lines.finish(length_ns, args.seed)?;
            format!("over the air: {met} touches met READY. {LINES}\n")
        }
        None => String::new(),
    };
    let cells = cells(&scenario, args.seed)?;
    let cell = scenario.cell(0);
    let summary = format!(
        "{number} simulated touches, {edges} edges, at most {most} in one, in {} on line {LINE}\n\
         feed {} mm/min, noise {:.1} nm, {:.3} noise cycles per noise width\n\
         {at_the_lines}{cells}Simulated, nothing here was measured.\n",
        show_time_ns(length_ns),
        (cell.feed * 1e3).round() / 1e3,
        cell.sigma_x() * 1e9,
        cell.k(),
    );
    say(args, &summary, talk)
}

/// What becomes of the cells, if the scenario has any: those of a log are worn by seconds only.
fn cells(scenario: &Scenario, seed: u64) -> Result<String, Fault> {
    let Some(case) = scenario.battery else {
        return Ok(String::new());
    };
    let (life, hours) = case.course(seed).map_err(unfit)?;
    let told = |verdict| {
        hours
            .iter()
            .filter(|hour| hour.verdicts[0] == verdict)
            .count()
    };
    Ok(format!(
        "cells, a new pack: {:.0} h under an infrared head; 'lasts {:.1} h' told yes in {} of its hours, cannot tell in \
         {}, no in {}; {} times yes was wrong\n",
        life.hours,
        f64::from(case.runs_s[0]) / 3_600.0,
        told(Verdict::Yes),
        told(Verdict::CannotTell),
        told(Verdict::No),
        life.wrong_yes[0],
    ))
}

/// The summary. Whoever takes log or truth from stdout wants nothing else there.
fn say(args: &Simulate, summary: &str, talk: &Talk) -> Result<Outcome, Fault> {
    if [&args.log, &args.truth, &args.lines]
        .into_iter()
        .any(|path| is_stdout(path.as_deref()))
    {
        talk.line(summary.trim_end());
    } else {
        super::print(summary.as_bytes())?;
    }
    if args.log.is_none() && args.lines.is_none() {
        talk.note("nothing kept; name a file with --log");
    }
    Ok(Outcome::Holds)
}

/// The same for a scenario that samples: a light recording.
fn light(
    args: &Simulate,
    scenario: &Scenario,
    mut drawn: Drawn,
    talk: &Talk,
) -> Result<Outcome, Fault> {
    let mut log = match args.log.as_deref() {
        Some(path) => {
            let name = path.display().to_string();
            let csv = path
                .extension()
                .is_some_and(|text| text.eq_ignore_ascii_case("csv"));
            if !csv && !is_stdout(Some(path)) {
                return Err(Fault::new(
                    "another extension",
                    ".csv, the format of samples",
                    "give the log this extension",
                )
                .at(Place::File(name)));
            }
            Some(LightWriter::new(create(path, &name)?, &name, &[LINE])?)
        }
        None => None,
    };
    let mut truth = args.truth.as_deref().map(Truth::create).transpose()?;
    let feed_nm_s = (scenario.feed * 1e9).round() as i64;
    let (mut number, mut samples) = (0, 0_u64);
    let bar = ProgressBar::new(args.touches);
    while let Some((touch, light)) = drawn.next_light() {
        number += 1;
        samples += light.counts.len() as u64;
        if let Some(log) = &mut log {
            for (k, counts) in light.counts.iter().enumerate() {
                log.write(0, light.time_ns(k), u32::from(*counts))?;
            }
        }
        if let Some(truth) = &mut truth {
            truth.touch(number, &touch, feed_nm_s)?;
        }
        bar.inc(1);
    }
    bar.finish_and_clear();
    log.map_or(Ok(()), LightWriter::finish)?;
    truth.map_or(Ok(()), Truth::finish)?;
    let summary = format!(
        "{number} simulated touches in {samples} samples of the light on line {LINE}\n\
         {}Simulated, nothing here was measured.\n",
        cells(scenario, args.seed)?,
    );
    say(args, &summary, talk)
}

fn is_stdout(path: Option<&Path>) -> bool {
    path.is_some_and(|path| path.as_os_str() == "-")
}

fn refuse_one_file_for_both(args: &Simulate) -> Result<(), Fault> {
    let file =
        |path: &Option<std::path::PathBuf>| path.clone().filter(|path| !is_stdout(Some(path)));
    files::keep_apart(
        &[("SCENARIO", args.scenario.to_str())],
        &[
            ("--log", file(&args.log).as_deref()),
            ("--truth", file(&args.truth).as_deref()),
            ("--lines", file(&args.lines).as_deref()),
        ],
    )?;
    let stdout = [&args.log, &args.truth, &args.lines]
        .into_iter()
        .filter(|path| is_stdout(path.as_deref()));
    if stdout.count() > 1 {
        let found = "more than one output on stdout";
        return Err(
            Fault::new(found, "one at most", "name a file for the others")
                .at(Place::File("-".to_owned())),
        );
    }
    Ok(())
}

fn create(path: &Path, name: &str) -> Result<Box<dyn Write>, Fault> {
    if is_stdout(Some(path)) {
        return Ok(Box::new(BufWriter::new(io::stdout())));
    }
    let file = File::create(path).map_err(|why| Fault::io(name, "write", &why))?;
    Ok(Box::new(BufWriter::new(file)))
}

/// The log being written.
struct Log {
    writer: Writer<'static>,
}

impl Log {
    /// A log of the barrier's edges.
    fn of_edges(path: &Path) -> Result<Self, Fault> {
        let mut log = Self::create(path, &[LINE])?;
        log.writer.write(&Record {
            time_ns: 0,
            line: 0,
            what: What::Start(Level::Low),
        })?;
        Ok(log)
    }

    fn create(path: &Path, names: &[&str]) -> Result<Self, Fault> {
        let name = path.display().to_string();
        let extension = path.extension().and_then(|text| text.to_str());
        let target = match extension.map(str::to_ascii_lowercase) {
            None if is_stdout(Some(path)) => Target::Csv,
            Some(extension) => extension
                .parse()
                .map_err(|why: Fault| why.or_at(Place::File(name.clone())))?,
            None => {
                return Err(Fault::new(
                    "no extension",
                    ".csv or .vcd, which names the format",
                    "give the log one of these extensions",
                )
                .at(Place::File(name)))
            }
        };
        let out = create(path, &name)?;
        let writer = Writer::new(target, out, &name, names, false)?;
        Ok(Self { writer })
    }

    fn edges(&mut self, edges: &[(i64, bool)]) -> Result<(), Fault> {
        edges.iter().try_for_each(|&(time_ns, high)| {
            let level = if high { Level::High } else { Level::Low };
            self.writer.write(&Record {
                time_ns,
                line: 0,
                what: What::Edge(level),
            })
        })
    }

    fn finish(mut self, end_ns: i64) -> Result<(), Fault> {
        self.writer.write(&Record {
            time_ns: end_ns,
            line: ALL_LINES,
            what: What::Mark,
        })?;
        self.writer.finish().map(|_| ())
    }
}

/// The truth being written.
struct Truth {
    out: Box<dyn Write>,
    name: String,
}

impl Truth {
    fn create(path: &Path) -> Result<Self, Fault> {
        let name = path.display().to_string();
        let out = create(path, &name)?;
        let mut truth = Self { out, name };
        truth.line(TRUTH)?;
        Ok(truth)
    }

    fn touch(&mut self, number: u64, touch: &Touch, feed_nm_s: i64) -> Result<(), Fault> {
        let (onset_ns, release_ns) = (touch.onset_ns, touch.release_ns);
        self.line(&format!("{number},{onset_ns},{release_ns},{feed_nm_s}"))
    }

    fn line(&mut self, text: &str) -> Result<(), Fault> {
        writeln!(self.out, "{text}").map_err(|why| Fault::io(&self.name, "write", &why))
    }

    fn finish(mut self) -> Result<(), Fault> {
        self.out
            .flush()
            .map_err(|why| Fault::io(&self.name, "write", &why))
    }
}
