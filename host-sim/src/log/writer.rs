//! Writing logs, and turning one format into another.

use std::io::Write;
use std::str::FromStr;

use super::csv_out::CsvOut;
use super::input::Rereadable;
use super::reader::LogReader;
use super::vcd_out::VcdOut;
use super::{Level, Options, Record, What, ALL_LINES};
use crate::fault::{excerpt, Fault, Place};

/// The formats that can be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Target {
    /// The own CSV.
    Csv,
    /// Value change dump in units of 1 ns.
    Vcd,
}

impl FromStr for Target {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        match text {
            "csv" => Ok(Self::Csv),
            "vcd" => Ok(Self::Vcd),
            "packed" | "varint" => Err(Fault::new(
                format!("the format {text}, which this version cannot write yet"),
                "csv or vcd",
                "name one of these two",
            )),
            _ => Err(Fault::new(
                format!("the format {}", excerpt(text.as_bytes())),
                "csv or vcd",
                "name a format that can be written",
            )),
        }
    }
}

/// What a target could not hold.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Loss {
    /// Times moved: negative ones, and those before their predecessor.
    pub times_moved: u64,
    /// Line names changed.
    pub names_changed: u64,
    /// Times finer than a nanosecond, rounded.
    pub times_rounded: u64,
}

impl Loss {
    /// Whether anything was lost.
    #[must_use]
    pub fn any(&self) -> bool {
        *self != Self::default()
    }
}

/// One format being written.
pub(super) trait Sink {
    /// A line is at `level` at this time: its beginning, an edge, or a mark of an unchanged level.
    fn level(&mut self, time_ns: i64, line: u32, level: Level, begins: bool) -> Result<(), Fault>;

    /// Time passed for all lines.
    fn passed(&mut self, time_ns: i64) -> Result<(), Fault>;

    /// Writes the end; `now` are the levels the lines stand at.
    fn finish(&mut self, now: &[Option<Level>]) -> Result<Loss, Fault>;
}

/// Writes a log, record by record.
///
/// ```
/// use trueonset_sim::log::{Level, Record, Target, What, Writer};
/// let mut bytes = Vec::new();
/// let mut writer = Writer::new(Target::Csv, &mut bytes, "out.csv", &["beam"], false)?;
/// writer.write(&Record { time_ns: 0, line: 0, what: What::Start(Level::High) })?;
/// writer.write(&Record { time_ns: 150, line: 0, what: What::Edge(Level::Low) })?;
/// writer.finish()?;
/// assert_eq!(bytes, b"time_ns,line,level\n0,beam,1\n150,beam,0\n");
/// # Ok::<(), trueonset_sim::fault::Fault>(())
/// ```
pub struct Writer<'a> {
    sink: Box<dyn Sink + 'a>,
    now: Vec<Option<Level>>,
}

impl<'a> Writer<'a> {
    /// Writes the header. `file` stands in messages; a record's line is an index into `names`. What the format
    /// cannot hold is refused, or counted if `lossy`.
    ///
    /// # Errors
    /// A name that the format cannot hold, or `out` cannot be written to.
    pub fn new<S: AsRef<str>>(
        target: Target,
        out: impl Write + 'a,
        file: &str,
        names: &[S],
        lossy: bool,
    ) -> Result<Self, Fault> {
        let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
        let sink: Box<dyn Sink + 'a> = match target {
            Target::Csv => Box::new(CsvOut::new(out, file, &names)?),
            Target::Vcd => Box::new(VcdOut::new(out, file, &names, lossy)?),
        };
        Ok(Self {
            sink,
            now: vec![None; names.len()],
        })
    }

    /// Writes the next record of the log. Records of one line begin with its [`What::Start`].
    ///
    /// # Errors
    /// The format cannot hold it, or the output cannot be written to.
    pub fn write(&mut self, record: &Record) -> Result<(), Fault> {
        if record.line == ALL_LINES {
            return self.sink.passed(record.time_ns);
        }
        let Some(now) = self.now.get_mut(record.line as usize) else {
            return Err(out_of_turn(record, "a line that has a name"));
        };
        let (level, begins) = match (record.what, *now) {
            (What::Start(level), None) => (level, true),
            (What::Edge(level), Some(_)) | (What::Mark, Some(level)) => (level, false),
            (What::Start(_), Some(_)) => {
                return Err(out_of_turn(record, "one beginning of each line"))
            }
            (What::Edge(_) | What::Mark, None) => {
                return Err(out_of_turn(record, "the beginning of the line first"))
            }
        };
        *now = Some(level);
        self.sink.level(record.time_ns, record.line, level, begins)
    }

    /// Writes what is left and tells what was lost.
    ///
    /// # Errors
    /// The output cannot be written to.
    pub fn finish(mut self) -> Result<Loss, Fault> {
        self.sink.finish(&self.now)
    }
}

fn out_of_turn(record: &Record, expected: &str) -> Fault {
    Fault::new(
        format!(
            "{:?} of line number {} at {} ns",
            record.what, record.line, record.time_ns
        ),
        expected,
        "hand on the records of one reader, all of them and in order",
    )
}

/// What [`convert`] did.
#[derive(Debug)]
pub struct Converted {
    /// Records read.
    pub records: u64,
    /// What the target could not hold.
    pub loss: Loss,
    /// What had to be assumed about the input.
    pub assumptions: Vec<String>,
    /// Damage of the input; all before it has been written.
    pub damage: Option<Fault>,
}

/// Writes the log `input` (a path, or `-` for stdin) to `out` in another format.
///
/// A log that does not name its lines beforehand is read twice; stdin is kept in a temporary file for that.
///
/// # Errors
/// The input cannot be opened, the target cannot hold it and `lossy` was not given, or the output cannot be
/// written to.
pub fn convert(
    input: &str,
    options: &Options,
    target: Target,
    lossy: bool,
    out: impl Write,
    out_name: &str,
) -> Result<Converted, Fault> {
    let again = Rereadable::open(input)?;
    let mut reader = LogReader::from_boxed(again.read()?, again.name(), options)?;
    if !reader.declares_lines() {
        // A damage is met again, and told, in the second reading.
        reader.each_batch(|_, _| Ok(()))?;
    }
    let names: Vec<String> = reader
        .lines()
        .iter()
        .map(|line| line.name.clone())
        .collect();
    let mut reader = LogReader::from_boxed(again.read()?, again.name(), options)?;
    let mut writer = Writer::new(target, out, out_name, &names, lossy)?;
    let mut records = 0;
    let damage = reader.each_batch(|batch, reader| {
        records += batch.len() as u64;
        if reader.rounded() > 0 && !lossy {
            return Err(Fault::new(
                "times finer than 1 ns",
                "times in whole nanoseconds, which the format holds",
                "state --lossy to have them rounded and counted",
            )
            .at(Place::File(reader.file().to_owned())));
        }
        batch.iter().try_for_each(|record| writer.write(record))
    })?;
    let loss = Loss {
        times_rounded: reader.rounded(),
        ..writer.finish()?
    };
    Ok(Converted {
        records,
        loss,
        assumptions: reader.assumptions().to_vec(),
        damage,
    })
}
