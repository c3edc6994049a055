//! The reader of any log: recognises the format, hands on the records.

use std::io::Read;

use super::foreign::Foreign;
use super::input;
use super::lines::Lines;
use super::native::{self, Native};
use super::vcd::Vcd;
use super::window::{Window, MAX_ROW_BYTES};
use super::{LineInfo, Options, Record};
use crate::fault::{excerpt, Fault, Place};

/// The formats that are told apart by content.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Format {
    /// The own CSV.
    Csv,
    /// CSV of another program.
    ForeignCsv,
    /// Value change dump.
    Vcd,
}

impl Format {
    /// Its name as `describe` tells it: `csv`, `foreign csv`, `vcd`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::ForeignCsv => "foreign csv",
            Self::Vcd => "vcd",
        }
    }
}

/// A format's reader.
pub(super) trait Source: Send {
    /// Appends the next records. `false` once there are none and never will be. With a fault, what was appended
    /// before it holds.
    fn next_batch(&mut self, out: &mut Vec<Record>) -> Result<bool, Fault>;

    /// The lines known so far.
    fn lines(&self) -> &Lines;

    /// What was assumed so far, one sentence each.
    fn notes(&self) -> &[String] {
        &[]
    }

    /// Times so far that were finer than a nanosecond and had to be rounded.
    fn rounded(&self) -> u64 {
        0
    }

    /// Whether all lines are known before the first record.
    fn declares_lines(&self) -> bool {
        false
    }

    /// The line another name stands for.
    fn alias(&self, _name: &str) -> Option<u32> {
        None
    }

    /// Why a name that is in the log is no line of it.
    fn why_not_a_line(&self, _name: &str) -> Option<Fault> {
        None
    }
}

/// A log being read.
///
/// ```
/// use trueonset_sim::log::{Level, LogReader, Options, What};
/// let log = "time_ns,line,level\n0,beam,1\n150,beam,0\n900,beam,0\n";
/// let mut reader = LogReader::from_read(log.as_bytes(), "example.csv", &Options::default())?;
/// let mut batch = Vec::new();
/// let mut all = Vec::new();
/// while reader.next_batch(&mut batch)? {
///     all.extend(batch.iter().map(|record| record.what));
/// }
/// assert_eq!(all, [What::Start(Level::High), What::Edge(Level::Low), What::Mark]);
/// assert_eq!(reader.lines()[0].name, "beam");
/// # Ok::<(), trueonset_sim::fault::Fault>(())
/// ```
pub struct LogReader {
    source: Box<dyn Source>,
    format: Format,
    file: String,
    offset_ns: i64,
    /// The fault found behind records that had to be delivered first; stays, so that it cannot be missed.
    fault: Option<Fault>,
}

impl LogReader {
    /// Opens the file `path`, or stdin for `-`.
    ///
    /// # Errors
    /// The file cannot be read, its format is not recognised, or its header is damaged.
    pub fn open(path: &str, options: &Options) -> Result<Self, Fault> {
        let (source, name) = input::open(path)?;
        Self::from_boxed(source, &name, options)
    }

