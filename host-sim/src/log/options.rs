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
    pub(crate) fn are_for_foreign_csv(&self) -> bool {
        self.columns.is_some() || self.time_unit.is_some() || self.initial != Initial::FirstRow
    }
}

/// Column names: `time=NAME,level=NAME,line=NAME`, each as the header of the log spells it.
///
/// Several `level` make several lines, each named after its column. Without `level` and `line` every column but
/// that of the time is a line. `light=NAME` in the place of `level=NAME` makes it a recording of light; a column
/// that is not in whole counts is multiplied, `light=NAME*1000`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Columns {
    /// The column of times.
    pub time: Option<String>,
    /// The columns of levels.
    pub levels: Vec<String>,
    /// The columns of light.
    pub lights: Vec<LightColumn>,
    /// The column that names the line of each row.
    pub line: Option<String>,
}

/// A column of light.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LightColumn {
    /// Its name.
    pub name: String,
    /// Counts a unit of the column: 1 for counts, 1000 for volts of which each millivolt shall be a count.
    pub factor: u32,
}

impl LightColumn {
    /// Largest factor.
    pub const MAX_FACTOR: u32 = 1_000_000;

    /// Reads `NAME` or `NAME*FACTOR`. What stands behind the last `*` and is no number belongs to the name.
    fn parse(text: &str) -> Option<Self> {
        let scaled = text.rsplit_once('*').and_then(|(name, factor)| {
            let factor: u32 = factor.trim().parse().ok()?;
            Some((name.trim_end(), factor))
        });
        let (name, factor) = scaled.unwrap_or((text, 1));
        let fits = !name.is_empty() && (1..=Self::MAX_FACTOR).contains(&factor);
        fits.then(|| Self {
            name: name.to_owned(),
            factor,
        })
    }
}

impl Columns {
    /// The columns of levels or of light, whichever there are.
    pub(super) fn values(&self) -> impl Iterator<Item = &String> {
        self.levels
            .iter()
            .chain(self.lights.iter().map(|light| &light.name))
    }

    /// The names of all columns.
    pub(super) fn names(&self) -> impl Iterator<Item = &String> {
        self.time.iter().chain(self.values()).chain(&self.line)
    }

    /// Counts a unit of the column `name`, 1 if it is none of light.
    pub(crate) fn factor(&self, name: &str) -> u32 {
        let exact = self.lights.iter().find(|light| light.name == name);
        let any = || {
            self.lights
                .iter()
                .find(|light| light.name.eq_ignore_ascii_case(name))
        };
        exact.or_else(any).map_or(1, |light| light.factor)
    }
}

impl FromStr for Columns {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        let refuse = |found: &str, wanted: &str| {
            Fault::new(
                format!("{} in the columns", excerpt(found.as_bytes())),
                wanted,
                "write time=NAME,level=NAME,line=NAME, or light=NAME for level=NAME, with the names of the log's header",
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
                "light" => {
                    let Some(light) = LightColumn::parse(&name) else {
                        return Err(refuse(
                            part,
                            "light=NAME or light=NAME*FACTOR, the factor from 1 to 1000000",
                        ));
                    };
                    let known = columns.lights.iter().any(|known| known.name == light.name);
                    columns.lights.push(light);
                    known
                }
                _ => return Err(refuse(part, "one of the keys time, level, light, line")),
            };
            if taken {
                return Err(refuse(part, "each column once"));
            }
        }
        if !columns.levels.is_empty() && !columns.lights.is_empty() {
            return Err(refuse(text, "columns of levels or columns of light"));
        }
        if columns.line.is_some() && columns.values().count() != 1 {
            return Err(refuse(
                text,
                "exactly one level or light column beside a line column",
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
        let light: Columns = "time=t,light=CH1 (V) * 1000,light=5*x".parse().unwrap();
        assert_eq!(light.factor("ch1 (v)"), 1000);
        assert_eq!(light.lights[1].name, "5*x");
        assert_eq!(light.values().count(), 2);
    }

    #[test]
    fn wrong_columns_are_refused() {
        for text in [
            "",
            "time",
            "time=",
            "time=a,time=b",
            "shade=a",
            "light=",
            "light=a*0",
            "light=a*1000001",
            "light=*7",
            "light=a,light=a*2",
            "light=a,level=b",
            "line=a,light=b,light=c",
            "line=a",
            "level=a,level=a",
            "line=a,level=b,level=c",
        ] {
            assert!(text.parse::<Columns>().is_err(), "{text}");
        }
    }
}
