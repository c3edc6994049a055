//! Values beside their limits, and tables of them that are kept.

use std::fmt;
use std::path::Path;
use std::time::{Instant, SystemTime};

use super::statistics::bound_after_none;

/// A value with its standard error and the limits it is judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// What was measured.
    pub quantity: &'static str,
    /// How much.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
    /// Lower limit; minus infinity where there is none.
    pub low: f64,
    /// Upper limit; infinity where there is none.
    pub high: f64,
}

impl Judged {
    /// `value` must not exceed `high`.
    #[must_use]
    pub fn at_most(quantity: &'static str, value: f64, error: f64, high: f64) -> Self {
        Self {
            quantity,
            value,
            error,
            low: f64::NEG_INFINITY,
            high,
        }
    }

    /// Whether the value itself lies within its limits.
    #[must_use]
    pub fn holds(&self) -> bool {
        (self.low..=self.high).contains(&self.value)
    }

    /// `holds` or `BROKEN`.
    #[must_use]
    pub fn verdict(&self) -> &'static str {
        if self.holds() {
            "holds"
        } else {
            "BROKEN"
        }
    }

    /// The limits as a word.
    #[must_use]
    pub fn limit(&self) -> String {
        if self.low == f64::NEG_INFINITY {
            format!("<={}", self.high)
        } else if self.high == f64::INFINITY {
            format!(">={}", self.low)
        } else {
            format!("{}..{}", self.low, self.high)
        }
    }
}

impl fmt::Display for Judged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} {:.4} +- {:.4} ({})",
            self.quantity,
            self.value,
            self.error,
            self.limit()
        )
    }
}

/// What is counted over the rows of a table.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Score {
    /// Touches simulated.
    pub touches: u64,
    /// Touches not reported.
    pub missed: u64,
    /// Limits broken.
    pub broken: usize,
}

/// A part of a bench, done.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    /// The bench it belongs to.
    pub bench: &'a str,
    /// Its name there.
    pub name: &'a str,
    /// What it measures.
    pub about: &'a str,
    /// When it began.
    pub begin: Instant,
    /// What was counted.
    pub score: Score,
}

impl Part<'_> {
    /// Tells what it came to and keeps its table under `folder`, with what it is about, the
    /// command, the score and today's date above it. A table that cannot be kept is told.
    pub fn keep(&self, folder: &str, table: &str) {
        let Score {
            touches,
            missed,
            broken,
        } = self.score;
        let notes = [
            self.about.to_owned(),
            format!("cargo bench --bench {} -- {}", self.bench, self.name),
            format!(
                "{:.0} s; touches {touches}, missed {missed}: below {:.2e} a touch at 95 %; limits broken: {broken}",
                self.begin.elapsed().as_secs_f64(),
                bound_after_none(touches),
            ),
        ];
        let notes = format!("# {}", notes.join("\n# "));
        println!("{notes}");
        let date = humantime::format_rfc3339_seconds(SystemTime::now());
        let name = format!("{}_{}", self.bench, self.name);
        let kept = std::fs::create_dir_all(folder).and_then(|()| {
            let path = Path::new(folder).join(format!("{name}.csv"));
            std::fs::write(path, format!("{notes}\n# {date}\n{table}"))
        });
        if let Err(why) = kept {
            eprintln!("cannot keep {name}: {why}");
        }
    }
}
