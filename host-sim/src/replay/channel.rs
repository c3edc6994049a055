//! One line of an edge log under replay: the core's line, what merges its hits, what takes its
//! lateness off.

use trueonset::edge::{Edge, Level};
use trueonset::hits::{Cutter, Hits, HitsConfig, HitsEvent};
use trueonset::lateness::Lateness;
use trueonset::onset::{Chatter, Config, Contact, Event, FeedClass, Line, Tally};
use trueonset::time::{Instant, TickRate};

use super::settings::Settings;
use crate::fault::Fault;

/// Teeth of a cutter at most.
pub(super) const TEETH: usize = 64;

/// A line with all that comes behind it.
pub(super) struct Channel {
    pub(super) name: String,
    config: Config,
    line: Line,
    /// Where a cutter turns.
    hits: Option<(HitsConfig, Box<Hits<TEETH>>)>,
    lateness: Lateness,
    feed_nm_s: Option<u32>,
}

impl Channel {
    /// The line `name`, at `level` since `at`; none when it is not wanted.
    ///
    /// # Errors
    /// A setting is out of the core's range.
    pub(super) fn new(
        settings: &Settings,
        name: &str,
        level: Level,
        at: Instant,
    ) -> Result<Option<Self>, Fault> {
        let Some(touched) = settings.wants(name) else {
            return Ok(None);
        };
        let config = settings.config(touched)?;
        let mut line = Line::new(&config, level, at).with_learned(settings.chatter);
        // Hysteresis thins chatter out: touches without any then tell nothing of the feed.
        if settings.one_feed && settings.lateness.offset_pm() == 0 {
            line.exchange_class(Some(FeedClass::new()));
        }
        let hits = settings.hits()?;
        Ok(Some(Self {
            name: name.to_owned(),
            config,
            line,
            hits: hits.map(|config| (config, Box::default())),
            lateness: settings.lateness,
            feed_nm_s: settings.feed_nm_s,
        }))
    }

    /// An edge, in the order of time.
    pub(super) fn edge(&mut self, edge: Edge, tell: impl FnMut(Event, Option<Cutter>)) {
        let at = edge.at;
        let event = self.line.edge(&self.config, edge);
        self.pass(event, at, tell);
    }

    /// Time has reached `at`.
    pub(super) fn poll(&mut self, at: Instant, tell: impl FnMut(Event, Option<Cutter>)) {
        let event = self.line.poll(&self.config, at);
        self.pass(event, at, tell);
    }

    fn pass(
        &mut self,
        event: Option<Event>,
        now: Instant,
        mut tell: impl FnMut(Event, Option<Cutter>),
    ) {
        let (lateness, feed) = (self.lateness, self.feed_nm_s);
        let corrected =
            |contact: &Contact| lateness.corrected(contact, TickRate::NANOSECONDS, feed);
        let Some((config, hits)) = &mut self.hits else {
            match event {
                Some(Event::Touch(touch)) => tell(Event::Touch(corrected(&touch)), None),
                Some(Event::Release(release)) => tell(Event::Release(corrected(&release)), None),
                Some(other) => tell(other, None),
                None => {}
            }
            return;
        };
        let mut merged = |event: &HitsEvent| match event {
            HitsEvent::Touch(touch) => tell(Event::Touch(corrected(touch)), None),
            HitsEvent::Release(release, cutter) => {
                tell(Event::Release(corrected(release)), Some(*cutter));
            }
            HitsEvent::Glitch(glitch) => tell(Event::Glitch(*glitch), None),
            _ => {}
        };
        if let Some(event) = event {
            hits.event(config, &event, &mut merged);
        }
        let settled = self.line.open_since().map_or(now, |open| open.min(now));
        hits.poll(config, settled, &mut merged);
    }

    /// First edge of what may still become a contact.
    pub(super) fn open_since(&self) -> Option<Instant> {
        let hit = self.hits.as_ref().and_then(|(_, hits)| hits.open_since());
        let open = self.line.open_since();
        hit.map_or(open, |hit| Some(open.map_or(hit, |open| open.min(hit))))
    }

    /// What the line has learned of its hardware.
    pub(super) fn learned(&self) -> Chatter {
        self.line.learned()
    }

    /// Where its edges went.
    pub(super) fn tally(&self) -> Tally {
        self.line.tally()
    }
}
