//! The command line, from which completions and manual are made as well.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use trueonset::onset::Touched;

use crate::fault::Fault;
use crate::log::{Columns, Initial, Options, Target, TimeUnit};
use crate::quantity;
use crate::study::sweep::Vary;

const CAUTION: &str = "\
Cautions:
  This program measures; it is not a safety device. Guards and emergency stop stay in charge.
  Prove every setting on the machine at reduced feed before trusting it with a spindle.
  Local codes and licensed practice come first.

Exit status: 0 it holds, 1 it was judged and does not hold, 2 it could not be judged or run.";

const RIG: &str = "\
The device runs the image `rig` of examples/firmware, or any program around `trueonset_rig::Device`;
the bytes on the line are described there. It must run on the bench: its touches are those of the
log, a measuring signal and no safety function. No performance level is claimed; guards and
emergency stop stay in charge.

Exit status: 0 device and program are alike to the bit and every expectation holds, 1 they are not
or one does not, 2 it could not be judged: no device, silence, a damaged log.";

/// True instant of contact out of the chattering trigger edges of a touch probe.
#[derive(Debug, Parser)]
#[command(name = "trueonset", version, about, after_long_help = CAUTION, max_term_width = 100)]
pub(crate) struct Cli {
    /// Colour on a terminal
    #[arg(long, global = true, value_enum, default_value = "auto")]
    pub color: Colour,
    /// Threads for simulations; the result never depends on it
    #[arg(long, global = true, value_name = "N", value_parser = clap::value_parser!(u16).range(1..), allow_hyphen_values = true)]
    pub threads: Option<u16>,
    /// What to do
    #[command(subcommand)]
    pub verb: Verb,
}

/// When to use colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Colour {
    /// On a terminal, unless `NO_COLOR` is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    /// The main job on an invented noisy log, truth beside every touch
    Demo(Demo),
    /// Touches of each line of a log, with onset and doubt
    Replay(Replay),
    /// What a log is like: levels, edges, dwells, glitches
    Describe(Describe),
    /// Write a log in another format
    Convert(Convert),
    /// Compare the touches of a log with expected ones
    Check(Check),
    /// A log from physics: edges of simulated touches, with their truth
    Simulate(Simulate),
    /// Monte Carlo over a grid of scenarios: bias, spread, 99.9 %, bound, doubt
    Sweep(Sweep),
    /// The fastest approach feed that keeps your tolerances, what goes with it, and what limits it
    Advise(Advise),
    /// Settings for a line out of its logs, and its constants where their truth is known
    Tune(Tune),
    /// A log through a device that runs the library, against the same code here
    Rig(Rig),
    /// Latched touches to tool data: length, radius, breakage, run-out, wear, drift, repeatability
    Gauge(Gauge),
    /// Completions for a shell, to stdout
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// The manual as roff, to stdout
    Manual,
}

/// Options of `demo`.
#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// Folder for edges.csv, truth.csv, touches.csv, replay.toml, touch.svg, report.html and, of the
    /// light, light.csv, light_truth.csv, light_touches.csv, light.toml; plans, touches and positions
    /// of its tools in tools/
    #[arg(long, value_name = "DIR", default_value = "trueonset-demo")]
    pub out: PathBuf,
    /// Same seed, same bytes
    #[arg(
        long,
        value_name = "N",
        default_value_t = 1,
        allow_hyphen_values = true
    )]
    pub seed: u64,
}

/// How a log is read.
#[derive(Debug, Args)]
pub(crate) struct Reading {
    /// Columns of a CSV of another program: time=NAME,level=NAME,line=NAME
    #[arg(long, value_name = "KEY=NAME,..")]
    pub columns: Option<Columns>,
    /// Unit of its times
    #[arg(long, value_name = "s|ms|us|ns")]
    pub time_unit: Option<TimeUnit>,
    /// Initial level of its lines
    #[arg(long, value_name = "high|low|first-row", default_value = "first-row")]
    pub initial: Initial,
    /// Added to every time of the log, such as 5ms or -2s
    #[arg(long, value_name = "TIME", default_value = "0ns", value_parser = quantity::time_ns, allow_hyphen_values = true)]
    pub offset: i64,
}

