//! Edges: captured by a counter that wraps, debounced, their onset found, hits of teeth merged.

use core::fmt::Write;

use trueonset::edge::{Edge, Level};
use trueonset::hits::{Hits, HitsConfig};
use trueonset::lateness::{Calibrator, Lateness, LatenessError};
use trueonset::onset::{
    Chatter, Config, ConfigError, Contact, Event, FeedClass, Line, Touched, Truncation,
};
use trueonset::time::{Bits, Counter, Instant};

use crate::{tell, Draw};

/// A comparator and the line behind it.
pub(crate) struct Room {
    now: u64,
    bits: Bits,
    counter: Counter,
    config: Config,
    line: Line,
    hits: (HitsConfig, Hits<4>),
    calibrator: Calibrator<6>,
    level: bool,
    last: Option<Contact>,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        // What the first settings are does not matter, as long as they hold.
        let mut config = checked(draw);
        while config.is_err() {
            config = checked(draw);
        }
        let mut merged = HitsConfig::new(draw.rate(), 20_000_000, 3, 4);
        while merged.is_err() {
            merged = HitsConfig::new(draw.rate(), 20_000_000, 3, 4);
        }
        let (Ok(config), Ok(merged)) = (config, merged) else {
            unreachable!("drawn until they hold");
        };
        let (bits, now) = (Bits::B24, draw.sized64() >> 1);
        let start = Instant::from_ticks(now);
        Self {
            now,
            bits,
            counter: Counter::new(bits, start),
            line: Line::new(&config, Level::Low, start),
            config,
            hits: (merged, Hits::new()),
            calibrator: Calibrator::new(),
            level: false,
            last: None,
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        match draw.below(64) {
            0 => self.look(draw, told),
            1 if draw.one_in(8) => self.renew(draw, told),
            2 => self.calibrate(draw, told),
            3..=13 => self.poll(draw, told),
            _ => self.edge(draw, told),
        }
    }

    /// Chatter, a rest beyond the hold, or a turn of the counter and more.
    fn wait(&mut self, draw: &mut Draw) {
        let ticks = match draw.below(16) {
            0..=10 => u64::from(draw.below(200)),
            11..=14 => u64::from(self.config.hold_ticks() / 2) * u64::from(draw.below(5)),
            _ => self.bits.turn() / 4 * u64::from(draw.below(6)),
        };
        // Far from the end of time, which `time` looks at.
        self.now = (self.now + ticks) & (u64::MAX >> 1);
    }

    fn edge(&mut self, draw: &mut Draw, told: &mut impl Write) {
        self.wait(draw);
        self.level = !self.level;
        let level = match draw.below(128) {
            0 => Level::Unknown,
            1 => Level::from(!self.level),
            _ => Level::from(self.level),
        };
        let mut edge = Edge::captured(self.counter.widen(self.now as u32), level);
        if draw.one_in(64) {
            edge = edge.with_faults(draw.flags());
        }
        let event = self.line.edge(&self.config, edge);
        self.tell(draw, event, told);
    }

    fn poll(&mut self, draw: &mut Draw, told: &mut impl Write) {
        self.wait(draw);
        let now = self.counter.widen(self.now as u32).at;
        let event = self.line.poll(&self.config, now);
        self.tell(draw, event, told);
        self.hits.1.poll(&self.hits.0, now, |event| {
            tell!(told, event);
        });
    }

    fn tell(&mut self, draw: &mut Draw, event: Option<Event>, told: &mut impl Write) {
        let Some(event) = event else {
            return;
        };
        tell!(told, event);
        if let Event::Touch(contact) | Event::Release(contact) = event {
            if let Some(before) = self.last.replace(contact) {
                tell!(told, before.flags_with(&contact));
            }
            if let Ok(lateness) = lateness(draw) {
                let feed = draw.yes().then(|| draw.sized32());
                tell!(told, lateness.corrected(&contact, self.config.rate(), feed));
            }
        }
        self.hits.1.event(&self.hits.0, &event, |event| {
            tell!(told, event);
        });
    }

    fn look(&mut self, draw: &mut Draw, told: &mut impl Write) {
        tell!(told, self.line.tally(), self.line.in_contact());
        tell!(told, self.line.deadline(), self.line.learned());
        let now = Instant::from_ticks(self.now);
        tell!(told, self.line.causal(&self.config, now));
        tell!(told, self.hits.1.in_contact(), self.hits.1.open_since());
        tell!(told, self.hits.1.deadline(&self.hits.0));
        let class = draw.yes().then(FeedClass::new);
        let before = self.line.exchange_class(class);
        tell!(told, before.map(|class| class.touches()));
    }

    /// A comparator with other settings takes its place.
    fn renew(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let made = checked(draw);
        tell!(told, made);
        if let Ok(config) = made {
            self.bits = draw.of([Bits::B16, Bits::B24, Bits::B32]);
            self.now = draw.sized64() >> 1;
            let start = Instant::from_ticks(self.now);
            self.counter = Counter::new(self.bits, start).allowing_back_step(draw.below(300));
            let learned = Chatter::known(draw.sized64());
            self.line = Line::new(&config, Level::from(self.level), start).with_learned(learned);
            self.config = config;
        }
        let merged = HitsConfig::new(draw.rate(), draw.sized64(), draw.below(6) as u8, 4);
        tell!(told, merged);
        if let Ok(merged) = merged {
            self.hits = (merged, Hits::new());
        }
    }

    fn calibrate(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let feed = draw.of([1_000, 5_000, 20_000, 60_000]) * 1_000;
        let off = draw.about(40_000_000) + 3_000_000;
        tell!(told, self.calibrator.pair(feed, off));
        if draw.one_in(16) {
            tell!(told, self.calibrator.solve());
            self.calibrator = Calibrator::new();
        }
    }
}

fn checked(draw: &mut Draw) -> Result<Config, ConfigError> {
    let rate = draw.rate();
    let hold_ns = if draw.one_in(8) {
        draw.sized64()
    } else {
        draw.of([50_000_u64, 200_000, 1_000_000, 2_000_000])
    };
    let mut config = Config::new(rate, hold_ns)?.touched(draw.of([Touched::High, Touched::Low]));
    if draw.yes() {
        config = config.bandwidth_hz(draw.sized32())?;
    }
    if draw.yes() {
        config = config.release_hold(u64::from(draw.below(3_000_000)))?;
    }
    let side = draw.of([Truncation::Before, Truncation::Nearest, Truncation::After]);
    config.capture(side, draw.below(512))
}

fn lateness(draw: &mut Draw) -> Result<Lateness, LatenessError> {
    let set = |draw: &mut Draw| {
        Lateness::delay(draw.about(50_000_000), draw.below(1_000_000))?
            .offset(draw.below(5_000_000), draw.below(1_000_000), draw.sized32())?
            .together(draw.about(1_000) as i16)
    };
    let (one, other, own) = (set(draw)?, set(draw)?, set(draw)?);
    Ok(own.between(&one, &other).turn_assumed())
}
