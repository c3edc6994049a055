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
use super::doubt::{self, Episode};
use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::time::{FineInstant, Instant, Span};

/// Edges up to which the causal estimate may overrule the balance point.
const HYBRID_EDGES: u32 = 9;
/// Square of 2/fc in units of ε² (0.318/fc): how far the two estimates may differ.
const HYBRID_APART: u32 = 39;

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
    balance: Instant,
    causal: Instant,
    half_moment: u64,
    away: u32,
    sum: u32,
    /// Edges of the open episode; 0 when none is open.
    edges: u32,
    /// Time away and edges before the last home run of half a hold or more.
    early_away: u32,
    early_edges: u32,
    /// Time home and edges before the first away run of half a hold or more.
    late_home: u32,
    late_edges: u32,
    flags: Flags,
    touching: bool,
    settled: bool,
    /// The level is not known at the moment.
    blind: bool,
    /// The level was never known.
    unborn: bool,
    /// A run of eight holds was seen at the settled level.
    deep: bool,
    chatter: Chatter,
    class: Option<FeedClass>,
    tally: Tally,
}

impl Line {
    /// A line at `level` since `at`. Its present contact is where it starts from, no event.
    #[must_use]
    pub fn new(config: &Config, level: Level, at: Instant) -> Self {
        let touching = level == config.touched_level();
        Self {
            last: at,
            first: at,
            balance: at,
            causal: at,
            half_moment: 0,
            away: 0,
            sum: 0,
            edges: 0,
            early_away: 0,
            early_edges: 0,
            late_home: 0,
            late_edges: 0,
            flags: Flags::NONE,
            touching,
            settled: touching,
            blind: level == Level::Unknown,
            unborn: level == Level::Unknown,
            deep: false,
            chatter: Chatter::new(),
            class: None,
            tally: Tally::default(),
        }
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
        core::mem::replace(&mut self.class, class)
    }

    /// Whether the line is in confirmed contact.
    #[must_use]
    pub fn in_contact(&self) -> bool {
        self.settled
    }

    /// Where the edges went.
    #[must_use]
    pub fn tally(&self) -> Tally {
        Tally {
            pending: self.edges,
            ..self.tally
        }
    }

    /// When the present run will have lasted a hold; `None` while nothing is open.
    #[must_use]
    pub fn deadline(&self, config: &Config) -> Option<Instant> {
        (self.edges > 0 && !self.blind).then(|| self.last.plus(self.hold(config)))
    }

    /// The causal estimate, once time away exceeds time home by a hold: an onset for a hard
    /// output that cannot wait until slow chatter has died down. `None` before that.
    #[must_use]
    pub fn causal(&self, config: &Config, now: Instant) -> Option<FineInstant> {
        let running = if self.touching == self.settled || self.blind {
            0
        } else {
            now.run_since(self.last)
        };
        let reached = self.sum.saturating_add(running) >= self.hold(config);
        (self.edges > 0 && reached).then(|| FineInstant::new(self.causal, config.lag_256))
    }

    /// An edge. May first return what had become due before it.
    #[inline]
    pub fn edge(&mut self, config: &Config, edge: Edge) -> Option<Event> {
        let touching = edge.level == config.touched_level();
        let odd = edge.level == Level::Unknown
            || !edge.faults.is_empty()
            || self.blind
            || touching == self.touching
            || edge.at < self.last;
        if odd {
            return self.odd_edge(config, edge);
        }
        let hold = self.hold(config);
        let run = edge.at.run_since(self.last);
        if self.edges == 0 || run >= hold {
            return self.first_edge(config, edge.at);
        }
        self.end_run(run, hold / 2, edge.at);
        self.edges = self.edges.saturating_add(1);
        self.touching = touching;
        self.last = edge.at;
        None
    }

    /// Time has passed without an edge: lets a hold end.
    pub fn poll(&mut self, config: &Config, now: Instant) -> Option<Event> {
        let hold = self.hold(config);
        if self.edges == 0 || self.blind || now.run_since(self.last) < hold {
            return None;
        }
        let event = if self.touching == self.settled {
            self.fall_back()
        } else {
            self.confirm(config, hold)
        };
        self.edges = 0;
        self.flags = Flags::NONE;
        Some(event)
    }

    fn hold(&self, config: &Config) -> u32 {
        if self.settled {
            config.release_hold
        } else {
            config.hold
        }
    }

    /// The run up to `at` is over.
    #[inline]
    fn end_run(&mut self, run: u32, half_hold: u32, at: Instant) {
        if self.touching == self.settled {
            let area = u64::from(self.away) * u64::from(run);
            self.half_moment = self.half_moment.saturating_add(area);
            self.balance = self.balance.plus(run);
            self.sum = self.sum.saturating_sub(run);
            if self.sum == 0 {
                self.causal = at;
            }
            if run >= half_hold {
                self.early_away = self.away;
                self.early_edges = self.edges;
            }
        } else {
            self.away = self.away.saturating_add(run);
            self.sum = self.sum.saturating_add(run);
            if run >= half_hold && self.late_edges == 0 {
                self.late_home = self.balance.run_since(self.first);
                self.late_edges = self.edges;
            }
        }
    }

    /// An edge with no episode open, or after a run of a hold.
    #[inline(never)]
    fn first_edge(&mut self, config: &Config, at: Instant) -> Option<Event> {
        let event = self.poll(config, at);
        let hold = self.hold(config);
        let run = at.run_since(self.last);
        self.deep |= run >> 3 >= hold;
        if run >= hold {
            self.flags = Flags::NONE;
        }
        self.open(at);
        event
    }

