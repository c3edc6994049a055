//! Hits in, one contact out.

use super::config::HitsConfig;
use super::teeth::{Cutter, Teeth};
use crate::flags::Flags;
use crate::onset::{Contact, Event, Glitch};
use crate::time::{Instant, Span};

/// What merging has to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum HitsEvent {
    /// The cutter touches. The onset is the leading edge of the first hit; edges, last edge and
    /// confirmation are those of all hits up to the confirming one.
    Touch(Contact),
    /// The cutter is free: the onset is the end of the last hit. With what the hits told.
    Release(Contact, Cutter),
    /// A hit that nothing confirmed, or edges shorter than one.
    Glitch(Glitch),
}

/// A hit that may become a contact.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Hit {
    make: Contact,
    /// Its end; none while it lasts.
    end: Option<Contact>,
}

impl Hit {
    fn onset(&self) -> Instant {
        self.make.onset.nearest()
    }

    fn edges(&self) -> u32 {
        let end = self.end.map_or(0, |end| end.edges);
        self.make.edges.saturating_add(end)
    }

    /// How long it blocked; nothing while it lasts.
    fn width(&self) -> Option<u32> {
        let end = self.end?;
        Some(end.onset.nearest().run_since(self.onset()))
    }

    /// The same as edges that came to nothing.
    fn glitch(&self) -> Glitch {
        Glitch {
            first_edge: self.make.first_edge,
            last_edge: self.end.unwrap_or(self.make).last_edge,
            width: Span::from_ticks(i64::from(self.width().unwrap_or(0))),
            edges: self.edges(),
            flags: self.make.flags,
        }
    }
}

/// Where the merging stands.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::large_enum_variant)] // There is nowhere else to put two hits.
enum State {
    /// No hit.
    Free,
    /// One or two hits that nothing has confirmed yet.
    Waiting { older: Option<Hit>, newer: Hit },
    /// In contact.
    Touched(Run),
}

/// The hits of a contact.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Run {
    hits: u32,
    /// Tooth periods from the first hit to the last in step, and the time they took.
    place: u32,
    span: u64,
    /// Begin of that hit, and of the latest one.
    in_step: Instant,
    latest: Instant,
    /// The end of the latest hit; none while it lasts.
    end: Option<Contact>,
    widest: u32,
    flags: Flags,
}

/// Merges the hits of one line, of cutters with up to `TEETH` teeth.
///
/// Give it every event of a [`Line`](crate::onset::Line) whose holds are
/// [`SHORTEST_HIT_NS`](super::SHORTEST_HIT_NS) with [`event`](Self::event), and the passing of
/// time with [`poll`](Self::poll).
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Hits<const TEETH: usize> {
    state: State,
    teeth: Teeth<TEETH>,
}

impl<const TEETH: usize> Default for Hits<TEETH> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const TEETH: usize> Hits<TEETH> {
    /// No hit yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            state: State::Free,
            teeth: Teeth::new(),
        }
    }

    /// Whether the cutter touches.
    #[must_use]
    pub fn in_contact(&self) -> bool {
        matches!(self.state, State::Touched(_))
    }

    /// Leading edge of the first hit that may still become a contact.
    #[must_use]
    pub fn open_since(&self) -> Option<Instant> {
        match &self.state {
            State::Waiting { older, newer } => {
                Some(older.as_ref().unwrap_or(newer).make.first_edge)
            }
            _ => None,
        }
    }

    /// When waiting for the next hit is over; `None` while there is nothing to wait for.
    #[must_use]
    pub fn deadline(&self, config: &HitsConfig) -> Option<Instant> {
        let from = match &self.state {
            State::Free => return None,
            State::Waiting { newer, .. } => newer.end.map_or(newer.onset(), end_of),
            State::Touched(run) => end_of(run.end?),
        };
        Some(from.plus(config.apart))
    }

    /// An event of the line. What it brings, and what had become due before it, goes to `tell` in
    /// the order of time.
    pub fn event(&mut self, config: &HitsConfig, event: &Event, mut tell: impl FnMut(&HitsEvent)) {
        match event {
            Event::Touch(make) => {
                self.poll(config, make.first_edge, &mut tell);
                self.begin(config, make, tell);
            }
            Event::Release(end) => {
                self.poll(config, end.first_edge, &mut tell);
                self.end(config, end);
            }
            Event::Glitch(glitch) => tell(&HitsEvent::Glitch(*glitch)),
        }
    }

    /// Time has passed: the line has told all it will up to `settled`, and no episode of it that
    /// began before is open.
    #[inline(never)]
    pub fn poll(
        &mut self,
        config: &HitsConfig,
        settled: Instant,
        mut tell: impl FnMut(&HitsEvent),
    ) {
        let Some(deadline) = self.deadline(config).filter(|at| *at <= settled) else {
            return;
        };
        match &self.state {
            State::Free => {}
            State::Waiting { older, newer } => {
                if let Some(older) = older {
                    tell(&HitsEvent::Glitch(older.glitch()));
                }
                let news = if newer.end.is_some() {
                    let glitch = newer.glitch();
                    self.state = State::Free;
                    HitsEvent::Glitch(glitch)
                } else {
                    // Blocked for more than a turn: no longer a matter of hits.
                    let (run, touch) = self.teeth.touch(config, newer, None, deadline);
                    self.state = State::Touched(run);
                    HitsEvent::Touch(touch)
                };
                tell(&news);
            }
            State::Touched(run) => {
                let news = run.end.map(|end| {
                    let release = Contact {
                        confirmed: deadline,
                        // The turn without a hit confirms it, not a hold.
                        flags: end.flags.without(Flags::SHORT_HOLD).union(run.flags),
                        ..end
                    };
                    HitsEvent::Release(release, self.teeth.cutter(config, run))
                });
                self.state = State::Free;
                news.iter().for_each(tell);
            }
        }
    }

    /// A hit begins.
    #[inline(never)]
    fn begin(&mut self, config: &HitsConfig, make: &Contact, mut tell: impl FnMut(&HitsEvent)) {
        let hit = Hit {
            make: *make,
            end: None,
        };
        match &mut self.state {
            State::Free => {
                self.state = State::Waiting {
                    older: None,
                    newer: hit,
                };
            }
            State::Touched(run) => run.next(config, make),
            State::Waiting { older, newer } => {
                let mut first = None;
                if let Some(older) = older {
                    // Where the hit does not follow it, it was a chip; the newer may be the first hit.
                    let follows = follows(config, older, make);
                    let chip = if follows { &*newer } else { &*older };
                    tell(&HitsEvent::Glitch(chip.glitch()));
                    first = follows.then_some(&*older);
                }
                let first = first.or(follows(config, newer, make).then_some(&*newer));
                if let Some(first) = first {
                    let confirmed = make.confirmed;
                    let (run, touch) = self.teeth.touch(config, first, Some(make), confirmed);
                    self.state = State::Touched(run);
                    return tell(&HitsEvent::Touch(touch));
                }
                *older = Some(*newer);
                *newer = hit;
            }
        }
    }

    /// A hit ends.
    fn end(&mut self, config: &HitsConfig, end: &Contact) {
        match &mut self.state {
            State::Free => {}
            State::Waiting { newer, .. } => newer.end = Some(*end),
            State::Touched(run) => {
                let width = end_of(*end).run_since(run.latest);
                run.widest = run.widest.max(width);
                run.end = Some(*end);
                run.flags.insert(end.flags.only(Flags::FAULTS));
                if run.latest == run.in_step {
                    self.teeth.hit(config, width, run.place);
                }
            }
        }
    }
}

