//! What the host asks for.

use core::fmt::Write;

use heapless::String;
use semihosting::experimental::env;
use trueonset::onset::{Config, ConfigError, Touched, Truncation};
use trueonset::time::TickRate;

use crate::fault::{Fault, Quote};

/// Longest path, in bytes.
const MAX_PATH: usize = 128;
const USAGE: &str = "LOG OUT [--hold-ns N] [--touched high|low] [--bandwidth-hz N]";

/// The arguments, resolved.
pub struct Options {
    /// Log to read.
    pub log: String<MAX_PATH>,
    /// File to write.
    pub out: String<MAX_PATH>,
    /// Settings of every line.
    pub config: Config,
}

impl Options {
    /// Reads the arguments of the image; the first is its name.
    pub fn from_host() -> Result<Self, Fault> {
        let args = env::args::<512>().map_err(|_| usage("arguments of more than 512 bytes"))?;
        let mut words = (&args).into_iter();
        let mut next = || {
            words
                .next()
                .transpose()
                .map_err(|_| usage("an argument that is not UTF-8"))
        };
        next()?;
        let (Some(log), Some(out)) = (next()?, next()?) else {
            return Err(usage("too few arguments"));
        };
        let (mut hold_ns, mut touched, mut bandwidth_hz) = (1_000_000, Touched::High, 100_000);
        while let Some(option) = next()? {
            let value = next()?.ok_or_else(|| usage("an option without its value"))?;
            let bad = || bad_value(option, value);
            match (option, value) {
                ("--hold-ns", _) => hold_ns = value.parse().map_err(|_| bad())?,
                ("--bandwidth-hz", _) => bandwidth_hz = value.parse().map_err(|_| bad())?,
                ("--touched", "high") => touched = Touched::High,
                ("--touched", "low") => touched = Touched::Low,
                _ => return Err(bad()),
            }
        }
        let config = config(hold_ns, touched, bandwidth_hz).map_err(|why| {
            let mut found = String::new();
            let _ = write!(found, "{why}");
            Fault {
                row: 0,
                found,
                expected: "a hold of 1 ns to 2.147 s, a bandwidth of 1 Hz or more",
                remedy: "correct the option",
            }
        })?;
        Ok(Self {
            log: path(log)?,
            out: path(out)?,
            config,
        })
    }
}

fn config(hold_ns: u64, touched: Touched, bandwidth_hz: u32) -> Result<Config, ConfigError> {
    let config = Config::new(TickRate::NANOSECONDS, hold_ns)?.touched(touched);
    // A log holds the nearest nanosecond: nothing to correct.
    config
        .bandwidth_hz(bandwidth_hz)?
        .capture(Truncation::Nearest, 256)
}

fn path(word: &str) -> Result<String<MAX_PATH>, Fault> {
    String::try_from(word).map_err(|_| usage("a path of more than 128 bytes"))
}

fn usage(found: &str) -> Fault {
    Fault::new(0, found, USAGE, "correct the arguments of the image")
}

fn bad_value(option: &str, value: &str) -> Fault {
    let mut found = String::new();
    // What does not fit is cut.
    let _ = write!(
        found,
        "{} {}",
        Quote(option.as_bytes()),
        Quote(value.as_bytes())
    );
    Fault {
        row: 0,
        found,
        expected: USAGE,
        remedy: "correct the arguments of the image",
    }
}