    /// Reads from `source`; `name` stands in messages.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn from_read(
        source: impl Read + Send + 'static,
        name: &str,
        options: &Options,
    ) -> Result<Self, Fault> {
        Self::from_boxed(Box::new(source), name, options)
    }

    pub(super) fn from_boxed(
        source: Box<dyn Read + Send>,
        name: &str,
        options: &Options,
    ) -> Result<Self, Fault> {
        Self::from_window(Window::new(source, name), options)
    }

    pub(crate) fn from_window(mut window: Window, options: &Options) -> Result<Self, Fault> {
        let name = window.file().to_owned();
        if crate::light::recognise(&mut window, options)?.is_some() {
            return Err(Fault::new(
                "a light recording",
                "an edge log",
                "give it to replay or describe",
            )
            .at(Place::File(name)));
        }
        let format = recognise(&mut window, options)?;
        let source: Box<dyn Source> = match format {
            Format::Csv => Box::new(Native::new(window)),
            Format::ForeignCsv => Box::new(Foreign::new(window, options)?),
            Format::Vcd => Box::new(Vcd::new(window)?),
        };
        Ok(Self {
            source,
            format,
            file: name,
            offset_ns: options.offset_ns,
            fault: None,
        })
    }

    /// Replaces the content of `batch` by the next records, at least one. `false` at the end, the batch empty.
    ///
    /// Returns as soon as anything complete has arrived: a live stream is followed row by row.
    ///
    /// # Errors
    /// Damage, or the input cannot be read on. All records before it have been delivered by earlier calls;
    /// later calls return the same fault.
    pub fn next_batch(&mut self, batch: &mut Vec<Record>) -> Result<bool, Fault> {
        batch.clear();
        if let Some(fault) = &self.fault {
            return Err(fault.clone());
        }
        while batch.is_empty() {
            let read = self.source.next_batch(batch);
            // Records before a damage are shifted as well; a time that cannot be lies before the damage.
            match self.shift(batch).and(read) {
                Ok(true) => {}
                Ok(false) => return Ok(!batch.is_empty()),
                Err(fault) => {
                    self.fault = Some(fault.clone());
                    if batch.is_empty() {
                        return Err(fault);
                    }
                }
            }
        }
        Ok(true)
    }

    /// Reads all of the log, giving `each` the batches and the reader as it then is.
    ///
    /// A damage of the log ends it early and is handed back, after everything before it was given.
    ///
    /// # Errors
    /// Those of `each`.
    pub fn each_batch(
        &mut self,
        mut each: impl FnMut(&[Record], &Self) -> Result<(), Fault>,
    ) -> Result<Option<Fault>, Fault> {
        let mut batch = Vec::new();
        loop {
            match self.next_batch(&mut batch) {
                Ok(true) => each(&batch, self)?,
                Ok(false) => return Ok(None),
                Err(damage) => return Ok(Some(damage)),
            }
        }
    }

    /// Adds the offset; cuts the batch before a time that would leave 64 bits.
    fn shift(&self, batch: &mut Vec<Record>) -> Result<(), Fault> {
        if self.offset_ns == 0 {
            return Ok(());
        }
        let mut sums = 0;
        for record in batch.iter_mut() {
            let Some(sum) = record.time_ns.checked_add(self.offset_ns) else {
                break;
            };
            record.time_ns = sum;
            sums += 1;
        }
        match batch.get(sums).map(|record| record.time_ns) {
            None => Ok(()),
            Some(time_ns) => {
                batch.truncate(sums);
                Err(Fault::new(
                    format!(
                        "the time {time_ns} ns with the offset {} ns",
                        self.offset_ns
                    ),
                    "a sum that fits 64 bits",
                    "choose a smaller offset",
                )
                .at(Place::File(self.file.clone())))
            }
        }
    }

    /// The format that was recognised.
    #[must_use]
    pub fn format(&self) -> Format {
        self.format
    }

    /// The name of the log as it stands in messages.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.file
    }

    /// The lines known so far, in the order of the log.
    #[must_use]
    pub fn lines(&self) -> &[LineInfo] {
        self.source.lines().infos()
    }

    /// Whether [`lines`](Self::lines) is complete from the start; otherwise only the end of the log tells.
    #[must_use]
    pub fn declares_lines(&self) -> bool {
        self.source.declares_lines()
    }

    /// What had to be assumed so far, one sentence each, to be told on stderr. Grows while reading.
    #[must_use]
    pub fn assumptions(&self) -> &[String] {
        self.source.notes()
    }

    /// Times so far that were finer than a nanosecond and had to be rounded.
    #[must_use]
    pub fn rounded(&self) -> u64 {
        self.source.rounded()
    }

    /// The index of the line `name`.
    ///
    /// # Errors
    /// There is no such line, or it is nothing that has one bit; the message lists the known ones.
    pub fn find(&self, name: &str) -> Result<u32, Fault> {
        if let Some(line) = self
            .source
            .lines()
            .find(name)
            .or_else(|| self.source.alias(name))
        {
            return Ok(line);
        }
        let fault = self.source.why_not_a_line(name).unwrap_or_else(|| {
            Fault::new(
                format!("no line named {}", excerpt(name.as_bytes())),
                "the name of a line of the log",
                format!("choose from {}", listed(self.lines())),
            )
        });
        Err(fault.or_at(Place::File(self.file.clone())))
    }
}

