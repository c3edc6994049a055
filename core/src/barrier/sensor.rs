//! The barrier itself: samples in, touches out.

use super::config::{BarrierConfig, Method, Width, DARKEST};
use super::optics::{Levels, Optics};
use super::rest::Rest;
use crate::flags::Flags;
use crate::onset::soft_clip;
use crate::onset::{Band, Contact, Doubt, DoubtKind, Event, Glitch, Left, Weigh, Zone};
use crate::time::{FineInstant, Instant, Span};

/// The early onset, from the narrow zone: what a hard output goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Hard {
    /// Whether the light went (touch) or came back (release).
    pub touched: bool,
    /// Its instant.
    pub onset: FineInstant,
    /// Its standard uncertainty; `None` where the arithmetic ends.
    pub doubt: Option<Doubt>,
}

/// What a sample may bring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Seen {
    /// The light has crossed the trip point and stayed beyond: early, for a hard output.
    Hard(Hard),
    /// The refined touch or release, or light that came to nothing.
    Event(Event),
}

/// What a sample leads to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Next {
    Nothing,
    /// The hard output trips.
    Trip,
    /// The light came to nothing.
    FallBack,
    /// The contact changes.
    Change(Change),
}

/// How a contact changes.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Change {
    /// The wide zone was crossed.
    Deep,
    /// It tripped and never got deep: told by its early onset.
    Shallow,
    /// The same, and the light has come back already.
    ShallowAndBack,
    /// That coming back, told with the next sample.
    Back,
}

/// Samples that gaps may add up to: 22 years at 200 kS/s.
const MOST_SAMPLES: u64 = 1 << 47;

/// One light barrier, read at a steady rate.
///
/// Onsets, refined and early, are instants of the light; confirmations and crossings are those of
/// samples. In a [`Contact`] from here `onset` and `balance` are the refined onset, `causal` the
/// early one, `edges` the crossings of the trip point.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::struct_excessive_bools)] // Each is one fact of the state, of a byte.
pub struct Barrier {
    start: Instant,
    /// Samples taken before those of the part or the crossing under way.
    before: u64,
    /// Counts, flipped by `flip`, from which on the light is settled; none while it crosses.
    settled_from: u32,
    /// What turns the light of a contact upside down.
    flip: u16,
    rest: Rest,
    wide: Zone,
    narrow: Zone,
    /// Zones of falling light at the present rest level.
    wide_band: Band,
    narrow_band: Band,
    /// 2^48 / rest level.
    reciprocal: u32,
    /// Trip point, 24 bit.
    trip: u32,
    /// Sample of the last change of contact.
    since: u64,
    /// Early onset of the crossing under way, samples in 1/65536; 0 before.
    hard: u64,
    hard_doubt: Option<Doubt>,
    crossings: u32,
    /// First and last crossing, samples after the zone opened; between a shallow contact and its
    /// release, how long ago the light came back.
    first: u32,
    last: u32,
    /// Samples beyond the trip point.
    beyond: u32,
    /// What the approach has taken from the trip point, 24 bit.
    drag: u32,
    flags: Flags,
    touched: bool,
    /// The early onset was told.
    tripped: bool,
    /// The last sample was beyond the trip point, seen from the settled side.
    crossed: bool,
    /// The settled side was left for good: beyond the guard for a hold.
    deep: bool,
    /// A release is to follow the touch just told.
    followed_by_release: bool,
}

impl Barrier {
    /// A barrier whose first sample will be taken at `start`. Its rest level is not known yet:
    /// let it see the light for a third of a second, with no blade near.
    #[must_use]
    pub fn new(start: Instant) -> Self {
        Self {
            start,
            before: 0,
            settled_from: 0,
            flip: 0,
            rest: Rest::new(),
            wide: Zone::default(),
            narrow: Zone::default(),
            wide_band: Band::default(),
            narrow_band: Band::default(),
            reciprocal: 0,
            trip: 0,
            since: 0,
            hard: 0,
            hard_doubt: None,
            crossings: 0,
            first: 0,
            last: 0,
            beyond: 0,
            drag: 0,
            flags: Flags::NONE,
            touched: false,
            tripped: false,
            crossed: false,
            deep: true,
            followed_by_release: false,
        }
    }

