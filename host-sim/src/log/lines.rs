//! The lines of a log: their names, how they began, and the level each one stands at.

use super::lookup::Lookup;
use super::{Level, Record, What};
use crate::fault::{excerpt, Fault};

/// Most lines a log may have.
pub const MAX_LINES: usize = 16_384;

/// Longest name of a line, in bytes.
pub const MAX_NAME_BYTES: usize = 1024;

/// Most bytes all names and identifiers of a log may have together.
pub const MAX_TABLE_BYTES: usize = 2 * 1024 * 1024;

/// A line of a log as known so far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineInfo {
    /// Its name, unique in the log.
    pub name: String,
    /// Its level at its first row, `None` as long as it is only declared.
    pub initial: Option<Level>,
}

/// The level of a line between two records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Now {
    Low,
    High,
    Unknown,
    Unborn,
}

/// All lines of one log.
#[derive(Debug)]
pub(crate) struct Lines {
    infos: Vec<LineInfo>,
    now: Vec<Now>,
    lookup: Lookup,
    bytes: usize,
}

impl Lines {
    pub(crate) fn new() -> Self {
        Self {
            infos: Vec::new(),
            now: Vec::new(),
            lookup: Lookup::new(),
            bytes: 0,
        }
    }

    pub(crate) fn infos(&self) -> &[LineInfo] {
        &self.infos
    }

    pub(crate) fn lookup(&self) -> &Lookup {
        &self.lookup
    }

    /// The line of this name.
    pub(crate) fn find(&self, name: &str) -> Option<u32> {
        self.lookup.find(name.as_bytes())
    }

    /// Adds a line whose name is not in yet. A fault lacks its place.
    pub(crate) fn add(&mut self, name: &str) -> Result<u32, Fault> {
        check_name(name)?;
        if self.infos.len() == MAX_LINES {
            return Err(too_many(&format!("more than {MAX_LINES} lines")));
        }
        self.bytes += name.len();
        if self.bytes > MAX_TABLE_BYTES {
            return Err(too_many(&format!(
                "more than {MAX_TABLE_BYTES} bytes of line names"
            )));
        }
        let number = self.infos.len() as u32;
        self.lookup.insert(name.as_bytes(), number);
        self.infos.push(LineInfo {
            name: name.to_owned(),
            initial: None,
        });
        self.now.push(Now::Unborn);
        Ok(number)
    }

    /// The record that a statement "`line` is at `level`" makes.
    #[inline]
    pub(crate) fn state(&mut self, time_ns: i64, line: u32, level: Level) -> Record {
        let next = match level {
            Level::Low => Now::Low,
            Level::High => Now::High,
            Level::Unknown => Now::Unknown,
        };
        let now = &mut self.now[line as usize];
        let what = if *now == next {
            What::Mark
        } else if *now == Now::Unborn {
            self.infos[line as usize].initial = Some(level);
            What::Start(level)
        } else {
            What::Edge(level)
        };
        self.now[line as usize] = next;
        Record {
            time_ns,
            line,
            what,
        }
    }

    /// Whether the line has begun.
    pub(crate) fn has_begun(&self, line: u32) -> bool {
        self.now[line as usize] != Now::Unborn
    }
}

/// Refuses a name that could not be shown, written, or told from its neighbours.
pub(crate) fn check_name(name: &str) -> Result<(), Fault> {
    let wanted = if name.is_empty() {
        "a name"
    } else if name.len() > MAX_NAME_BYTES {
        "a name of at most 1024 bytes"
    } else if name.chars().any(char::is_control) {
        "a name without control characters"
    } else {
        return Ok(());
    };
    Err(Fault::new(
        format!("the line name {}", excerpt(name.as_bytes())),
        wanted,
        "rename the line",
    ))
}

fn too_many(found: &str) -> Fault {
    Fault::new(
        found,
        "a log of fewer lines",
        "check that the line column is the right one, or export only the lines of interest",
    )
}
