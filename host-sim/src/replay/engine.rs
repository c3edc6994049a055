//! The engine: records of a log in, what each line has to say out.

use trueonset::edge::Edge;
use trueonset::hits::Cutter;
use trueonset::onset::{Chatter, Event};
use trueonset::time::Instant;

use super::channel::Channel;
use super::clock::{instant, log_ns};
use super::order::Lines;
use super::settings::Settings;
use super::tally::Tally;
use crate::fault::Fault;
use crate::log::{Level, LineInfo, LogReader, Record, What, ALL_LINES};

/// What happened on a line of the log.
#[derive(Debug, Clone, Copy)]
pub struct Happening {
    /// Index of the line in the log.
    pub line: u32,
    /// The core's event.
    pub event: Event,
    /// With the release of a turning cutter, what its hits told.
    pub cutter: Option<Cutter>,
}

impl Happening {
    /// Appends what happens on `line` to `out`.
    fn onto(line: u32, out: &mut Vec<Self>) -> impl FnMut(Event, Option<Cutter>) + '_ {
        move |event, cutter| {
            out.push(Self {
                line,
                event,
                cutter,
            });
        }
    }
}

/// Replays records through one core [`Line`](trueonset::onset::Line) for each line of the log.
pub struct Engine {
    settings: Settings,
    channels: Vec<Option<Channel>>,
    first_ns: i64,
    latest_ns: i64,
    started: u64,
    edges: u64,
}

impl Engine {
    /// An engine with no line yet.
    ///
    /// # Errors
    /// A setting is out of the core's range.
    pub fn new(settings: Settings) -> Result<Self, Fault> {
        settings.config(settings.touched)?;
        Ok(Self {
            settings,
            channels: Vec::new(),
            first_ns: i64::MAX,
            latest_ns: i64::MIN,
            started: 0,
            edges: 0,
        })
    }

    /// Takes a batch; what happened is appended to `out`.
    ///
    /// # Errors
    /// A setting is out of the core's range.
    pub fn take(
        &mut self,
        batch: &[Record],
        lines: &[LineInfo],
        out: &mut Vec<Happening>,
    ) -> Result<(), Fault> {
        for record in batch {
            self.latest_ns = self.latest_ns.max(record.time_ns);
            self.first_ns = self.first_ns.min(record.time_ns);
            let at = instant(record.time_ns);
            match record.what {
                What::Edge(level) => {
                    if let Some(Some(channel)) = self.channels.get_mut(record.line as usize) {
                        self.edges += 1;
                        channel.edge(Edge::new(at, level), Happening::onto(record.line, out));
                    }
                }
                What::Mark if record.line == ALL_LINES => self.poll_all(record.time_ns, out),
                What::Mark => self.poll(record.line, at, out),
                What::Start(level) => self.start(record.line, lines, level, at)?,
            }
        }
        Ok(())
    }

    fn start(
        &mut self,
        line: u32,
        lines: &[LineInfo],
        level: Level,
        at: Instant,
    ) -> Result<(), Fault> {
        let index = line as usize;
        if self.channels.len() <= index {
            self.channels.resize_with(index + 1, || None);
        }
        let Some(info) = lines.get(index) else {
            return Ok(());
        };
        if let Some(channel) = Channel::new(&self.settings, &info.name, level, at)? {
            // The first row of a line is counted as initial, here for a known level and by the
            // core for an unknown one, which still waits for its first.
            self.started += 1;
            self.channels[index] = Some(channel);
        }
        Ok(())
    }

    fn poll(&mut self, line: u32, at: Instant, out: &mut Vec<Happening>) {
        if let Some(Some(channel)) = self.channels.get_mut(line as usize) {
            channel.poll(at, Happening::onto(line, out));
        }
    }

    /// Time has reached `time_ns` on every line.
    pub fn poll_all(&mut self, time_ns: i64, out: &mut Vec<Happening>) {
        for line in 0..self.channels.len() {
            self.poll(line as u32, instant(time_ns), out);
        }
    }

    /// The log has ended: holds that are over by then are reported.
    pub fn finish(&mut self, out: &mut Vec<Happening>) {
        self.poll_all(self.latest_ns, out);
    }

    /// What the first line has learned of its hardware.
    #[must_use]
    pub fn learned(&self) -> Chatter {
        let mut lines = self.channels.iter().flatten();
        lines
            .next()
            .map_or(self.settings.chatter, super::channel::Channel::learned)
    }

    /// The earliest time seen, ns; the end of time before any.
    #[must_use]
    pub fn first_ns(&self) -> i64 {
        self.first_ns
    }

    /// The latest time seen, ns.
    #[must_use]
    pub fn latest_ns(&self) -> i64 {
        self.latest_ns
    }

    /// Where the edges of all lines went.
    #[must_use]
    pub fn tally(&self) -> Tally {
        let mut tally = Tally {
            edges_in: self.edges + self.started,
            initial: self.started,
            ..Tally::default()
        };
        for channel in self.channels.iter().flatten() {
            tally.add(channel.tally());
        }
        tally
    }
}

impl Lines for Engine {
    fn settled_until_ns(&self) -> i64 {
        let open = self.channels.iter().flatten();
        let first = open.filter_map(super::channel::Channel::open_since).min();
        let settled = first.map_or(self.latest_ns, |at| log_ns(at).min(self.latest_ns));
        settled.saturating_sub(self.settings.most_late_ns())
    }

    fn name(&self, line: u32) -> &str {
        let channel = self.channels.get(line as usize).and_then(Option::as_ref);
        channel.map_or("", |channel| channel.name.as_str())
    }
}

/// Checks that every wanted line is in the log, once all its lines are known.
///
/// # Errors
/// An unknown name; the message lists the known ones.
pub fn check_names(settings: &Settings, reader: &LogReader) -> Result<(), Fault> {
    for (name, _) in &settings.lines {
        reader.find(name)?;
    }
    Ok(())
}
