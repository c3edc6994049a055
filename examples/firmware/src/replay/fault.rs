//! What is wrong with the input, in the words of the program on the PC.

use core::fmt::{self, Write};

use heapless::String;

/// Why a log could not be replayed to its end.
pub struct Fault {
    /// Row of the log; 0 where none is to blame.
    pub row: u32,
    /// What was found.
    pub found: String<64>,
    /// What was expected there.
    pub expected: &'static str,
    /// What to do about it.
    pub remedy: &'static str,
}

impl Fault {
    /// A fault at a row (0: none).
    pub fn new(row: u32, found: &str, expected: &'static str, remedy: &'static str) -> Self {
        let mut text = String::new();
        let _ = text.write_str(found);
        Self {
            row,
            found: text,
            expected,
            remedy,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.row > 0 {
            write!(f, ":{}", self.row)?;
        }
        write!(
            f,
            ": found {}, expected {}; {}",
            self.found, self.expected, self.remedy
        )
    }
}

/// An excerpt of an input: printable, at most 48 characters, in backquotes.
pub struct Quote<'a>(pub &'a [u8]);

impl fmt::Display for Quote<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.is_empty() {
            return f.write_str("nothing");
        }
        f.write_char('`')?;
        for &byte in self.0.iter().take(48) {
            let shown = if byte.is_ascii_graphic() || byte == b' ' {
                byte
            } else {
                b'?'
            };
            f.write_char(char::from(shown))?;
        }
        f.write_str(if self.0.len() > 48 { "...`" } else { "`" })
    }
}