    /// The same with a rest level known from before, counts: touches are found from the first
    /// sample on.
    #[must_use]
    pub fn with_rest(mut self, config: &BarrierConfig, counts: u16) -> Self {
        self.rest.known(config.scaled(counts));
        self.set_levels(config);
        self
    }

    /// Whether the light is away in a confirmed contact.
    #[must_use]
    pub fn in_contact(&self) -> bool {
        self.touched
    }

    /// When the crossing under way began, which may still become a contact; `None` while there is
    /// none.
    #[must_use]
    pub fn crossing_since(&self, config: &BarrierConfig) -> Option<Instant> {
        let at = || config.instant(self.start, self.opened() << 16).whole();
        self.wide.is_open().then(at)
    }

    /// Samples taken and skipped so far.
    #[must_use]
    pub fn samples(&self) -> u64 {
        let since = if self.wide.is_open() {
            self.wide.samples()
        } else {
            self.rest.samples()
        };
        // From the most that gaps leave it at, the type lasts 36 000 years of 16 MS/s.
        self.before.wrapping_add(u64::from(since))
    }

    /// What was taken of a part or a crossing is behind.
    fn fold(&mut self) {
        self.before = self.samples();
        self.rest.interrupt();
        self.wide.close();
    }

    /// What the light says about the sensor.
    #[must_use]
    pub fn optics(&self, config: &BarrierConfig) -> Optics {
        let level = self.rest.level();
        Optics {
            rest_counts: config.counts(level),
            noise_counts_256: config.counts_256(self.rest.noise(config)),
            film_permille: config.film(level),
            film_rate_permille_per_h: self.rest.film_rate(),
            flags: self.optics_flags(config),
        }
    }

    /// The levels it judges by at present.
    #[must_use]
    pub fn levels(&self, config: &BarrierConfig) -> Levels {
        let rest = self.rest.level();
        if rest < DARKEST {
            return Levels::default();
        }
        let (wide, narrow) = config.bands(rest);
        let counts = |level: u32| config.counts_256(level);
        Levels {
            rest: counts(rest),
            trip: counts(config.trip(rest)),
            narrow: (counts(narrow.low), counts(narrow.high)),
            wide: (counts(wide.low), counts(wide.high)),
            guard: (counts(wide.low_guard), counts(wide.high_guard)),
        }
    }

    fn optics_flags(&self, config: &BarrierConfig) -> Flags {
        let mut flags = self.rest.flags(config);
        let long = self.touched && self.samples() - self.since > config.longest_contact;
        flags.insert_if(Flags::STUCK, long);
        flags
    }

    /// `samples` were lost: time goes on, a crossing under way carries the flag `gap`.
    pub fn gap(&mut self, samples: u64) {
        let now = self.samples();
        let after = now.saturating_add(samples).min(MOST_SAMPLES);
        // Never back, where samples have already led beyond what gaps may.
        self.before += after.saturating_sub(now);
        self.flags.insert(Flags::GAP);
        if !self.wide.is_open() {
            let before = self.samples();
            self.rest.interrupt();
            self.before = before;
        }
    }

    /// One sample of the light, counts.
    #[inline]
    pub fn sample(&mut self, config: &BarrierConfig, counts: u16) -> Option<Seen> {
        if u32::from(counts ^ self.flip) < self.settled_from {
            return match self.in_zone(config, counts) {
                Next::Nothing => None,
                Next::Trip => Some(self.trip_hard(config)),
                Next::FallBack => self.fall_back(config),
                Next::Change(change) => Some(self.tell(config, change)),
            };
        }
        if self.rest.sample(config, counts) {
            self.end_part(config);
        }
        None
    }

