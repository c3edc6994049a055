//! The reader of any light recording, and what tells one from an edge log.

use std::io::Read;

use super::csv::{Csv, HEADER};
use super::scope::Scope;
use super::wav::Wav;
use super::{LightRecord, Rate, MAX_LINES};
use crate::fault::{Fault, Place};
use crate::log::lines::Lines;
use crate::log::reader::{first_row, FirstRow};
use crate::log::window::Window;
use crate::log::{input, LogReader, Options};

/// The formats that are told apart by content and by the columns the user names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum LightFormat {
    /// The own CSV.
    Csv,
    /// CSV of another program.
    ScopeCsv,
    /// WAV.
    Wav,
}

impl LightFormat {
    /// Its name as `describe` tells it: `light csv`, `scope csv`, `wav`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Csv => "light csv",
            Self::ScopeCsv => "scope csv",
            Self::Wav => "wav",
        }
    }
}

/// A line of a recording as known so far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LightLine {
    /// Its name, unique in the recording.
    pub name: String,
    /// Its sampling rate, known from the first record of the line on, unless that is its only one.
    pub rate: Option<Rate>,
}

/// A format's reader.
pub(super) trait Source: Send {
    /// Appends the next records. `false` once there are none and never will be. With a fault, what was appended
    /// before it holds.
    fn next_batch(&mut self, out: &mut Vec<LightRecord>) -> Result<bool, Fault>;

    /// Appends what was held back, after the end or a fault. A fault here lies before that one.
    fn finish(&mut self, _out: &mut Vec<LightRecord>) -> Result<(), Fault> {
        Ok(())
    }

    /// The lines known so far.
    fn lines(&self) -> &Lines;

    /// The rate of a line as known so far.
    fn rate(&self, line: usize) -> Option<Rate>;

    /// What was assumed so far, one sentence each.
    fn notes(&self) -> &[String] {
        &[]
    }

    /// Values below 0 so far.
    fn below_zero(&self) -> u64 {
        0
    }

    /// Whether all lines are known before the first record.
    fn declares_lines(&self) -> bool {
        false
    }
}

/// A log or a recording, as its content tells.
pub enum Recording {
    /// An edge log.
    Edges(LogReader),
    /// A light recording.
    Light(LightReader),
}

impl Recording {
    /// Opens the file `path`, or stdin for `-`.
    ///
    /// # Errors
    /// The file cannot be read, its format is not recognised, or its header is damaged.
    pub fn open(path: &str, options: &Options) -> Result<Self, Fault> {
        let (source, name) = input::open(path)?;
        Self::from_window(Window::new(source, &name), options)
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
        Self::from_window(Window::new(Box::new(source), name), options)
    }

    fn from_window(mut window: Window, options: &Options) -> Result<Self, Fault> {
        match recognise(&mut window, options)? {
            Some(format) => LightReader::new(window, format, options).map(Self::Light),
            None => LogReader::from_window(window, options).map(Self::Edges),
        }
    }
}

/// A light recording being read.
///
/// ```
/// use trueonset_sim::light::LightReader;
/// use trueonset_sim::log::Options;
/// let recording = "time_ns,line,counts\n0,beam,3276\n5000,beam,3270\n15000,beam,12\n";
/// let mut reader = LightReader::from_read(recording.as_bytes(), "example.csv", &Options::default())?;
/// let mut batch = Vec::new();
/// let mut all = Vec::new();
/// while reader.next_batch(&mut batch)? {
///     all.extend(batch.iter().map(|record| (record.index, record.counts)));
/// }
/// assert_eq!(all, [(0, 3276), (1, 3270), (3, 12)]);
/// assert_eq!(reader.lines()[0].rate.map(|rate| rate.hz()), Some(200_000));
/// # Ok::<(), trueonset_sim::fault::Fault>(())
/// ```
pub struct LightReader {
    source: Box<dyn Source>,
    format: LightFormat,
    file: String,
    offset_ns: i64,
    lines: Vec<LightLine>,
    ended: bool,
    /// The fault found behind records that had to be delivered first; stays, so that it cannot be missed.
    fault: Option<Fault>,
}

