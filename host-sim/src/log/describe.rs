//! What a log is like: levels, edges, and how long each level lasts. Memory does not grow with the log.

use super::{Level, LineInfo, Record, What, ALL_LINES};

/// Counts of dwells by length: bin `k` holds those of 2^k to 2^(k+1) - 1 ns, bin 0 also those of 0 ns.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Dwells {
    bins: Vec<u64>,
}

impl Dwells {
    fn add(&mut self, ns: u64) {
        let bin = ns.max(1).ilog2() as usize;
        if self.bins.len() <= bin {
            self.bins.resize(bin + 1, 0);
        }
        self.bins[bin] += 1;
    }

    /// Adds those of another log.
    pub fn join(&mut self, other: &Self) {
        let longest = self.bins.len().max(other.bins.len());
        self.bins.resize(longest, 0);
        for (own, more) in self.bins.iter_mut().zip(&other.bins) {
            *own += more;
        }
    }

    /// Shortest and longest dwell in ns that the bin holds, and the count, for each bin that is not empty.
    pub fn bins(&self) -> impl Iterator<Item = (u64, u64, u64)> + '_ {
        let filled = self
            .bins
            .iter()
            .enumerate()
            .filter(|&(_, &count)| count > 0);
        filled.map(|(bin, &count)| {
            let from = if bin == 0 { 0 } else { 1 << bin };
            (from, u64::MAX >> (63 - bin), count)
        })
    }
}

/// What one line is like.
///
/// Sums reach from its first row to the end of the log. Shortest dwells and histograms hold only dwells with an
/// edge at both ends, neither from nor to an unknown level.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineFacts {
    /// Its name.
    pub name: String,
    /// Its initial level.
    pub initial: Level,
    /// Changes of level, to and from unknown ones included.
    pub edges: u64,
    /// Time at high in ns.
    pub high_ns: u64,
    /// Time at low in ns.
    pub low_ns: u64,
    /// Time at an unknown level in ns.
    pub unknown_ns: u64,
    /// Shortest dwell at high in ns, if there is a complete one.
    pub shortest_high_ns: Option<u64>,
    /// Shortest dwell at low in ns, if there is a complete one.
    pub shortest_low_ns: Option<u64>,
    /// Dwells at high.
    pub high_dwells: Dwells,
    /// Dwells at low.
    pub low_dwells: Dwells,
    /// Records whose time lay before that of the line's last one.
    pub times_back: u64,
    /// Glitches, which only a detector can tell; `None` until the caller fills it in.
    pub glitches: Option<u64>,
}

/// What a log is like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Description {
    /// From the earliest to the latest time of the log, in ns.
    pub duration_ns: u64,
    /// Its lines, in its order.
    pub lines: Vec<LineFacts>,
}

/// Collects a [`Description`], record by record.
#[derive(Debug, Clone, Default)]
pub struct Describe {
    lines: Vec<Option<Running>>,
    times: Option<(i64, i64)>,
}

#[derive(Debug, Clone)]
struct Running {
    facts: LineFacts,
    level: Level,
    since_ns: i64,
    /// Whether the dwell in hand began with an edge from a known level.
    whole: bool,
}

impl Describe {
    /// Nothing collected yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the next record of the log.
    pub fn add(&mut self, record: &Record) {
        let time = record.time_ns;
        self.times = Some(self.times.map_or((time, time), |(first, last)| {
            (first.min(time), last.max(time))
        }));
        if record.line == ALL_LINES {
            return;
        }
        let line = record.line as usize;
        if self.lines.len() <= line {
            self.lines.resize(line + 1, None);
        }
        match (record.what, &mut self.lines[line]) {
            (What::Start(level), slot) => *slot = Some(Running::new(level, time)),
            (What::Edge(level), Some(running)) => running.edge(level, time),
            (What::Mark, Some(running)) => {
                running.facts.times_back += u64::from(time < running.since_ns);
            }
            (What::Edge(_) | What::Mark, None) => {}
        }
    }

    /// The description of what was taken; `lines` are those of the reader.
    #[must_use]
    pub fn finish(self, lines: &[LineInfo]) -> Description {
        let (first, last) = self.times.unwrap_or((0, 0));
        let running = self.lines.into_iter().chain(std::iter::repeat(None));
        let facts = lines.iter().zip(running).map(|(info, running)| {
            let mut running = running.unwrap_or_else(|| Running::new(Level::Unknown, last));
            running.facts.name.clone_from(&info.name);
            running.spend(last);
            running.facts
        });
        Description {
            duration_ns: last.abs_diff(first),
            lines: facts.collect(),
        }
    }
}

impl Running {
    fn new(initial: Level, since_ns: i64) -> Self {
        let facts = LineFacts {
            name: String::new(),
            initial,
            edges: 0,
            high_ns: 0,
            low_ns: 0,
            unknown_ns: 0,
            shortest_high_ns: None,
            shortest_low_ns: None,
            high_dwells: Dwells::default(),
            low_dwells: Dwells::default(),
            times_back: 0,
            glitches: None,
        };
        Self {
            facts,
            level: initial,
            since_ns,
            whole: false,
        }
    }

    fn edge(&mut self, level: Level, time_ns: i64) {
        let back = time_ns < self.since_ns;
        let dwell = self.spend(time_ns);
        if self.whole && !back && level != Level::Unknown {
            let (shortest, dwells) = match self.level {
                Level::High => (
                    &mut self.facts.shortest_high_ns,
                    &mut self.facts.high_dwells,
                ),
                _ => (&mut self.facts.shortest_low_ns, &mut self.facts.low_dwells),
            };
            *shortest = Some(shortest.map_or(dwell, |known| known.min(dwell)));
            dwells.add(dwell);
        }
        self.facts.edges += 1;
        self.facts.times_back += u64::from(back);
        self.whole = !back && self.level != Level::Unknown && level != Level::Unknown;
        self.level = level;
        self.since_ns = time_ns;
    }

    /// Adds the time up to `until_ns` to the level in hand; none if time went back.
    fn spend(&mut self, until_ns: i64) -> u64 {
        let dwell = if until_ns > self.since_ns {
            until_ns.abs_diff(self.since_ns)
        } else {
            0
        };
        let sum = match self.level {
            Level::High => &mut self.facts.high_ns,
            Level::Low => &mut self.facts.low_ns,
            Level::Unknown => &mut self.facts.unknown_ns,
        };
        *sum = sum.saturating_add(dwell);
        dwell
    }
}