    /// The contact has changed. Told when the stack is free of the way there.
    #[cold]
    #[inline(never)]
    fn tell(&mut self, config: &BarrierConfig, change: Change) -> Seen {
        let (at, doubt, deep, crossings) = match change {
            Change::Deep => {
                let (at, doubt) = self.refined(config);
                (at, doubt, true, self.crossings())
            }
            Change::Shallow | Change::ShallowAndBack => {
                (self.hard, self.hard_doubt, false, self.crossings())
            }
            Change::Back => {
                let at = self.came_back();
                (at << 16, None, false, (at, at))
            }
        };
        let ago = (change == Change::ShallowAndBack).then(|| self.wide.samples() - self.last);
        self.followed_by_release |= ago.is_some();
        let told = self.change(config, at, doubt, deep, crossings);
        // From here on `last` is how long ago the light came back.
        self.last = ago.unwrap_or(self.last);
        told
    }

    /// A part of a block is over; in a contact it says nothing of the rest level.
    #[inline(never)]
    fn end_part(&mut self, config: &BarrierConfig) {
        let before = self.samples();
        if self.touched {
            self.rest.interrupt();
        } else if self.rest.end_part(config) {
            self.set_levels(config);
        }
        self.before = before;
    }

    /// The counts from which on nothing is to be done.
    fn settle(&mut self, config: &BarrierConfig) {
        let high = self.wide_band.high;
        (self.flip, self.settled_from) = if self.touched {
            // Mirrored at the trip point the light is at least `high` where its counts, flipped,
            // are at least these.
            let most = config.counts_to((2 * self.trip).saturating_sub(high));
            (
                u16::MAX,
                u32::from(u16::MAX) - most.min(u32::from(u16::MAX)),
            )
        } else {
            (0, config.counts_from(high))
        };
    }

    /// Works the levels out anew.
    #[inline(never)]
    fn set_levels(&mut self, config: &BarrierConfig) {
        let rest = self.rest.level();
        if rest < DARKEST {
            // Darkness has no trip point: nothing can be below 0.
            self.wide_band = Band::default();
            self.settle(config);
            return;
        }
        (self.wide_band, self.narrow_band) = config.bands(rest);
        self.trip = config.trip(rest);
        self.reciprocal = BarrierConfig::reciprocal(rest);
        // What waited for a zone that did not open has passed.
        self.flags = Flags::NONE;
        self.settle(config);
    }

    /// A sample of light that is leaving, or has left, its settled side.
    #[inline(never)]
    fn in_zone(&mut self, config: &BarrierConfig, counts: u16) -> Next {
        let light = config.scaled(counts);
        let seen = if self.touched {
            (2 * self.trip).saturating_sub(light)
        } else {
            light
        };
        if !self.wide.is_open() {
            if self.followed_by_release {
                return Next::Change(Change::Back);
            }
            self.open();
        }
        if (seen < self.trip) != self.crossed {
            self.cross();
        }
        let band = self.wide_band;
        let (weight, full) = match config.method {
            Method::Area => (band.plain(seen), band.height()),
            Method::Matched => (soft_clip::weight(seen, self.reciprocal), soft_clip::FULL),
        };
        self.wide.add(weight, full);
        let below = seen < band.low_guard;
        let left = if below || seen >= band.high_guard {
            self.wide.leave(below, config.hold)
        } else {
            self.wide.stay();
            Left::Not
        };
        let next = if self.tripped {
            self.after_trip(config, seen)
        } else if self.narrow.is_open() || seen < self.narrow_band.high {
            self.in_narrow(config, seen)
        } else {
            Next::Nothing
        };
        match left {
            _ if next != Next::Nothing => next,
            Left::Not => Next::Nothing,
            Left::Through => Next::Change(Change::Deep),
            Left::Back => Next::FallBack,
        }
    }

    /// The zone of the early onset, before that is told.
    #[inline]
    fn in_narrow(&mut self, config: &BarrierConfig, seen: u32) -> Next {
        let band = self.narrow_band;
        if !self.narrow.is_open() {
            self.narrow = Zone::default();
        }
        self.narrow.add(band.plain(seen), band.height());
        let below = seen < band.low_guard;
        if !below && seen < band.high_guard {
            self.narrow.stay();
            return Next::Nothing;
        }
        match self.narrow.leave(below, config.hold) {
            Left::Not => Next::Nothing,
            Left::Through => Next::Trip,
            Left::Back => {
                self.narrow.close();
                Next::Nothing
            }
        }
    }