impl Reading {
    /// The options of the reader.
    #[must_use]
    pub(crate) fn options(&self) -> Options {
        Options {
            columns: self.columns.clone(),
            time_unit: self.time_unit,
            initial: self.initial,
            offset_ns: self.offset,
        }
    }
}

/// How edges become touches.
#[derive(Debug, Args)]
pub(crate) struct Stated {
    /// Only this line (repeatable); NAME=low or NAME=high states its level in contact
    #[arg(long = "line", value_name = "NAME")]
    pub lines: Vec<String>,
    /// Level in contact [default: high]
    #[arg(long, value_name = "high|low", value_parser = touched)]
    pub touched: Option<Touched>,
    /// How long a level must last to count [default: 1ms]
    #[arg(long, value_name = "TIME", value_parser = quantity::span_ns, allow_hyphen_values = true)]
    pub hold: Option<u64>,
    /// Bandwidth of comparator or filter [default: 100kHz]
    #[arg(long, value_name = "FREQUENCY", value_parser = quantity::frequency_hz, allow_hyphen_values = true)]
    pub bandwidth: Option<u32>,
}

/// The same, with a file beneath.
#[derive(Debug, Args)]
pub(crate) struct Deciding {
    /// What the command line says
    #[command(flatten)]
    pub stated: Stated,
    /// Settings as TOML; options on the command line win
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
}

/// Options of `replay`.
#[derive(Debug, Args)]
#[command(after_long_help = CAUTION)]
pub(crate) struct Replay {
    /// The log, or - for stdin
    pub log: String,
    /// How edges become touches
    #[command(flatten)]
    pub deciding: Deciding,
    /// How the log is read
    #[command(flatten)]
    pub reading: Reading,
    /// Follow a live stream; JSON Lines, each at once
    #[arg(long, conflicts_with_all = ["csv", "json", "report", "waves"])]
    pub follow: bool,
    /// CSV with one header line
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// JSON Lines
    #[arg(long)]
    pub json: bool,
    /// Write a report with pictures
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Write a value change dump with what was decided and why
    #[arg(long, value_name = "FILE")]
    pub waves: Option<PathBuf>,
}

/// Options of `describe`.
#[derive(Debug, Args)]
pub(crate) struct Describe {
    /// The log, or - for stdin
    pub log: String,
    /// How long a level must last to count
    #[arg(long, value_name = "TIME", default_value = "1ms", value_parser = quantity::span_ns, allow_hyphen_values = true)]
    pub hold: u64,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
    /// How the log is read
    #[command(flatten)]
    pub reading: Reading,
}

/// Options of `convert`.
#[derive(Debug, Args)]
pub(crate) struct Convert {
    /// The log, or - for stdin
    pub input: String,
    /// The new log, or - for stdout
    pub output: String,
    /// Format; else told by the extension of the new log
    #[arg(long, value_name = "csv|vcd")]
    pub to: Option<Target>,
    /// Count and tell what the format cannot hold, instead of refusing it
    #[arg(long)]
    pub lossy: bool,
    /// How the log is read
    #[command(flatten)]
    pub reading: Reading,
}

/// Options of `check`.
#[derive(Debug, Args)]
pub(crate) struct Check {
    /// The log, or - for stdin
    pub log: String,
    /// Expected touches: CSV with columns line,onset_ns
    #[arg(long, value_name = "FILE")]
    pub expect: PathBuf,
    /// How far an onset may lie from its expectation
    #[arg(long, value_name = "TIME", default_value = "10us", value_parser = quantity::span_ns, allow_hyphen_values = true)]
    pub within: u64,
    /// Write the result as `JUnit` XML
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// Write a report with pictures
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// How edges become touches
    #[command(flatten)]
    pub deciding: Deciding,
    /// How the log is read
    #[command(flatten)]
    pub reading: Reading,
}

/// Options of `simulate`.
#[derive(Debug, Args)]
#[command(after_long_help = scenario_help())]
pub(crate) struct Simulate {
    /// The scenario as TOML, or - for stdin; all of its keys are optional
    pub scenario: PathBuf,
    /// Touches in the log
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..), allow_hyphen_values = true)]
    pub touches: u64,
    /// Same seed, same bytes
    #[arg(
        long,
        value_name = "N",
        default_value_t = 1,
        allow_hyphen_values = true
    )]
    pub seed: u64,
    /// Write the edges as .csv or .vcd, or to - as CSV
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Write the truth as CSV: touch,onset_ns,release_ns,feed_nm_s
    #[arg(long, value_name = "FILE")]
    pub truth: Option<PathBuf>,
    /// Where the scenario has a link: write the lines ready and run at the board as .csv or .vcd
    #[arg(long, value_name = "FILE")]
    pub lines: Option<PathBuf>,
}

