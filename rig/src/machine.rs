//! The code under test: one line of core for each line of the log. Device and PC run this very file.

use trueonset::edge::Edge;
use trueonset::onset::{Config, ConfigError, Event, Line, Tally, Touched, Truncation};
use trueonset::time::TickRate;

use crate::item::{Item, What};
use crate::LINES;

/// How edges become touches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Ticks in a second of the times of the log.
    pub tick_hz: u32,
    /// How long a level must last to count.
    pub hold_ns: u64,
    /// Bandwidth of comparator or filter; 0: not stated.
    pub bandwidth_hz: u32,
    /// Which step the capture stored.
    pub side: Truncation,
    /// Its step in 1/256 tick.
    pub step_256: u32,
    /// Lines of the log.
    pub lines: u8,
    /// Bit n: line n is high in contact.
    pub high: u8,
}

/// Which setting was refused; the number goes over the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadSettings {
    /// 1: a tick rate of nothing.
    TickRate,
    /// 2: the hold.
    Hold,
    /// 3: the bandwidth.
    Bandwidth,
    /// 4: the capture step.
    Step,
    /// 5: more lines than [`LINES`], or none.
    Lines,
}

impl BadSettings {
    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self as u8 + 1
    }

    /// The setting of that number in words, the last one where there is none.
    #[must_use]
    pub const fn words(number: u8) -> &'static str {
        match number {
            1 => "tick rate",
            2 => "hold",
            3 => "bandwidth",
            4 => "capture step",
            _ => "number of lines",
        }
    }
}

/// An item that fits no line: of one not stated, not started or started twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BadItem;

/// The lines of a log.
#[derive(Clone, Debug)]
pub struct Machine {
    high: Config,
    low: Config,
    settings: Settings,
    lines: [Option<Line>; LINES],
}

impl Machine {
    /// Lines by `settings`, none started yet.
    ///
    /// # Errors
    /// The first setting that core refuses.
    pub fn new(settings: &Settings) -> Result<Self, BadSettings> {
        if !(1..=LINES).contains(&usize::from(settings.lines)) {
            return Err(BadSettings::Lines);
        }
        let rate = TickRate::from_hz(settings.tick_hz).map_err(|_| BadSettings::TickRate)?;
        let mut config = Config::new(rate, settings.hold_ns)
            .and_then(|config| config.capture(settings.side, settings.step_256))
            .map_err(refused)?;
        if settings.bandwidth_hz > 0 {
            config = config
                .bandwidth_hz(settings.bandwidth_hz)
                .map_err(refused)?;
        }
        Ok(Self {
            high: config.touched(Touched::High),
            low: config.touched(Touched::Low),
            settings: *settings,
            lines: [const { None }; LINES],
        })
    }

    /// Takes an item; what its line has to say.
    ///
    /// # Errors
    /// It fits no line; nothing has changed.
    pub fn take(&mut self, item: &Item) -> Result<Option<Event>, BadItem> {
        if item.line >= self.settings.lines {
            return Err(BadItem);
        }
        let config = if self.settings.high >> item.line & 1 == 1 {
            &self.high
        } else {
            &self.low
        };
        let line = self.lines.get_mut(usize::from(item.line)).ok_or(BadItem)?;
        match (item.what, line) {
            (What::Start(level), line @ None) => {
                *line = Some(Line::new(config, level, item.at));
                Ok(None)
            }
            (What::Edge(level), Some(line)) => Ok(line.edge(config, Edge::new(item.at, level))),
            (What::Passed, Some(line)) => Ok(line.poll(config, item.at)),
            _ => Err(BadItem),
        }
    }

    /// Where the edges of each line went: touches, releases, glitches, initial, refused, pending.
    /// The first row of a line is not among them.
    pub fn tallies(&self) -> impl Iterator<Item = [u32; 6]> + '_ {
        let lines = self.lines.iter().take(usize::from(self.settings.lines));
        lines.map(|line| line.as_ref().map_or([0; 6], |line| numbers(line.tally())))
    }
}

fn numbers(tally: Tally) -> [u32; 6] {
    [
        tally.touches,
        tally.releases,
        tally.glitches,
        tally.initial,
        tally.refused,
        tally.pending,
    ]
}

fn refused(why: ConfigError) -> BadSettings {
    match why {
        ConfigError::ZeroBandwidth => BadSettings::Bandwidth,
        ConfigError::CaptureStep => BadSettings::Step,
        _ => BadSettings::Hold,
    }
}
