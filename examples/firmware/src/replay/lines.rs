//! The lines of a log: each is one `Line` of core, fed in the order of the log.

use core::fmt;

use heapless::{String, Vec};
use trueonset::edge::{Edge, Level};
use trueonset::onset::{Config, Event, Line};
use trueonset::time::Instant;

use crate::csv::{Row, MAX_NAME};
use crate::fault::Fault;
use crate::host::{full, Out};
use crate::rows::{instant, Held};

/// Lines at most.
const MAX_LINES: usize = 8;

/// One line and what the log said of it last.
struct Fed {
    line: Line,
    level: Level,
}

/// All lines of a log and the touches not written yet.
pub struct Lines {
    config: Config,
    names: Vec<String<MAX_NAME>, MAX_LINES>,
    fed: Vec<Fed, MAX_LINES>,
    held: &'static mut Held,
    edges: u32,
    touches: u32,
    latest: Option<Instant>,
}

impl Lines {
    /// None yet; each will work by `config`, and `held` keeps their touches.
    pub fn new(config: Config, held: &'static mut Held) -> Self {
        Self {
            config,
            names: Vec::new(),
            fed: Vec::new(),
            held,
            edges: 0,
            touches: 0,
            latest: None,
        }
    }

    /// Takes a row of the log.
    pub fn take(&mut self, row: &Row, out: &mut Out) -> Result<(), Fault> {
        let at = instant(row.time_ns);
        self.latest = self.latest.max(Some(at));
        let Some(index) = self.names.iter().position(|name| name == row.name) else {
            return self.start(row, at);
        };
        if self.held.is_full() {
            self.leave(at, out)?;
        }
        let fed = &mut self.fed[index];
        let event = if row.level == fed.level {
            fed.line.poll(&self.config, at)
        } else {
            fed.level = row.level;
            self.edges = self.edges.saturating_add(1);
            fed.line.edge(&self.config, Edge::new(at, row.level))
        };
        self.note(index, event)
    }

    /// Ends the log: a hold that is over by its last row is over, and every row leaves.
    pub fn end(&mut self, out: &mut Out) -> Result<(), Fault> {
        if let Some(latest) = self.latest {
            self.pass(latest, out)?;
        }
        self.held.leave(None, &self.names, out).map_err(|_| full())
    }

    /// Where the edges went.
    pub fn account(&self) -> Account<'_> {
        Account(self)
    }

    fn start(&mut self, row: &Row, at: Instant) -> Result<(), Fault> {
        let fed = Fed {
            line: Line::new(&self.config, row.level, at),
            level: row.level,
        };
        let name = String::try_from(row.name).map_err(|_| ());
        let added = name.and_then(|name| self.names.push(name).map_err(drop));
        let added = added.and_then(|()| self.fed.push(fed).map_err(drop));
        added.map_err(|()| Fault::new(0, "a ninth line", "at most 8", "replay fewer lines at once"))
    }

    /// Lets holds end that are over by `now`.
    fn pass(&mut self, now: Instant, out: &mut Out) -> Result<(), Fault> {
        for index in 0..self.fed.len() {
            if self.held.is_full() {
                self.leave(now, out)?;
            }
            let event = self.fed[index].line.poll(&self.config, now);
            self.note(index, event)?;
        }
        Ok(())
    }

    /// Writes what no line can get ahead of any more: an onset lies at or after the first edge.
    fn leave(&mut self, now: Instant, out: &mut Out) -> Result<(), Fault> {
        let open = self
            .fed
            .iter()
            .filter_map(|fed| fed.line.open_since())
            .min();
        let earliest = open.map_or(now, |open| open.min(now));
        self.held
            .leave(Some(earliest), &self.names, out)
            .map_err(|_| full())
    }

    fn note(&mut self, index: usize, event: Option<Event>) -> Result<(), Fault> {
        match event {
            Some(Event::Touch(contact)) => {
                self.touches += 1;
                self.held.touch(index as u8, &contact)
            }
            Some(Event::Release(contact)) => {
                self.held.release(index as u8, &contact);
                Ok(())
            }
            _ => Ok(()),
        }
    }
}

/// The sum of all tallies, in the words of the program on the PC.
pub struct Account<'a>(&'a Lines);

impl fmt::Display for Account<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sum = |part: fn(&trueonset::onset::Tally) -> u32| {
            self.0
                .fed
                .iter()
                .map(|fed| u64::from(part(&fed.line.tally())))
                .sum::<u64>()
        };
        write!(
            f,
            "{} touches; edges {} = {} touches + {} releases + {} glitches + {} initial + {} refused + {} unfinished",
            self.0.touches,
            self.0.edges,
            sum(|tally| tally.touches),
            sum(|tally| tally.releases),
            sum(|tally| tally.glitches),
            sum(|tally| tally.initial),
            sum(|tally| tally.refused),
            sum(|tally| tally.pending),
        )
    }
}