    /// After the early onset: light that comes back before it was really gone, or that stays half
    /// way for longer than any contact, is told by that onset.
    #[inline]
    fn after_trip(&mut self, config: &BarrierConfig, seen: u32) -> Next {
        if seen < self.narrow_band.high_guard {
            self.narrow.stay();
            if self.wide.samples() <= config.longest_crossing {
                return Next::Nothing;
            }
            return Next::Change(Change::Shallow);
        }
        if self.narrow.leave(false, config.hold) != Left::Back {
            return Next::Nothing;
        }
        Next::Change(Change::ShallowAndBack)
    }

    fn weigh(&self, config: &BarrierConfig) -> Weigh {
        match config.method {
            Method::Area => Weigh::Plain,
            Method::Matched => Weigh::Soft {
                reciprocal: self.reciprocal,
            },
        }
    }

    #[inline(never)]
    fn open(&mut self) {
        self.fold();
        self.settled_from = u32::MAX;
        self.wide = Zone::default();
        self.narrow.close();
        self.tripped = false;
        self.hard = 0;
        self.crossings = 0;
        self.beyond = 0;
        self.crossed = false;
        self.first = 0;
        self.last = 0;
    }

    /// The light has crossed the trip point, either way.
    fn cross(&mut self) {
        self.crossed = !self.crossed;
        self.crossings += 1;
        let now = self.wide.samples();
        if self.crossings == 1 {
            self.first = now;
        }
        if !self.crossed {
            self.beyond += now - self.last;
        }
        self.last = now;
    }

    /// The narrow zone was crossed.
    #[inline(never)]
    fn trip_hard(&mut self, config: &BarrierConfig) -> Seen {
        let dragged = self.dragged_65536(config, Width::Narrow);
        let ago = self.narrow.ago_65536(self.narrow_band, Weigh::Plain);
        self.hard = self.before_now(ago + dragged).max(1);
        self.tripped = true;
        let doubt = self.doubt(config, &self.narrow, self.narrow_band, Weigh::Plain);
        self.hard_doubt = doubt;
        Seen::Hard(Hard {
            touched: !self.touched,
            onset: config.instant(self.start, self.hard),
            doubt,
        })
    }

    /// The wide zone was crossed: the onset is known at its best; samples, 16 binary places.
    #[inline(never)]
    fn refined(&mut self, config: &BarrierConfig) -> (u64, Option<Doubt>) {
        let weigh = self.weigh(config);
        // A light that stood half way has spoilt the sum of the wide zone, not of the narrow one.
        let at = if self.deep || !self.tripped {
            let dragged = self.dragged_65536(config, Width::Wide);
            self.before_now(self.wide.ago_65536(self.wide_band, weigh) + dragged)
        } else {
            self.hard
        };
        (at, self.doubt(config, &self.wide, self.wide_band, weigh))
    }

    /// How much earlier than the zone says the light crossed the trip point it had before the
    /// approach, samples in 1/65536; less than nothing for light that comes back.
    fn dragged_65536(&mut self, config: &BarrierConfig, width: Width) -> i64 {
        let (inside, height) = match (width, config.method) {
            (Width::Narrow, _) => (self.narrow.inside(), self.narrow_band.height()),
            (Width::Wide, Method::Area) => (self.wide.inside(), self.wide_band.height()),
            (Width::Wide, Method::Matched) => (self.wide.inside(), self.rest.level()),
        };
        if !self.touched {
            self.drag = config.drag(self.trip, inside, width);
        }
        let samples_65536 = ((u128::from(self.drag) * u128::from(inside)) << 16)
            .checked_div(u128::from(height))
            .and_then(|samples| i64::try_from(samples).ok())
            .unwrap_or(0)
            .min(1 << 40);
        if self.touched {
            -samples_65536
        } else {
            samples_65536
        }
    }

    /// The light came back before it was really gone.
    #[inline(never)]
    fn fall_back(&mut self, config: &BarrierConfig) -> Option<Seen> {
        self.deep = true;
        let (first, last) = self.crossings();
        let glitch = Glitch {
            first_edge: self.crossing(config, first),
            last_edge: self.crossing(config, last),
            width: self.width(config),
            edges: self.crossings,
            flags: self.flags,
        };
        self.fold();
        self.settle(config);
        self.flags = Flags::NONE;
        (self.crossings > 0).then_some(Seen::Event(Event::Glitch(glitch)))
    }

