//! Writer of value change dumps: units of 1 ns, short printable identifiers, one flat scope.

use std::io::{self, BufWriter, Write};

use super::writer::{Loss, Sink};
use super::Level;
use crate::fault::{excerpt, Fault};

/// A dump being written.
pub(super) struct VcdOut<W: Write> {
    out: BufWriter<W>,
    file: String,
    identifiers: Vec<String>,
    lossy: bool,
    loss: Loss,
    /// The last time mark written, in ns.
    mark_ns: Option<i64>,
    /// Whether `$dumpvars` is open: it holds the lines that begin at the first mark.
    dumping: bool,
}

impl<W: Write> VcdOut<W> {
    pub(super) fn new(out: W, file: &str, names: &[&str], lossy: bool) -> Result<Self, Fault> {
        let mut sink = Self {
            out: BufWriter::with_capacity(1 << 16, out),
            file: file.to_owned(),
            identifiers: (0..names.len()).map(identifier).collect(),
            lossy,
            loss: Loss::default(),
            mark_ns: None,
            dumping: false,
        };
        let mut references = Vec::with_capacity(names.len());
        for name in names {
            references.push(sink.reference(name)?);
        }
        sink.header(&references).map_err(|error| sink.io(&error))?;
        Ok(sink)
    }

    fn header(&mut self, references: &[String]) -> io::Result<()> {
        writeln!(self.out, "$timescale 1 ns $end\n$scope module log $end")?;
        for (identifier, reference) in self.identifiers.iter().zip(references) {
            writeln!(self.out, "$var wire 1 {identifier} {reference} $end")?;
        }
        writeln!(self.out, "$upscope $end\n$enddefinitions $end")
    }

    /// The name as one word.
    fn reference(&mut self, name: &str) -> Result<String, Fault> {
        if name != "$end" && !name.contains(char::is_whitespace) {
            return Ok(name.to_owned());
        }
        if !self.lossy {
            return Err(Fault::new(
                format!("the line name {}", excerpt(name.as_bytes())),
                "a name without blanks, since a value change dump cannot hold them",
                "rename the line, or let --lossy replace the blanks",
            ));
        }
        self.loss.names_changed += 1;
        Ok(word(name))
    }

    /// Writes a time mark where time has gone on.
    fn advance(&mut self, time_ns: i64) -> Result<(), Fault> {
        let earliest = self.mark_ns.unwrap_or(0);
        let mut mark_ns = time_ns;
        if time_ns < earliest {
            if !self.lossy {
                return Err(Fault::new(
                    format!("the time {time_ns} ns"),
                    format!("a time from {earliest} ns on, since those of a value change dump neither are negative nor go back"),
                    "shift the log with --offset, or let --lossy move the time",
                ));
            }
            self.loss.times_moved += 1;
            mark_ns = earliest;
        }
        if self.mark_ns != Some(mark_ns) {
            self.mark_ns = Some(mark_ns);
            writeln!(self.out, "#{mark_ns}").map_err(|error| self.io(&error))?;
        }
        Ok(())
    }

    /// Opens or closes `$dumpvars` so that it holds the beginnings at the first mark and nothing else.
    fn dump(&mut self, open: bool) -> Result<(), Fault> {
        if self.dumping != open {
            self.dumping = open;
            let word = if open { "$dumpvars" } else { "$end" };
            writeln!(self.out, "{word}").map_err(|error| self.io(&error))?;
        }
        Ok(())
    }

    fn io(&self, error: &io::Error) -> Fault {
        Fault::io(&self.file, "write", error)
    }
}

impl<W: Write> Sink for VcdOut<W> {
    fn level(&mut self, time_ns: i64, line: u32, level: Level, begins: bool) -> Result<(), Fault> {
        let first = self.mark_ns.is_none();
        if self.dumping && !(begins && self.mark_ns.is_some_and(|mark_ns| mark_ns >= time_ns)) {
            self.dump(false)?;
        }
        self.advance(time_ns)?;
        if first && begins {
            self.dump(true)?;
        }
        let level = match level {
            Level::Low => '0',
            Level::High => '1',
            Level::Unknown => 'x',
        };
        let identifier = &self.identifiers[line as usize];
        writeln!(self.out, "{level}{identifier}").map_err(|error| self.io(&error))
    }

    fn passed(&mut self, time_ns: i64) -> Result<(), Fault> {
        self.dump(false)?;
        self.advance(time_ns)
    }

    fn finish(&mut self, _now: &[Option<Level>]) -> Result<Loss, Fault> {
        self.dump(false)?;
        self.out.flush().map_err(|error| self.io(&error))?;
        Ok(self.loss)
    }
}

/// A name as the one word that a dump takes.
pub(crate) fn word(name: &str) -> String {
    if name == "$end" || name.contains(char::is_whitespace) {
        name.replace(char::is_whitespace, "_").replace('$', "_")
    } else {
        name.to_owned()
    }
}

/// The identifier of a line: its number in base 94, written in the printable characters from `!` on.
pub(crate) fn identifier(mut number: usize) -> String {
    let mut text = String::new();
    loop {
        text.push(char::from(b'!' + (number % 94) as u8));
        number /= 94;
        if number == 0 {
            return text;
        }
        // Without this, "!" and "!!" would stand for the same number.
        number -= 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn identifiers_are_distinct_and_printable() {
        let all: HashSet<String> = (0..20_000).map(identifier).collect();
        assert_eq!(all.len(), 20_000);
        assert!(all
            .iter()
            .all(|text| text.bytes().all(|byte| (33..=126).contains(&byte)) && text.len() <= 3));
    }
}
