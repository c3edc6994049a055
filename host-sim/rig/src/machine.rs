//! The code under test: one line of core for each line of the log. Device and PC run this very file.

use trueonset::edge::Edge;
use trueonset::onset::{Config, ConfigError, Event, Line, Tally, Touched, Truncation};
use trueonset::time::{Instant, TickRate};

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
}

/// Which setting was refused; the number goes over the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadSettings {
    /// 1: a tick rate of nothing.
    TickRate,
    /// 2: the hold.
    Hold,
    /// 3: the capture step.
    Step,
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
            _ => "capture step",
        }
    }
}

/// An item that fits no line: of one the device does not have, not started or started twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BadItem;

/// The lines of a log.
#[derive(Clone, Debug)]
pub struct Machine {
    high: Config,
    low: Config,
    lines: [Option<(Touched, Line)>; LINES],
}

impl Machine {
    /// Lines by `settings`, none started yet.
    ///
    /// # Errors
    /// The first setting that core refuses.
    pub fn new(settings: &Settings) -> Result<Self, BadSettings> {
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
            lines: [const { None }; LINES],
        })
    }

    /// Takes an item; what its line has to say.
    ///
    /// # Errors
    /// It fits no line; nothing has changed.
    pub fn take(&mut self, item: &Item) -> Result<Option<Event>, BadItem> {
        let (high, low) = (&self.high, &self.low);
        let config = |touched| match touched {
            Touched::High => high,
            Touched::Low => low,
        };
        let line = self.lines.get_mut(usize::from(item.line)).ok_or(BadItem)?;
        match (item.what, line) {
            (What::Start(level, touched), line @ None) => {
                *line = Some((touched, Line::new(config(touched), level, item.at)));
                Ok(None)
            }
            (What::Edge(level), Some((touched, line))) => {
                Ok(line.edge(config(*touched), Edge::new(item.at, level)))
            }
            (What::Passed, Some((touched, line))) => Ok(line.poll(config(*touched), item.at)),
            _ => Err(BadItem),
        }
    }

    /// First edge of what may still become a touch, a release or a glitch on any line.
    #[must_use]
    pub fn open_since(&self) -> Option<Instant> {
        let lines = self.lines.iter().flatten();
        lines.filter_map(|(_, line)| line.open_since()).min()
    }

    /// Where the edges of each line went: touches, releases, glitches, initial, refused, pending.
    /// The first row of a line is not among them.
    #[must_use]
    pub fn tallies(&self) -> [[u32; 6]; LINES] {
        let none = [0; 6];
        self.lines.each_ref().map(|line| {
            line.as_ref()
                .map_or(none, |(_, line)| numbers(line.tally()))
        })
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
        ConfigError::CaptureStep => BadSettings::Step,
        _ => BadSettings::Hold,
    }
}