    /// The release that was waiting to be told: the sample at which the light came back.
    fn came_back(&mut self) -> u64 {
        let at = self.samples().saturating_sub(u64::from(self.last));
        self.before = self.before.wrapping_add(1);
        self.followed_by_release = false;
        self.deep = false;
        self.tripped = false;
        self.crossings = self.crossings.max(1);
        at
    }

    /// Tells the new contact with its onset at `at` (samples in 1/65536), and its first and last
    /// crossing (samples).
    fn change(
        &mut self,
        config: &BarrierConfig,
        at: u64,
        doubt: Option<Doubt>,
        deep: bool,
        (first, last): (u64, u64),
    ) -> Seen {
        let onset = config.instant(self.start, at);
        let early = if self.tripped { self.hard } else { at };
        let mut flags = self.flags.union(self.optics_flags(config));
        let too_fast = deep && self.wide.inside() < config.fewest_inside;
        flags.insert_if(Flags::DARK, too_fast);
        let shallow = !self.deep || !deep;
        flags.insert_if(Flags::SHALLOW, shallow);
        let contact = Contact {
            onset,
            doubt: if self.touched && shallow { None } else { doubt },
            kind: DoubtKind::Measured,
            first_edge: self.crossing(config, first),
            last_edge: self.crossing(config, last),
            edges: self.crossings,
            confirmed: config.instant(self.start, self.samples() << 16).whole(),
            balance: onset,
            causal: config.instant(self.start, early),
            flags,
        };
        let event = if self.touched {
            Event::Release(contact)
        } else {
            Event::Touch(contact)
        };
        self.touched = !self.touched;
        self.deep = deep;
        self.fold();
        self.since = self.before;
        self.flags = Flags::NONE;
        self.narrow.close();
        self.wide_band = self.wide_band.mirrored(2 * self.trip);
        self.narrow_band = self.narrow_band.mirrored(2 * self.trip);
        self.settle(config);
        if self.followed_by_release {
            // Whatever the next sample shows.
            self.settled_from = u32::MAX;
        }
        Seen::Event(event)
    }

    /// Sample at which the wide zone opened.
    fn opened(&self) -> u64 {
        self.samples()
            .saturating_sub(u64::from(self.wide.samples()))
    }

    fn before_now(&self, ago_65536: i64) -> u64 {
        // The present sample is the last of those taken.
        ((self.samples().saturating_sub(1)) << 16).saturating_add_signed(-ago_65536)
    }

    fn crossing(&self, config: &BarrierConfig, sample: u64) -> Instant {
        config.instant(self.start, sample << 16).whole()
    }

    /// First and last crossing under way, as numbers of samples.
    fn crossings(&self) -> (u64, u64) {
        let from_opened = |sample: u32| self.opened().saturating_add(u64::from(sample));
        (from_opened(self.first), from_opened(self.last))
    }

    fn width(&self, config: &BarrierConfig) -> Span {
        let end = config.instant(Instant::from_ticks(0), u64::from(self.beyond) << 16);
        end.whole().since(Instant::from_ticks(0))
    }

    /// Noise of the light, through the zone, as time.
    fn doubt(
        &self,
        config: &BarrierConfig,
        zone: &Zone,
        band: Band,
        weigh: Weigh,
    ) -> Option<Doubt> {
        let noise = self.rest.noise(config);
        let trip_scatter = config.trip(self.rest.unsure(config));
        let (scatter, height) =
            zone.scatter(band, weigh, self.rest.level(), noise, trip_scatter)?;
        let ticks = u64::from(scatter) * u64::from(config.rate().hz());
        let per_sixteenth = u64::from(height) * u64::from(config.sampling_hz()) / 16;
        let sixteenths = ticks.checked_div(per_sixteenth)?.checked_add(1)?;
        u32::try_from(sixteenths).ok().map(Doubt::from_sixteenths)
    }
}