/// The seed of what is simulated, and how the answer is told.
#[derive(Debug, Args)]
pub(crate) struct Telling {
    /// Same seed, same bytes
    #[arg(
        long,
        value_name = "N",
        default_value_t = 1,
        allow_hyphen_values = true
    )]
    pub seed: u64,
    /// CSV with one header line
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
    /// Write a report with pictures
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// Options of `sweep`.
#[derive(Debug, Args)]
#[command(after_long_help = scenario_help())]
pub(crate) struct Sweep {
    /// The scenario as TOML, or - for stdin; all of its keys are optional
    pub scenario: PathBuf,
    /// A key and the values it takes (repeatable), such as approach.feed=10mm/min,60mm/min
    #[arg(long, value_name = "KEY=V1,V2,..")]
    pub vary: Vec<Vary>,
    /// Touches in each cell of the grid
    #[arg(long, value_name = "N", default_value_t = 1000, value_parser = clap::value_parser!(u64).range(1..=1_000_000_000), allow_hyphen_values = true)]
    pub trials: u64,
    /// What is drawn, and how it is told
    #[command(flatten)]
    pub telling: Telling,
}

/// Options of `advise`.
#[derive(Debug, Args)]
#[command(after_long_help = advise_help())]
pub(crate) struct Advise {
    /// The scenario as TOML, or - for stdin; all of its keys are optional
    pub scenario: PathBuf,
    /// Greatest error of one touch from the trigger path, kept by 99.9 %
    #[arg(long, value_name = "LENGTH", value_parser = length_nm, allow_hyphen_values = true)]
    pub tolerance: u64,
    /// Greatest way from contact to standstill, kept by 99.9 %
    #[arg(long, value_name = "LENGTH", value_parser = length_nm, allow_hyphen_values = true)]
    pub overtravel: u64,
    /// Touches that are simulated at the feed advised
    #[arg(long, value_name = "N", default_value_t = 10_000, value_parser = clap::value_parser!(u64).range(1000..=100_000_000), allow_hyphen_values = true)]
    pub touches: u64,
    /// What is drawn, and how it is told
    #[command(flatten)]
    pub telling: Telling,
}

