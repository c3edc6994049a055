//! The host's one error: where, what was found, what was expected, what to do about it.
//!
//! Every refusal of the program is a [`Fault`], so that a user always gets the same four answers in the
//! same order, on one line:
//!
//! ```
//! use trueonset_sim::fault::{Fault, Place};
//! let fault = Fault::new("`12,beam`", "three fields `time_ns,line,level`", "complete or remove the row")
//!     .at(Place::line("edges.csv", 17));
//! assert_eq!(
//!     fault.to_string(),
//!     "edges.csv:17: found `12,beam`, expected three fields `time_ns,line,level`; complete or remove the row"
//! );
//! ```

use std::fmt;
use std::io;

/// Longest excerpt of an input shown in a message, in characters.
const EXCERPT_CHARS: usize = 60;

/// Where a fault lies.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Place {
    /// A line of a text file.
    Line {
        /// File as the user named it.
        file: String,
        /// Number of the line, the first is 1.
        line: u64,
    },
    /// A byte of a file.
    Byte {
        /// File as the user named it.
        file: String,
        /// Offset of the byte, the first is 0.
        offset: u64,
    },
    /// A file as a whole.
    File(String),
    /// A command line option, an environment variable or a key of a table.
    Setting(String),
}

impl Place {
    /// Line `line` (from 1) of `file`.
    #[must_use]
    pub fn line(file: impl Into<String>, line: u64) -> Self {
        Self::Line {
            file: file.into(),
            line,
        }
    }

    /// Byte `offset` (from 0) of `file`.
    #[must_use]
    pub fn byte(file: impl Into<String>, offset: u64) -> Self {
        Self::Byte {
            file: file.into(),
            offset,
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line { file, line } => write!(f, "{}:{line}", one_line(file)),
            Self::Byte { file, offset } => write!(f, "{} at byte {offset}", one_line(file)),
            Self::File(name) | Self::Setting(name) => f.write_str(&one_line(name)),
        }
    }
}

/// Why something could not be judged or run.
///
/// One pointer wide, so that a `Result` in a fast path stays small.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault(Box<Parts>);

#[derive(Debug, Clone, PartialEq, Eq)]
struct Parts {
    place: Option<Place>,
    found: String,
    expected: String,
    remedy: String,
    broken_pipe: bool,
}

impl Fault {
    /// A fault without a place yet; quote parts of the input with [`excerpt`].
    #[must_use]
    pub fn new(
        found: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self(Box::new(Parts {
            place: None,
            found: found.into(),
            expected: expected.into(),
            remedy: remedy.into(),
            broken_pipe: false,
        }))
    }

    /// The operating system refused to `verb` (read, write, open) the file.
    #[must_use]
    pub fn io(file: &str, verb: &str, error: &io::Error) -> Self {
        let remedy = match error.kind() {
            io::ErrorKind::NotFound => "check the path and its spelling",
            io::ErrorKind::PermissionDenied => "check the permissions of the file and its folder",
            io::ErrorKind::IsADirectory => "name a file, not a folder",
            io::ErrorKind::StorageFull => "free some space or name another folder",
            _ => "check the file and the device it lies on",
        };
        let mut fault = Self::new(error.to_string(), format!("to {verb} it"), remedy)
            .at(Place::File(file.to_owned()));
        fault.0.broken_pipe = error.kind() == io::ErrorKind::BrokenPipe;
        fault
    }

    /// The same fault, its place stated.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.0.place = Some(place);
        self
    }

    /// The same fault, its place stated unless it had one.
    #[must_use]
    pub fn or_at(self, place: Place) -> Self {
        if self.0.place.is_some() {
            self
        } else {
            self.at(place)
        }
    }

    /// Where it lies, if known.
    #[must_use]
    pub fn place(&self) -> Option<&Place> {
        self.0.place.as_ref()
    }

    /// What was found.
    #[must_use]
    pub fn found(&self) -> &str {
        &self.0.found
    }

    /// What was expected instead.
    #[must_use]
    pub fn expected(&self) -> &str {
        &self.0.expected
    }

    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> &str {
        &self.0.remedy
    }

    /// Whether the reader of our output closed it: no fault of the user, the program ends quietly.
    #[must_use]
    pub fn is_broken_pipe(&self) -> bool {
        self.0.broken_pipe
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(place) = &self.0.place {
            write!(f, "{place}: ")?;
        }
        write!(
            f,
            "found {}, expected {}; {}",
            one_line(&self.0.found),
            one_line(&self.0.expected),
            one_line(&self.0.remedy)
        )
    }
}

impl std::error::Error for Fault {}

/// Part of an input, safe to print: backquoted, control characters escaped, cut when long.
#[must_use]
pub fn excerpt(bytes: &[u8]) -> String {
    // A character has at most four bytes, so this much input always fills the excerpt.
    let head = &bytes[..bytes.len().min(EXCERPT_CHARS * 4)];
    let text = String::from_utf8_lossy(head);
    let mut shown: String = text.chars().take(EXCERPT_CHARS).collect();
    if head.len() < bytes.len() || text.chars().nth(EXCERPT_CHARS).is_some() {
        shown.push('…');
    }
    format!("`{}`", one_line(&shown))
}

/// Control characters written as escapes: nothing in a message can move the cursor or start a new line.
fn one_line(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() {
            shown.extend(c.escape_default());
        } else {
            shown.push(c);
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn message_has_place_and_all_three_answers_on_one_line() {
        let fault = Fault::new("a\nb", "c", "d").at(Place::byte("x\r.tpk", 8));
        assert_eq!(
            fault.to_string(),
            "x\\r.tpk at byte 8: found a\\nb, expected c; d"
        );
    }

    #[test]
    fn first_place_wins_with_or_at() {
        let fault = Fault::new("a", "b", "c")
            .at(Place::line("f", 1))
            .or_at(Place::line("f", 2));
        assert_eq!(fault.place(), Some(&Place::line("f", 1)));
    }

    #[test]
    fn excerpt_escapes_and_cuts() {
        assert_eq!(excerpt(b"12,beam\r"), "`12,beam\\r`");
        let long = excerpt(&[b'a'; 500]);
        assert_eq!(long.chars().count(), EXCERPT_CHARS + 3);
        assert!(long.ends_with("…`"));
        assert_eq!(excerpt(&[0xff, b'a']), "`\u{fffd}a`");
    }

    #[test]
    fn broken_pipe_is_told_apart() {
        let pipe = io::Error::from(io::ErrorKind::BrokenPipe);
        assert!(Fault::io("-", "write", &pipe).is_broken_pipe());
        let missing = io::Error::from(io::ErrorKind::NotFound);
        assert!(!Fault::io("a.csv", "open", &missing).is_broken_pipe());
    }

    #[test]
    fn a_result_stays_small() {
        assert_eq!(size_of::<Fault>(), size_of::<usize>());
    }
}
