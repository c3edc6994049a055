//! Values beside their limits, and tables of them that are kept.

use std::fmt;
use std::path::Path;
use std::time::SystemTime;

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

/// Keeps a table under `folder`, with what it is about, today's date and the command above it.
///
/// # Errors
/// The folder cannot be made or the file not be written.
pub fn keep(folder: &str, name: &str, notes: &[String], table: &str) -> std::io::Result<()> {
    let date = humantime::format_rfc3339_seconds(SystemTime::now());
    let head = format!("# {}\n# {date}\n", notes.join("\n# "));
    std::fs::create_dir_all(folder)?;
    std::fs::write(Path::new(folder).join(format!("{name}.csv")), head + table)
}