/// Options of `tune`.
#[derive(Debug, Args)]
#[command(after_long_help = CAUTION)]
pub(crate) struct Tune {
    /// The logs, each of touches and releases; for constants at several feeds
    #[arg(required = true, value_name = "LOG")]
    pub logs: Vec<String>,
    /// Truth of each log, in their order: CSV with columns `onset_ns,release_ns,feed_nm_s`
    #[arg(long, value_name = "FILE")]
    pub truth: Vec<PathBuf>,
    /// Write settings and constants as TOML, for replay --config
    #[arg(long, value_name = "OUT")]
    pub config: Option<PathBuf>,
    /// How edges become touches
    #[command(flatten)]
    pub deciding: Stated,
    /// How the logs are read
    #[command(flatten)]
    pub reading: Reading,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
    /// Write a report with pictures
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// Options of `rig`.
#[derive(Debug, Args)]
#[command(after_long_help = RIG)]
pub(crate) struct Rig {
    /// The log, or - for stdin
    pub log: String,
    /// Where the device is: a serial device such as /dev/ttyACM0, or tcp:HOST:PORT
    #[arg(long)]
    pub port: String,
    /// Rate of a serial device; 8 bits, no parity
    #[arg(long, value_name = "BAUD", default_value_t = 115_200, value_parser = clap::value_parser!(u32).range(300..), allow_hyphen_values = true)]
    pub baud: u32,
    /// How long the device may leave a request without its answer
    #[arg(long, value_name = "TIME", default_value = "5s", value_parser = quantity::span_ns, allow_hyphen_values = true)]
    pub patience: u64,
    /// Expected touches: CSV with columns line,onset_ns
    #[arg(long, value_name = "FILE")]
    pub expect: Option<PathBuf>,
    /// How far an onset may lie from its expectation
    #[arg(long, value_name = "TIME", default_value = "10us", requires = "expect", value_parser = quantity::span_ns, allow_hyphen_values = true)]
    pub within: u64,
    /// Write what became of the expected touches as `JUnit` XML
    #[arg(long, value_name = "FILE", requires = "expect")]
    pub junit: Option<PathBuf>,
    /// How edges become touches
    #[command(flatten)]
    pub deciding: Stated,
    /// How the log is read
    #[command(flatten)]
    pub reading: Reading,
    /// The device's touches as CSV with one header line
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
}

/// Options of `gauge`.
#[derive(Debug, Args)]
#[command(after_long_help = gauge_help())]
pub(crate) struct Gauge {
    /// What is to be judged, as TOML, or - for stdin
    pub plan: PathBuf,
    /// The touches: CSV with columns cycle,touch,line,axis,spot,onset_ns,feed_nm_s,position_nm,
    /// doubt_ns,release_nm,held_ns,spindle_mhz,ready_gaps,flags in any order, or - for stdin
    pub touches: PathBuf,
    /// Write a report with a picture of the touches
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Positions of the axis, CSV time_ns,axis,position_nm; TOUCHES may then be that of replay --csv
    #[arg(long, value_name = "FILE")]
    pub axis: Option<PathBuf>,
    /// Hits of a turning cutter, CSV cycle,touch,hit,start_ns,width_ns, for a run-out
    #[arg(long, value_name = "FILE")]
    pub hits: Option<PathBuf>,
    /// CSV with one header line and a row for each cycle that is an answer, the result last
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
}

/// The keys of a plan, and the cautions at a verdict.
fn gauge_help() -> String {
    format!(
        "Keys of PLAN:\n\n{}\nRows are the touches of each cycle in their order; none may be left after whole. A unit wrong in all\npositions alike cannot be seen: that is another place, as a tool may touch at any.\n\n\
         A break below what one touch tells: decision = \"sequential\" weighs touch by touch until it is\ndecided, \
         a tool at the limit of wear against one broken by smallest_break less all that touches\nshare. Noise calls \
         a broken one whole in 1e-9, a whole one broken in 1e-3. Each touch needs its\nevidence; touches are then \
         the most, 20 where none are stated.\n\nCaution: {}.\n\n{CAUTION}\nHere 0 is whole or holds, 1 broken or does not hold, 2 unproven.",
        crate::gauge::manual(),
        crate::gauge::CAUTION
    )
}

const ADVISE: &str = "\
The error is that of the trigger path alone: onset, clock, ticks, input, scan, and the feed over the delay. Where
it stands on average is taken off by a reference touched at the same feed. Plate, axis and heat are not in it.
Axis and control are drawn as they may be: acceleration 10 % (standard deviation), jerk 20 % (evenly), reaction
1 ms shorter to 3 ms longer than stated, feed 1 %; measure yours. In 99.9 % of them the feed is reached before the
light and a slim tool bears the plate.

The feed advised is simulated through the code of the firmware. Where that breaks what was asked, nothing holds
(1); where it differs from theory by more than chance explains, it could not be judged (2).

Measuring signal, not a safety function; prove each program at reduced feed with the tool clear; guards and
emergency stop stay in charge.";

/// What advice means, and the keys of a scenario.
fn advise_help() -> String {
    format!("{ADVISE}\n\n{}", scenario_help())
}

/// A length above 0, nm.
///
/// # Errors
/// No length, or one that is not above 0.
fn length_nm(text: &str) -> Result<u64, Fault> {
    let nm = quantity::length_nm(text)?;
    u64::try_from(nm)
        .ok()
        .filter(|nm| *nm > 0)
        .ok_or_else(|| Fault::new(text, "a length above 0", "write it as `0.5um`"))
}

/// The keys of a scenario, out of the list that reads them.
fn scenario_help() -> String {
    format!(
        "Keys of a scenario (TOML tables, all optional):\n\n{}\n{CAUTION}",
        crate::scenario::manual()
    )
}

/// A level in contact.
///
/// # Errors
/// Another word.
pub(crate) fn touched(text: &str) -> Result<Touched, String> {
    match text {
        "high" => Ok(Touched::High),
        "low" => Ok(Touched::Low),
        _ => Err("expected high or low".to_owned()),
    }
}
