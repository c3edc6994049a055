//! Writer of the own CSV of light.

use std::io::{BufWriter, Write};

use super::csv::HEADER;
use crate::fault::{excerpt, Fault, Place};
use crate::log::lines::check_name;
use crate::log::native::quoted;

/// A recording being written.
///
/// ```
/// use trueonset_sim::light::LightWriter;
/// let mut out = Vec::new();
/// let mut writer = LightWriter::new(&mut out, "light.csv", &["beam"])?;
/// writer.write(0, 0, 3276)?;
/// writer.write(0, 5000, 3275)?;
/// writer.finish()?;
/// assert_eq!(out, b"time_ns,line,counts\n0,beam,3276\n5000,beam,3275\n");
/// # Ok::<(), trueonset_sim::fault::Fault>(())
/// ```
pub struct LightWriter<W: Write> {
    out: BufWriter<W>,
    file: String,
    /// Names as they stand in a row.
    names: Vec<String>,
}

impl<W: Write> LightWriter<W> {
    /// Writes the header; `file` stands in messages.
    ///
    /// # Errors
    /// Two lines of one name, a name that would not be read back, or the output cannot be written to.
    pub fn new(out: W, file: &str, names: &[&str]) -> Result<Self, Fault> {
        for (at, name) in names.iter().enumerate() {
            check_name(name).map_err(|fault| fault.or_at(Place::File(file.to_owned())))?;
            if names[..at].contains(name) {
                return Err(Fault::new(
                    format!("two lines named {}", excerpt(name.as_bytes())),
                    "a name of its own for each line",
                    "rename one of them",
                )
                .at(Place::File(file.to_owned())));
            }
        }
        let mut writer = Self {
            out: BufWriter::with_capacity(1 << 16, out),
            file: file.to_owned(),
            names: names.iter().map(|name| quoted(name)).collect(),
        };
        writeln!(writer.out, "{HEADER}").map_err(|error| writer.failed(&error))?;
        Ok(writer)
    }

    /// Writes one sample: index of the line, instant in ns, light in counts. Times of a line have to grow.
    ///
    /// # Errors
    /// There is no such line, or the output cannot be written to.
    pub fn write(&mut self, line: u32, time_ns: i64, counts: u32) -> Result<(), Fault> {
        let Some(name) = self.names.get(line as usize) else {
            return Err(Fault::new(
                format!("a sample of line {line}"),
                format!("one of the {} lines named at the start", self.names.len()),
                "name all lines before the first sample",
            )
            .at(Place::File(self.file.clone())));
        };
        writeln!(self.out, "{time_ns},{name},{counts}").map_err(|error| self.failed(&error))
    }

    /// Writes what is still held back.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn finish(mut self) -> Result<(), Fault> {
        self.out.flush().map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &std::io::Error) -> Fault {
        Fault::io(&self.file, "write", error)
    }
}
