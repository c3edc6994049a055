//! Talk on stderr: notes, hints, errors; coloured on a terminal if wanted.

use std::io::{self, IsTerminal, Write};

use super::args::Colour;

/// How to talk.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Talk {
    colour: bool,
}

impl Talk {
    /// Colour as asked for; `NO_COLOR` and a redirected stderr switch the automatic off.
    #[must_use]
    pub(crate) fn new(colour: Colour) -> Self {
        let colour = match colour {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => {
                std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
                    && std::io::stderr().is_terminal()
            }
        };
        Self { colour }
    }

    fn say(self, word: &str, code: &str, text: &str) {
        if self.colour {
            self.line(&format!("\x1b[{code}m{word}\x1b[0m {text}"));
        } else {
            self.line(&format!("{word} {text}"));
        }
    }

    #[allow(clippy::unused_self)] // All talk goes through one value.
    /// A line as it stands. A stderr that cannot be written to is no reason to stop.
    pub(crate) fn line(&self, text: &str) {
        let _ = writeln!(io::stderr().lock(), "{text}");
    }

    /// Something the user should know.
    pub(crate) fn note(&self, text: &str) {
        self.say("note:", "36", text);
    }

    /// Why it could not be judged or run.
    pub(crate) fn error(&self, text: &str) {
        self.say("error:", "31;1", text);
    }
}