impl LightReader {
    /// Opens the file `path`, or stdin for `-`.
    ///
    /// # Errors
    /// The file cannot be read, is no light recording, or its header is damaged.
    pub fn open(path: &str, options: &Options) -> Result<Self, Fault> {
        let (source, name) = input::open(path)?;
        Self::from_window(Window::new(source, &name), options)
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
        Self::from_window(Window::new(Box::new(source), name), options)
    }

    fn from_window(mut window: Window, options: &Options) -> Result<Self, Fault> {
        match recognise(&mut window, options)? {
            Some(format) => Self::new(window, format, options),
            None => Err(Fault::new(
                "no light recording",
                format!("a header `{HEADER}`, or a WAV file"),
                "name the columns of a CSV of another program with --columns time=NAME,light=NAME",
            )
            .at(Place::File(window.file().to_owned()))),
        }
    }

    fn new(window: Window, format: LightFormat, options: &Options) -> Result<Self, Fault> {
        let file = window.file().to_owned();
        let source: Box<dyn Source> = match format {
            LightFormat::Csv => Box::new(Csv::new(window)),
            LightFormat::ScopeCsv => Box::new(Scope::new(window, options)?),
            LightFormat::Wav => Box::new(Wav::new(window)?),
        };
        let mut reader = Self {
            source,
            format,
            file,
            offset_ns: options.offset_ns,
            lines: Vec::new(),
            ended: false,
            fault: None,
        };
        reader.look_at_lines();
        Ok(reader)
    }

    /// Replaces the content of `batch` by the next records, at least one. `false` at the end, the batch empty.
    ///
    /// Records of a line come in the order of their times; of several lines in that of the file, but for the first
    /// [`HEAD`](super::HEAD) of each line of a CSV, which come together.
    ///
    /// # Errors
    /// Damage, or the input cannot be read on. All records before it have been delivered by earlier calls;
    /// later calls return the same fault.
    pub fn next_batch(&mut self, batch: &mut Vec<LightRecord>) -> Result<bool, Fault> {
        batch.clear();
        if let Some(fault) = &self.fault {
            return Err(fault.clone());
        }
        while batch.is_empty() && !self.ended {
            let mut read = self.source.next_batch(batch);
            if !matches!(read, Ok(true)) {
                read = self.source.finish(batch).and(read);
            }
            // Records before a damage are shifted as well; a time that cannot be lies before the damage.
            match self.shift(batch).and(read) {
                Ok(more) => self.ended = !more,
                Err(fault) => {
                    let fault = fault.or_at(Place::File(self.file.clone()));
                    self.fault = Some(fault.clone());
                    self.look_at_lines();
                    return if batch.is_empty() {
                        Err(fault)
                    } else {
                        Ok(true)
                    };
                }
            }
        }
        self.look_at_lines();
        Ok(!batch.is_empty())
    }

    /// Reads all of the recording, giving `each` the batches and the reader as it then is.
    ///
    /// A damage of the recording ends it early and is handed back, after everything before it was given.
    ///
    /// # Errors
    /// Those of `each`.
    pub fn each_batch(
        &mut self,
        mut each: impl FnMut(&[LightRecord], &Self) -> Result<(), Fault>,
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

    fn look_at_lines(&mut self) {
        let infos = self.source.lines().infos();
        for info in &infos[self.lines.len()..] {
            self.lines.push(LightLine {
                name: info.name.clone(),
                rate: None,
            });
        }
        for (at, line) in self.lines.iter_mut().enumerate() {
            line.rate = self.source.rate(at);
        }
    }

    /// Adds the offset; cuts the batch before a time that would leave 64 bits.
    fn shift(&self, batch: &mut Vec<LightRecord>) -> Result<(), Fault> {
        for at in 0..batch.len() {
            let time_ns = batch[at].time_ns;
            let Some(sum) = time_ns.checked_add(self.offset_ns) else {
                batch.truncate(at);
                return Err(Fault::new(
                    format!(
                        "the time {time_ns} ns with the offset {} ns",
                        self.offset_ns
                    ),
                    "a sum that fits 64 bits",
                    "choose a smaller offset",
                ));
            };
            batch[at].time_ns = sum;
        }
        Ok(())
    }

    /// The format that was recognised.
    #[must_use]
    pub fn format(&self) -> LightFormat {
        self.format
    }

    /// The name of the recording as it stands in messages.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.file
    }