    fn open(&mut self, at: Instant) {
        self.last = at;
        self.first = at;
        self.balance = at;
        self.causal = at;
        self.half_moment = 0;
        self.away = 0;
        self.sum = 0;
        self.edges = 1;
        self.early_edges = 0;
        self.early_away = 0;
        self.late_edges = 0;
        self.touching = !self.settled;
    }

    /// Every edge that is not simply the next one: see [`edge`](crate::edge) for the rules.
    #[cold]
    #[inline(never)]
    fn odd_edge(&mut self, config: &Config, edge: Edge) -> Option<Event> {
        let event = self.poll(config, edge.at);
        let mut at = edge.at;
        let hold = self.hold(config);
        if self.edges == 0 && at.run_since(self.last) >= hold {
            self.flags = Flags::NONE;
        }
        if at < self.last {
            self.flags.insert(Flags::TIME_BACK);
            if self.last.run_since(at) < hold {
                at = self.last;
            } else {
                self.abandon(at);
            }
        }
        self.flags.insert(edge.faults);
        if edge.level == Level::Unknown {
            self.flags.insert(Flags::UNKNOWN_LEVEL);
            self.blind = true;
            self.refuse();
            return event;
        }
        let touching = edge.level == config.touched_level();
        if self.unborn {
            self.unborn = false;
            self.blind = false;
            self.touching = touching;
            self.settled = touching;
            self.last = at;
            self.tally.initial += 1;
            return event;
        }
        let was_blind = core::mem::replace(&mut self.blind, false);
        if touching == self.touching {
            // Time goes on at the same level, but it is vouched for only from here on.
            self.flags.insert_if(Flags::LOST_EDGE, !was_blind);
            self.resume(at, hold);
            self.refuse();
        } else if self.edges == 0 {
            let run = at.run_since(self.last);
            self.deep |= !was_blind && run >> 3 >= hold;
            self.open(at);
        } else {
            self.resume(at, hold);
            self.edges = self.edges.saturating_add(1);
            self.touching = touching;
        }
        event
    }

    /// The present level lasted until `at` and starts to be vouched for anew.
    fn resume(&mut self, at: Instant, hold: u32) {
        if self.edges > 0 {
            self.end_run(at.run_since(self.last), hold / 2, at);
        }
        self.last = at;
    }

    /// Gives the open episode up and starts anew at `at`, at the settled level.
    fn abandon(&mut self, at: Instant) {
        self.tally.refused = self.tally.refused.saturating_add(self.edges);
        self.edges = 0;
        self.touching = self.settled;
        self.last = at;
        self.deep = false;
    }

    fn refuse(&mut self) {
        self.tally.refused = self.tally.refused.saturating_add(1);
    }

    /// The line fell back for a hold: a glitch.
    fn fall_back(&mut self) -> Event {
        self.tally.glitches = self.tally.glitches.saturating_add(self.edges);
        Event::Glitch(Glitch {
            first_edge: self.first,
            last_edge: self.last,
            width: Span::from_ticks(i64::from(self.away)),
            edges: self.edges,
            flags: self.flags,
        })
    }

    /// The line stayed away for a hold: the contact has changed.
    #[inline(never)]
    fn confirm(&mut self, config: &Config, hold: u32) -> Event {
        let home = self.balance.run_since(self.first);
        let late_edges = if self.late_edges > 0 {
            self.edges - self.late_edges
        } else {
            0
        };
        let late_home = if self.late_edges > 0 {
            home.saturating_sub(self.late_home)
        } else {
            0
        };
        let episode = Episode {
            edges: self.edges,
            half_moment: self.half_moment,
            away: self.away,
            home,
            ends: self.early_away.saturating_add(late_home),
            end_edges: self
                .early_edges
                .saturating_add(late_edges)
                .saturating_add(1),
        };
        let release = self.settled;
        let stated = doubt::state(
            config,
            hold,
            &episode,
            &mut self.chatter,
            self.class.as_mut(),
            !release,
        );
        let balance = FineInstant::new(self.balance, config.lag_256);
        let causal = FineInstant::new(self.causal, config.lag_256);
        let mut flags = self.flags.union(stated.flags);
        let hybrid = self.edges <= HYBRID_EDGES && self.estimates_differ(config, hold);
        flags.insert_if(Flags::HYBRID, hybrid);
        let shallow = release && !self.deep;
        flags.insert_if(Flags::SHALLOW, shallow);
        let contact = Contact {
            onset: if hybrid { causal } else { balance },
            doubt: if shallow { None } else { stated.doubt },
            kind: stated.kind,
            first_edge: self.first,
            last_edge: self.last,
            edges: self.edges,
            confirmed: self.last.plus(hold),
            balance,
            causal,
            flags,
        };
        self.settled = self.touching;
        self.deep = false;
        let (count, event) = if release {
            (&mut self.tally.releases, Event::Release(contact))
        } else {
            (&mut self.tally.touches, Event::Touch(contact))
        };
        *count = count.saturating_add(self.edges);
        event
    }

    /// Whether the two estimates lie further apart than clean chatter of few edges allows.
    fn estimates_differ(&self, config: &Config, hold: u32) -> bool {
        let apart = self
            .balance
            .run_since(self.causal)
            .max(self.causal.run_since(self.balance));
        let allowed = doubt::edge_variance_256(config, hold, &self.chatter);
        super::math::square(apart) > super::math::mul(allowed, HYBRID_APART) >> 8
    }
}