/// The first names of a log, for a message.
fn listed(lines: &[LineInfo]) -> String {
    const SHOWN: usize = 12;
    let mut names: Vec<&str> = lines
        .iter()
        .take(SHOWN)
        .map(|line| line.name.as_str())
        .collect();
    let more = format!("{} more", lines.len().saturating_sub(SHOWN));
    if lines.len() > SHOWN {
        names.push(&more);
    }
    if names.is_empty() {
        "none: the log has no lines".to_owned()
    } else {
        names.join(", ")
    }
}

/// Tells the format and consumes what is read no more: byte-order mark and own header.
fn recognise(window: &mut Window, options: &Options) -> Result<Format, Fault> {
    loop {
        let data = window.data();
        let undecided = match binary(data) {
            Some(what) => {
                return Err(Fault::new(
                    what,
                    "a CSV or VCD log as plain UTF-8 text",
                    "export the log as CSV or VCD",
                )
                .at(Place::byte(window.file(), 0)))
            }
            None => data.len() < 3 && !window.ended() && [0xef, 0xbb, 0xbf].starts_with(data),
        };
        if !undecided {
            let text = data.strip_prefix(b"\xef\xbb\xbf").unwrap_or(data);
            let mark = data.len() - text.len();
            match first_row(text, window.ended()) {
                FirstRow::Dump => {
                    if options.are_for_foreign_csv() {
                        return Err(Fault::new(
                            "a value change dump",
                            "CSV, since columns, a time unit or an initial level were given",
                            "leave these options out: the dump says all this itself",
                        )
                        .at(Place::File(window.file().to_owned())));
                    }
                    window.consume(mark);
                    return Ok(Format::Vcd);
                }
                FirstRow::Csv(row, behind) => {
                    let own = row == native::HEADER.as_bytes() && !options.are_for_foreign_csv();
                    let used = mark + if own { behind } else { 0 };
                    window.consume(used);
                    return Ok(if own { Format::Csv } else { Format::ForeignCsv });
                }
                FirstRow::Unfinished => {}
                FirstRow::Missing => {
                    return Err(Fault::new(
                        "no row",
                        "a log",
                        "check that the log was written to this file",
                    )
                    .at(Place::File(window.file().to_owned())))
                }
            }
        }
        if !window.more()? && !window.ended() {
            return Err(
                Fault::new("nothing but comments", "a log", "check that this is a log")
                    .at(window.place(0)),
            );
        }
    }
}

/// What the first line that is no comment makes of the text.
pub(crate) enum FirstRow<'a> {
    Dump,
    /// The row, trimmed, and the length of the text up to the next row.
    Csv(&'a [u8], usize),
    Unfinished,
    Missing,
}

pub(crate) fn first_row(text: &[u8], ended: bool) -> FirstRow<'_> {
    let mut at = 0;
    while at < text.len() {
        let rest = &text[at..];
        let end = memchr::memchr(b'\n', rest);
        if rest.trim_ascii_start().first() == Some(&b'$') {
            return FirstRow::Dump;
        }
        if end.is_none() && !ended && rest.len() <= MAX_ROW_BYTES {
            return FirstRow::Unfinished;
        }
        let length = end.unwrap_or(rest.len());
        let row = rest[..length].trim_ascii();
        let behind = text.len().min(at + length + 1);
        if !row.is_empty() && row[0] != b'#' {
            return FirstRow::Csv(row, behind);
        }
        at = behind;
    }
    if ended {
        FirstRow::Missing
    } else {
        FirstRow::Unfinished
    }
}

/// What a beginning says that is no text.
fn binary(data: &[u8]) -> Option<&'static str> {
    if data.starts_with(b"PK\x03\x04") {
        Some("a ZIP archive, as capture programs save their sessions")
    } else if data.starts_with(b"\x1f\x8b") {
        Some("a gzip archive")
    } else if data.starts_with(b"\xff\xfe") || data.starts_with(b"\xfe\xff") {
        Some("UTF-16 text")
    } else if data.first() == Some(&0) {
        Some("a binary file")
    } else {
        None
    }
}