impl<const TEETH: usize> Teeth<TEETH> {
    /// The contact is sure: it began with `first`, and `second` confirms it.
    fn touch(
        &mut self,
        config: &HitsConfig,
        first: &Hit,
        second: Option<&Contact>,
        confirmed: Instant,
    ) -> (Run, Contact) {
        self.clear();
        let mut run = Run {
            hits: 1,
            place: 0,
            span: 0,
            in_step: first.onset(),
            latest: first.onset(),
            end: first.end,
            widest: first.width().unwrap_or(0),
            flags: Flags::NONE,
        };
        let mut touch = Contact {
            confirmed,
            edges: first.edges(),
            ..first.make
        };
        if let Some(width) = first.width() {
            self.hit(config, width, 0);
        }
        if let Some(second) = second {
            run.flags = Flags::INTERRUPTED;
            run.next(config, second);
            touch.last_edge = second.last_edge;
            touch.edges = touch.edges.saturating_add(second.edges);
            // A second hit confirms it, not a hold.
            touch.flags = touch.flags.without(Flags::SHORT_HOLD);
        }
        touch.flags.insert(run.flags);
        (run, touch)
    }

    /// What the hits of a contact have told.
    fn cutter(&self, config: &HitsConfig, run: &Run) -> Cutter {
        let periods = u64::from(run.place);
        let per_turn = u64::from(run.hits.saturating_sub(1)) * u64::from(config.teeth) * 256;
        Cutter {
            hits: run.hits,
            tooth_period_256: (run.span << 8).checked_div(periods).unwrap_or(0),
            per_turn_256: per_turn.checked_div(periods).unwrap_or(0) as u32,
            widest: Span::from_ticks(i64::from(run.widest)),
            deepest: self.deepest(),
        }
    }
}

impl Run {
    /// The next hit of the contact.
    fn next(&mut self, config: &HitsConfig, hit: &Contact) {
        let onset = hit.onset.nearest();
        self.hits = self.hits.saturating_add(1);
        self.latest = onset;
        self.end = None;
        self.flags.insert(hit.flags.only(Flags::FAULTS));
        let run = onset.run_since(self.in_step);
        match config.periods(run) {
            Some(periods) => {
                self.place = self.place.saturating_add(periods);
                self.span = self.span.saturating_add(u64::from(run));
                self.in_step = onset;
            }
            // A chip among the hits, or a speed that is not the stated one.
            None => self.flags.insert(Flags::ROUGH),
        }
    }
}

fn end_of(end: Contact) -> Instant {
    end.onset.nearest()
}

/// Whether a hit is of the same cutter as a first one: at most a turn of tooth periods later.
fn follows(config: &HitsConfig, first: &Hit, hit: &Contact) -> bool {
    let periods = config.periods(hit.onset.nearest().run_since(first.onset()));
    periods.is_some_and(|periods| periods <= u32::from(config.teeth))
}
