//! One line: debounce, onset, release.
//!
//! Seen from the settled level ('home'), an episode starts with the first edge away from it and
//! ends when a level has lasted a hold: away, and the contact has changed; home, and it was a
//! glitch. The same code serves touch and release, mirrored.
//!
//! While an episode lasts, every edge costs a handful of additions and every second one a
//! multiplication:
//!
//! * **balance point**: first edge plus all the time spent home since. Each early return home
//!   pushes it later by exactly as much as it lasted; the Spearman-Kärber estimator of dose
//!   statistics, moved into time;
//! * **cumulative sum**: time away counts up, time home counts down to zero at most; the last
//!   zero is the causal estimate, available before any hold is over;
//! * **second moment**: time away so far times each home run, summed; half the signed second
//!   moment of the edges about the balance point, from which the doubt is stated.

use super::chatter::Chatter;
use super::class::FeedClass;
use super::config::Config;
use super::contact::{Contact, Event, Glitch, Tally};
use super::doubt::{self, Episode, Stated};
use super::math;
use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::time::{FineInstant, Instant, Span};

/// Edges up to which the causal estimate may overrule the balance point.
const HYBRID_EDGES: u32 = 9;
/// Square of 2/fc in units of ε² (0.318/fc): how far the two estimates may differ.
const HYBRID_APART: u32 = 39;
/// Edges at which an episode is given up: half an hour of chatter at 129 000 edges a second.
const MOST_EDGES: u32 = 1 << MOST_EDGES_BITS;
const MOST_EDGES_BITS: u32 = 28;
/// Beside the level expected next: the general path is to take it.
const GENERAL: u8 = 0x80;
/// In place of the level expected next: none will do.
const NO_LEVEL: u8 = 0xff;

/// The state of one line, a small value: keep an array for many lines.
///
/// Drive it with [`edge`](Self::edge) for every edge in the order of time, and with
/// [`poll`](Self::poll) at its [`deadline`](Self::deadline) or any time later: an early call is
/// harmless, a late one gives the same result late.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::struct_excessive_bools)] // Each is one fact of the state, of a byte.
pub struct Line {
    /// Last edge, or the moment from which the present level is vouched for.
    last: Instant,
    first: Instant,
    causal: Instant,
    /// Σ time away so far × home run. At most time away × time home, so it holds in 64 bits as
    /// long as those hold in 32; beyond, no doubt is stated.
    half_moment: u64,
    // What an episode starts at zero lies scattered: in one piece, a small core would call a
    // routine to clear it.
    away: u32,
    sum: u32,
    /// The hold that ends the present run.
    hold: u32,
    /// Time home, its low 32 bits.
    home: u32,
    /// Edges of the open episode; 0 when none is open, odd when the line is away.
    edges: u32,
    /// Time away and edges before the last home run of half a hold or more.
    early_away: u32,
    early_edges: u32,
    /// Time home and edges before the first away run of half a hold or more.
    late_home: u32,
    late_edges: u32,
    /// Time home, above 32 bits.
    home_turns: u16,
    flags: Flags,
    /// The level the next edge should have, as a number, with [`GENERAL`] where it would be the
    /// first of an episode or near the end of time; or [`NO_LEVEL`].
    expected: u8,
    settled: bool,
    sight: Sight,
    /// A run of eight holds was seen at the settled level.
    deep: bool,
    chatter: Chatter,
    /// Whether the host promises a feed class.
    classed: bool,
    /// The level was not known at the start.
    late_born: bool,
    class: FeedClass,
    tally: Counts,
}

/// Whether the level is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Sight {
    Clear,
    /// Not at the moment.
    Blind,
    /// Never yet.
    Unborn,
}

/// Edges of what is over.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Counts {
    touches: u32,
    releases: u32,
    glitches: u32,
    refused: u32,
}