    /// The lines known so far, in the order of the recording.
    #[must_use]
    pub fn lines(&self) -> &[LightLine] {
        &self.lines
    }

    /// Whether [`lines`](Self::lines) is complete from the start; otherwise only the end of the recording tells.
    #[must_use]
    pub fn declares_lines(&self) -> bool {
        self.source.declares_lines()
    }

    /// The index of the line `name`.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<u32> {
        self.source.lines().find(name)
    }

    /// What had to be assumed so far, one sentence each, to be told on stderr. Grows while reading.
    #[must_use]
    pub fn assumptions(&self) -> &[String] {
        self.source.notes()
    }

    /// Values below 0 so far, which were taken as no light.
    #[must_use]
    pub fn below_zero(&self) -> u64 {
        self.source.below_zero()
    }
}

/// Tells whether an input is a light recording and of which format; only of such a one is consumed what is read no
/// more, byte-order mark and own header.
pub(crate) fn recognise(
    window: &mut Window,
    options: &Options,
) -> Result<Option<LightFormat>, Fault> {
    let named = options
        .columns
        .as_ref()
        .is_some_and(|columns| !columns.lights.is_empty());
    loop {
        let data = window.data();
        if data.starts_with(b"RIFF") || (data.len() < 4 && b"RIFF".starts_with(data)) {
            let ends = data.len() >= 12 || !window.more()?;
            if ends && window.data().starts_with(b"RIFF") {
                return match window.data().get(8..12) {
                    Some(b"WAVE") if options.are_for_foreign_csv() => Err(Fault::new(
                        "a WAV file",
                        "CSV, since columns, a time unit or an initial level were given",
                        "leave these options out: the WAV says all this itself",
                    )
                    .at(Place::File(window.file().to_owned()))),
                    Some(b"WAVE") => Ok(Some(LightFormat::Wav)),
                    _ => Ok(None),
                };
            }
            if !ends {
                continue;
            }
        }
        let data = window.data();
        let text = data.strip_prefix(b"\xef\xbb\xbf").unwrap_or(data);
        let mark = data.len() - text.len();
        match first_row(text, window.ended()) {
            FirstRow::Csv(..) if named => {
                window.consume(mark);
                return Ok(Some(LightFormat::ScopeCsv));
            }
            FirstRow::Csv(row, behind)
                if row == HEADER.as_bytes() && !options.are_for_foreign_csv() =>
            {
                window.consume(mark + behind);
                return Ok(Some(LightFormat::Csv));
            }
            FirstRow::Unfinished => {}
            FirstRow::Dump | FirstRow::Csv(..) | FirstRow::Missing => return Ok(None),
        }
        if !window.more()? && !window.ended() {
            return Ok(None);
        }
    }
}

/// Refuses more than [`MAX_LINES`].
pub(super) fn check_count(lines: usize) -> Result<(), Fault> {
    if lines <= MAX_LINES {
        return Ok(());
    }
    Err(Fault::new(
        format!("more than {MAX_LINES} lines"),
        "a recording of fewer lines",
        "check that the line column is the right one, or name only the columns of light",
    ))
}

/// The line of this name, new if need be. A fault lacks its place.
pub(super) fn line_of(lines: &mut Lines, name: &str) -> Result<u32, Fault> {
    if let Some(line) = lines.find(name) {
        return Ok(line);
    }
    check_count(lines.infos().len() + 1)?;
    lines.add(name)
}
