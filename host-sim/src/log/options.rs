//! What a user can say about a log that does not say it itself.

use std::str::FromStr;

use crate::fault::{excerpt, Fault};

/// How to read a log; the default suits every format that describes itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Options {
    /// Names of the columns of a CSV log of another program.
    pub columns: Option<Columns>,
    /// Unit of its times where its header does not tell, or tells wrong.
    pub time_unit: Option<TimeUnit>,
    /// Where the initial level of its lines comes from.
    pub initial: Initial,
    /// Added to every time of any log, in ns; sums beyond 64 bits are refused.
    pub offset_ns: i64,
}

impl Options {
    /// Whether something is said that only a CSV log of another program needs.
    pub(super) fn are_for_foreign_csv(&self) -> bool {
        self.columns.is_some() || self.time_unit.is_some() || self.initial != Initial::FirstRow
    }
}

/// Column names: `time=NAME,level=NAME,line=NAME`, each as the header of the log spells it.
///
/// Several `level` make several lines, each named after its column. Without `level` and `line` every column but
/// that of the time is a line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Columns {
    /// The column of times.
    pub time: Option<String>,
    /// The columns of levels.
    pub levels: Vec<String>,
    /// The column that names the line of each row.
    pub line: Option<String>,
}

impl FromStr for Columns {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        let refuse = |found: &str, wanted: &str| {
            Fault::new(
                format!("{} in the columns", excerpt(found.as_bytes())),
                wanted,
                "write time=NAME,level=NAME,line=NAME with the names of the log's header",
            )
        };
        let mut columns = Self::default();
        for part in text.split(',') {
            let Some((key, name)) = part.split_once('=') else {
                return Err(refuse(part, "KEY=NAME"));
            };
            let name = name.trim().to_owned();
            if name.is_empty() {
                return Err(refuse(part, "the name of a column"));
            }
            let taken = match key.trim() {
                "time" => columns.time.replace(name).is_some(),
                "line" => columns.line.replace(name).is_some(),
                "level" if columns.levels.contains(&name) => true,
                "level" => {
                    columns.levels.push(name);
                    false
                }
                _ => return Err(refuse(part, "one of the keys time, level, line")),
            };
            if taken {
                return Err(refuse(part, "each column once"));
            }
        }
        if columns.line.is_some() && columns.levels.len() != 1 {
            return Err(refuse(
                text,
                "exactly one level column beside a line column",
            ));
        }
        Ok(columns)
    }
}

/// Unit of a column of times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeUnit {
    /// Seconds.
    Seconds,
    /// Milliseconds.
    Milliseconds,
    /// Microseconds.
    Microseconds,
    /// Nanoseconds.
    Nanoseconds,
}

impl TimeUnit {
    /// The power of ten of this unit in ns.
    pub(super) fn power(self) -> i32 {
        match self {
            Self::Seconds => 9,
            Self::Milliseconds => 6,
            Self::Microseconds => 3,
            Self::Nanoseconds => 0,
        }
    }

    /// The unit's sign: `s`, `ms`, `us`, `ns`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Seconds => "s",
            Self::Milliseconds => "ms",
            Self::Microseconds => "us",
            Self::Nanoseconds => "ns",
        }
    }
}

impl FromStr for TimeUnit {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        match text {
            "s" => Ok(Self::Seconds),
            "ms" => Ok(Self::Milliseconds),
            "us" => Ok(Self::Microseconds),
            "ns" => Ok(Self::Nanoseconds),
            _ => Err(Fault::new(
                format!("the time unit {}", excerpt(text.as_bytes())),
                "s, ms, us or ns",
                "name the unit of the time column",
            )),
        }
    }
}

/// Where the initial level of a line comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Initial {
    /// The first row of the line states it.
    #[default]
    FirstRow,
    /// It was high, and the first row is an edge if it is low.
    High,
    /// It was low, and the first row is an edge if it is high.
    Low,
}

impl FromStr for Initial {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        match text {
            "first-row" => Ok(Self::FirstRow),
            "high" => Ok(Self::High),
            "low" => Ok(Self::Low),
            _ => Err(Fault::new(
                format!("the initial level {}", excerpt(text.as_bytes())),
                "high, low or first-row",
                "say where the lines stood before the first row",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_read() {
        let columns: Columns = "time=Time [s],level=D0,level=D1".parse().unwrap();
        assert_eq!(columns.time.as_deref(), Some("Time [s]"));
        assert_eq!(columns.levels, ["D0", "D1"]);
        let long: Columns = "time=t,line=who,level=v".parse().unwrap();
        assert_eq!(long.line.as_deref(), Some("who"));
    }

    #[test]
    fn wrong_columns_are_refused() {
        for text in [
            "",
            "time",
            "time=",
            "time=a,time=b",
            "light=a",
            "line=a",
            "level=a,level=a",
            "line=a,level=b,level=c",
        ] {
            assert!(text.parse::<Columns>().is_err(), "{text}");
        }
    }
}