impl Line {
    /// A line at `level` since `at`. Its present contact is where it starts from, no event.
    #[must_use]
    pub fn new(config: &Config, level: Level, at: Instant) -> Self {
        let settled = level == config.touched_level();
        let mut line = Self {
            last: at,
            first: at,
            causal: at,
            half_moment: 0,
            hold: config.hold_in(settled),
            edges: 0,
            away: 0,
            sum: 0,
            home: 0,
            early_away: 0,
            early_edges: 0,
            late_home: 0,
            late_edges: 0,
            home_turns: 0,
            flags: Flags::NONE,
            expected: NO_LEVEL,
            settled,
            sight: Sight::Clear,
            deep: false,
            chatter: Chatter::new(),
            classed: false,
            late_born: false,
            class: FeedClass::new(),
            tally: Counts::default(),
        };
        if level == Level::Unknown {
            line.sight = Sight::Unborn;
        } else {
            line.expect(config);
        }
        line
    }

    /// The same line with what an earlier one learned of this hardware.
    #[must_use]
    pub fn with_learned(mut self, chatter: Chatter) -> Self {
        self.chatter = chatter;
        self
    }

    /// What the line has learned of its hardware.
    #[must_use]
    pub fn learned(&self) -> Chatter {
        self.chatter
    }

    /// States the feed class of the touches to come (`None`: no promise) and hands the old one
    /// back to be kept.
    pub fn exchange_class(&mut self, class: Option<FeedClass>) -> Option<FeedClass> {
        let old = self.classed.then_some(self.class);
        self.classed = class.is_some();
        self.class = class.unwrap_or_default();
        old
    }

    /// Whether the line is in confirmed contact.
    #[must_use]
    pub fn in_contact(&self) -> bool {
        self.settled
    }

