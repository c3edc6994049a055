//! Writer of the own CSV.

use std::io::{BufWriter, Write};

use super::native::{quoted, HEADER};
use super::writer::{Loss, Sink};
use super::Level;
use crate::fault::Fault;

/// The own CSV being written.
pub(super) struct CsvOut<W: Write> {
    out: BufWriter<W>,
    file: String,
    /// Names as they stand in a row.
    names: Vec<String>,
    /// A time that passed for all lines and was not written yet: a later row says as much.
    pending_ns: Option<i64>,
}

impl<W: Write> CsvOut<W> {
    pub(super) fn new(out: W, file: &str, names: &[&str]) -> Result<Self, Fault> {
        let names = names.iter().map(|name| quoted(name)).collect();
        let mut sink = Self {
            out: BufWriter::with_capacity(1 << 16, out),
            file: file.to_owned(),
            names,
            pending_ns: None,
        };
        writeln!(sink.out, "{HEADER}").map_err(|error| Fault::io(file, "write", &error))?;
        Ok(sink)
    }

    fn row(&mut self, time_ns: i64, line: usize, level: Level) -> Result<(), Fault> {
        let level = match level {
            Level::Low => '0',
            Level::High => '1',
            Level::Unknown => 'x',
        };
        writeln!(self.out, "{time_ns},{},{level}", self.names[line])
            .map_err(|error| Fault::io(&self.file, "write", &error))
    }
}

impl<W: Write> Sink for CsvOut<W> {
    fn level(&mut self, time_ns: i64, line: u32, level: Level, _begins: bool) -> Result<(), Fault> {
        self.pending_ns = self.pending_ns.filter(|&pending_ns| pending_ns > time_ns);
        self.row(time_ns, line as usize, level)
    }

    fn passed(&mut self, time_ns: i64) -> Result<(), Fault> {
        self.pending_ns = Some(
            self.pending_ns
                .map_or(time_ns, |pending_ns| pending_ns.max(time_ns)),
        );
        Ok(())
    }

    fn finish(&mut self, now: &[Option<Level>]) -> Result<Loss, Fault> {
        if let Some(time_ns) = self.pending_ns {
            for (line, level) in now.iter().enumerate() {
                if let Some(level) = *level {
                    self.row(time_ns, line, level)?;
                }
            }
        }
        self.out
            .flush()
            .map_err(|error| Fault::io(&self.file, "write", &error))?;
        Ok(Loss::default())
    }
}