    /// Whether the level is known. After an edge to [`Level::Unknown`] it is not until an edge says
    /// where the line stands; what [`in_contact`](Self::in_contact) says is old until then.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.sight == Sight::Clear
    }

    /// Where the edges went.
    #[must_use]
    pub fn tally(&self) -> Tally {
        Tally {
            touches: self.tally.touches,
            releases: self.tally.releases,
            glitches: self.tally.glitches,
            initial: u32::from(self.late_born),
            refused: self.tally.refused,
            pending: self.edges,
        }
    }

    /// First edge of the episode that is still open, as stamped.
    #[must_use]
    pub fn open_since(&self) -> Option<Instant> {
        (self.edges > 0).then_some(self.first)
    }

    /// When the present run will have lasted a hold; `None` while nothing is open.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        (self.edges > 0 && self.sight == Sight::Clear).then(|| self.last.plus(self.hold))
    }

    /// The causal estimate, once time away exceeds time home by a hold: an onset for a hard
    /// output that cannot wait until slow chatter has died down. `None` before that.
    #[must_use]
    pub fn causal(&self, config: &Config, now: Instant) -> Option<FineInstant> {
        let running = if self.is_away() && self.sight == Sight::Clear {
            now.run_since(self.last)
        } else {
            0
        };
        let reached = self.sum.saturating_add(running) >= self.hold;
        (self.edges > 0 && reached).then(|| FineInstant::new(self.causal, config.lag_256))
    }

    /// An edge. May first return what had become due before it.
    #[inline]
    pub fn edge(&mut self, config: &Config, edge: Edge) -> Option<Event> {
        if edge.faults.is_empty() && self.next_edge(edge.level, edge.at) {
            return None;
        }
        self.other_edge(config, edge.at, edge.level, edge.faults)
    }

    /// Takes the edge if it simply goes on with the chatter: nearly every edge does.
    #[inline]
    fn next_edge(&mut self, level: Level, at: Instant) -> bool {
        // A step back shows as a huge run: episodes near the end of time are not taken here.
        let run = at.ticks().wrapping_sub(self.last.ticks());
        if level as u8 != self.expected || run >> 32 != 0 {
            return false;
        }
        let run = run as u32;
        if run >= self.hold >> 1 {
            return self.next_edge_late(run, at);
        }
        if self.edges & 1 == 1 {
            self.turn(at);
            let (away, over) = self.away.overflowing_add(run);
            self.away = away;
            self.sum = self.sum.wrapping_add(run);
            // The sum is never above the time away, so it holds where that does.
            if over {
                self.away = u32::MAX;
                self.sum = self.sum.wrapping_sub(run).saturating_add(run);
            }
        } else if self.edges < MOST_EDGES {
            self.turn(at);
            self.end_home(run, at);
        } else {
            return false;
        }
        self.edges += 1;
        true
    }

    /// The same after a run of half a hold or more, for which it may be too late.
    #[inline(never)]
    fn next_edge_late(&mut self, run: u32, at: Instant) -> bool {
        if run >= self.hold || self.edges >= MOST_EDGES {
            return false;
        }
        self.end_run(run, at);
        self.go_on(at);
        true
    }

    /// The other level lasts from `at` on, as edge number `edges` + 1.
    #[inline]
    fn go_on(&mut self, at: Instant) {
        self.turn(at);
        self.edges += 1;
    }

    /// The other level lasts from `at` on. Stored before the sums, it leaves a small core the
    /// registers for them.
    #[inline]
    fn turn(&mut self, at: Instant) {
        self.last = at;
        self.expected ^= 1;
    }

    /// Time has passed without an edge: lets a hold end.
    pub fn poll(&mut self, config: &Config, now: Instant) -> Option<Event> {
        let over = self.sight == Sight::Clear && now.run_since(self.last) >= self.hold;
        if self.edges == 0 || !over {
            return None;
        }
        if self.is_away() {
            self.confirm(config)
        } else {
            Some(self.fall_back(config))
        }
    }

    /// The episode is over.
    fn close(&mut self, config: &Config) {
        self.edges = 0;
        self.expected |= GENERAL;
        self.flags = Flags::NONE;
        self.hold = config.hold_in(self.settled);
    }

    fn is_away(&self) -> bool {
        self.edges & 1 == 1
    }

    /// The level of the line's present contact is followed by the other one.
    fn expect(&mut self, config: &Config) {
        let contact = self.settled != self.is_away();
        self.expected = config.touched_level() as u8 ^ u8::from(contact);
        if self.edges == 0 {
            self.expected |= GENERAL;
        }
    }

    /// The run up to `at` is over, however long it was.
    fn end_run(&mut self, run: u32, at: Instant) {
        let long = run >= self.hold >> 1;
        if self.is_away() {
            self.end_away(run);
            if long && self.late_edges == 0 {
                self.late_home = self.home;
                self.late_edges = self.edges;
            }
        } else {
            self.end_home(run, at);
            if long {
                self.early_away = self.away;
                self.early_edges = self.edges;
            }
        }
    }

    fn end_away(&mut self, run: u32) {
        self.away = self.away.saturating_add(run);
        self.sum = self.sum.saturating_add(run);
    }

    #[inline]
    fn end_home(&mut self, run: u32, at: Instant) {
        self.half_moment = self.half_moment.wrapping_add(math::product(self.away, run));
        let (home, over) = self.home.overflowing_add(run);
        self.home = home;
        if over {
            self.home_turns = self.home_turns.saturating_add(1);
        }
        self.sum = self.sum.saturating_sub(run);
        if self.sum == 0 {
            self.causal = at;
        }
    }

    /// An edge that is not simply the next one of an episode.
    #[inline(never)]
    pub(crate) fn other_edge(
        &mut self,
        config: &Config,
        at: Instant,
        level: Level,
        faults: Flags,
    ) -> Option<Event> {
        let first = self.edges == 0 && level as u8 | GENERAL == self.expected;
        if let (true, Some(rest)) = (first, at.ticks().checked_sub(self.last.ticks())) {
            if faults.is_empty() {
                if rest >= u64::from(self.hold) {
                    self.flags = Flags::NONE;
                }
                self.deepen(rest);
                self.open(at);
                return None;
            }
        }
        // Before the rest, so that the stack of the one is free again for the other.
        let event = self.poll(config, at);
        self.odd_edge(config, at, level, faults);
        event
    }

    /// The settled level was vouched for over `rest` ticks.
    fn deepen(&mut self, rest: u64) {
        self.deep |= rest >> 3 >= u64::from(self.hold);
    }

    /// The first edge of an episode.
    fn open(&mut self, at: Instant) {
        self.last = at;
        self.first = at;
        self.causal = at;
        self.half_moment = 0;
        self.edges = 1;
        self.away = 0;
        self.sum = 0;
        self.home = 0;
        self.home_turns = 0;
        self.early_away = 0;
        self.early_edges = 0;
        self.late_edges = 0;
        self.expected = (self.expected ^ 1) & !GENERAL;
        self.heed_the_end();
    }

    /// An episode of all its edges, each after almost a hold, must end before time does.
    fn heed_the_end(&mut self) {
        if self.last.ticks() >> (MOST_EDGES_BITS + 32) == u64::MAX >> (MOST_EDGES_BITS + 32) {
            self.expected |= GENERAL;
        }
    }

    /// Every edge with something wrong about it: see [`edge`](crate::edge) for the rules.
    #[cold]
    #[inline(never)]
    fn odd_edge(&mut self, config: &Config, mut at: Instant, level: Level, faults: Flags) {
        if self.edges == 0 && at.run_since(self.last) >= self.hold {
            self.flags = Flags::NONE;
        }
        let mut restarted = false;
        if at < self.last {
            self.flags.insert(Flags::TIME_BACK);
            if self.last.run_since(at) < self.hold {
                at = self.last;
            } else {
                restarted = true;
                self.abandon(config, at);
            }
        }
        if self.edges >= MOST_EDGES {
            self.flags.insert(Flags::ROUGH);
            self.abandon(config, at);
        }
        self.flags.insert(faults);
        if level == Level::Unknown {
            self.flags.insert(Flags::UNKNOWN_LEVEL);
            self.blind(at);
            return;
        }
        if self.sight == Sight::Unborn {
            self.sight = Sight::Clear;
            self.late_born = true;
            self.settled = level == config.touched_level();
            self.hold = config.hold_in(self.settled);
            self.last = at;
            self.expect(config);
            return;
        }
        let was_blind = self.sight == Sight::Blind;
        if was_blind {
            self.sight = Sight::Clear;
            self.expect(config);
        }
        if level as u8 != self.expected & !GENERAL {
            // Time goes on at the same level, but it is vouched for only from here on.
            self.flags
                .insert_if(Flags::LOST_EDGE, !was_blind && !restarted);
            self.resume(at);
            self.tally.refused = self.tally.refused.saturating_add(1);
        } else if self.edges == 0 {
            if !was_blind {
                self.deepen(at.ticks_since(self.last));
            }
            self.open(at);
        } else {
            self.resume(at);
            self.go_on(at);
        }
        self.heed_the_end();
    }

    /// The level is not known from `at` on.
    fn blind(&mut self, at: Instant) {
        if self.sight != Sight::Unborn {
            self.sight = Sight::Blind;
            self.resume(at);
        }
        self.expected = NO_LEVEL;
        self.tally.refused = self.tally.refused.saturating_add(1);
    }

    /// The present level lasted until `at` and starts to be vouched for anew.
    fn resume(&mut self, at: Instant) {
        if self.edges > 0 {
            self.end_run(at.run_since(self.last), at);
        }
        self.last = at;
    }

    /// Gives the open episode up and starts anew at `at`, at the settled level.
    fn abandon(&mut self, config: &Config, at: Instant) {
        self.tally.refused = self.tally.refused.saturating_add(self.edges);
        self.edges = 0;
        self.last = at;
        self.deep = false;
        if self.sight == Sight::Clear {
            self.expect(config);
        }
    }

    /// The line fell back for a hold: a glitch.
    fn fall_back(&mut self, config: &Config) -> Event {
        self.tally.glitches = self.tally.glitches.saturating_add(self.edges);
        let glitch = Glitch {
            first_edge: self.first,
            last_edge: self.last,
            width: Span::from_ticks(i64::from(self.away)),
            edges: self.edges,
            flags: self.flags,
        };
        self.close(config);
        Event::Glitch(glitch)
    }

    /// What the open episode leaves behind for the doubt.
    fn episode(&self) -> Episode {
        let (late_edges, late_home) = if self.late_edges > 0 {
            let home = self.home.wrapping_sub(self.late_home);
            (self.edges - self.late_edges, home)
        } else {
            (0, 0)
        };
        Episode {
            edges: self.edges,
            half_moment: self.half_moment,
            away: self.away,
            home: if self.home_turns > 0 {
                u32::MAX
            } else {
                self.home
            },
            ends: self.early_away.saturating_add(late_home),
            end_edges: self.early_edges + late_edges + 1,
        }
    }

    /// The line stayed away for a hold: the contact has changed.
    #[inline]
    fn confirm(&mut self, config: &Config) -> Option<Event> {
        let stated = self.stated(config);
        self.changed(config, &stated)
    }

    /// The doubt of the open episode. Apart from what it is told with, for less of the stack.
    #[inline(never)]
    fn stated(&mut self, config: &Config) -> Stated {
        doubt::state(
            config,
            self.hold,
            &self.episode(),
            &mut self.chatter,
            self.classed.then_some(&mut self.class),
            !self.settled,
        )
    }

    /// The change of the contact, with its doubt.
    #[inline(never)]
    #[allow(clippy::unnecessary_wraps)] // A `Some` around the call would cost a copy of the event.
    fn changed(&mut self, config: &Config, stated: &Stated) -> Option<Event> {
        let release = self.settled;
        let home = (u64::from(self.home_turns) << 32) | u64::from(self.home);
        let balance_point = self.first.later(home);
        let balance = FineInstant::new(balance_point, config.lag_256);
        let causal = FineInstant::new(self.causal, config.lag_256);
        let shallow = release && !self.deep;
        let doubt = if shallow { None } else { stated.doubt };
        let mut flags = self.flags.union(stated.flags);
        flags.insert_if(Flags::UPPER, stated.is_upper() && doubt.is_some());
        let hybrid = self.edges <= HYBRID_EDGES && self.estimates_differ(config, balance_point);
        flags.insert_if(Flags::HYBRID, hybrid);
        flags.insert_if(Flags::SHALLOW, shallow);
        let contact = Contact {
            onset: if hybrid { causal } else { balance },
            doubt,
            kind: stated.kind,
            first_edge: self.first,
            last_edge: self.last,
            edges: self.edges,
            confirmed: self.last.plus(self.hold),
            balance,
            causal,
            flags,
        };
        self.settled = !release;
        self.deep = false;
        let count = if release {
            &mut self.tally.releases
        } else {
            &mut self.tally.touches
        };
        *count = count.saturating_add(self.edges);
        self.close(config);
        Some(if release {
            Event::Release(contact)
        } else {
            Event::Touch(contact)
        })
    }

    /// Whether the two estimates lie further apart than clean chatter of few edges allows.
    fn estimates_differ(&self, config: &Config, balance: Instant) -> bool {
        let apart = balance
            .run_since(self.causal)
            .max(self.causal.run_since(balance));
        let allowed = doubt::edge_variance_256(config, self.hold, &self.chatter);
        math::square(apart) > math::mul(allowed, HYBRID_APART) >> 8
    }
}
