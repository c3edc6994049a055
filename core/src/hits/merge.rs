//! Hits in, one contact out.

use super::config::HitsConfig;
use super::teeth::{Cutter, Deepest, Teeth};
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
        let end = self.end.as_ref().map_or(0, |end| end.edges);
        self.make.edges.saturating_add(end)
    }

    /// How long it blocked; nothing while it lasts.
    fn width(&self) -> Option<u32> {
        let end = self.end.as_ref()?;
        Some(end.onset.nearest().run_since(self.onset()))
    }

    /// The same as edges that came to nothing.
    fn glitch(&self) -> Glitch {
        Glitch {
            first_edge: self.make.first_edge,
            last_edge: self.end.as_ref().unwrap_or(&self.make).last_edge,
            width: Span::from_ticks(i64::from(self.width().unwrap_or(0))),
            edges: self.edges(),
            flags: self.make.flags,
        }
    }
}

/// Which of two waiting hits a contact begins with.
#[derive(Clone, Copy)]
enum First {
    Older,
    Newer,
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
    pace: Pace,
    /// The end of the latest hit; none while it lasts.
    end: Option<Contact>,
}

/// What its hits come to.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Pace {
    hits: u32,
    /// Tooth periods from the first hit to the last in step, and the time they took.
    place: u32,
    span: u64,
    /// Begin of that hit, and of the latest one.
    in_step: Instant,
    latest: Instant,
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
            State::Waiting { newer, .. } => newer.end.as_ref().map_or(newer.onset(), end_of),
            State::Touched(run) => end_of(run.end.as_ref()?),
        };
        Some(from.plus(config.apart))
    }

    /// An event of the line. What it brings, and what had become due before it, goes to `tell` in
    /// the order of time.
    pub fn event(&mut self, config: &HitsConfig, event: &Event, mut tell: impl FnMut(&HitsEvent)) {
        match event {
            Event::Touch(make) => {
                self.poll(config, make.first_edge, &mut tell);
                self.begin(config, make, &mut tell);
            }
            Event::Release(end) => {
                self.poll(config, end.first_edge, &mut tell);
                self.end(config, end);
            }
            Event::Glitch(glitch) => pass_on(glitch, &mut tell),
        }
    }

    /// Time has passed: the line has told all it will up to `settled`, and no episode of it that
    /// began before is open.
    pub fn poll(
        &mut self,
        config: &HitsConfig,
        settled: Instant,
        mut tell: impl FnMut(&HitsEvent),
    ) {
        if let Some(deadline) = self.deadline(config).filter(|at| *at <= settled) {
            self.over(config, deadline, &mut tell);
        }
    }

    /// Waiting for the next hit is over.
    fn over(&mut self, config: &HitsConfig, deadline: Instant, tell: &mut impl FnMut(&HitsEvent)) {
        match &self.state {
            State::Free => {}
            State::Waiting { older, newer } => {
                if let Some(older) = older {
                    tell_glitch(older, tell);
                }
                if newer.end.is_some() {
                    tell_glitch(newer, tell);
                    self.state = State::Free;
                } else {
                    // Blocked for more than a turn: no longer a matter of hits.
                    self.touch(config, First::Newer, None, deadline, tell);
                }
            }
            State::Touched(_) => self.release(config, deadline, tell),
        }
    }

    /// A hit begins.
    #[inline(never)]
    fn begin(&mut self, config: &HitsConfig, make: &Contact, mut tell: impl FnMut(&HitsEvent)) {
        match &mut self.state {
            State::Free => {
                self.state = State::Waiting {
                    older: None,
                    newer: Hit {
                        make: *make,
                        end: None,
                    },
                };
            }
            State::Touched(run) => {
                run.end = None;
                run.pace.next(config, make);
            }
            State::Waiting { older, newer } => {
                if let Some(older) = older {
                    if follows(config, older, make).is_some() {
                        tell_glitch(newer, &mut tell);
                        let second = Some(make);
                        return self.touch(config, First::Older, second, make.confirmed, &mut tell);
                    }
                    // It was a chip; the newer may be the first hit.
                    tell_glitch(older, &mut tell);
                }
                if follows(config, newer, make).is_some() {
                    return self.touch(config, First::Newer, Some(make), make.confirmed, &mut tell);
                }
                *older = Some(*newer);
                newer.make = *make;
                newer.end = None;
            }
        }
    }

    /// A hit ends.
    fn end(&mut self, config: &HitsConfig, end: &Contact) {
        match &mut self.state {
            State::Free => {}
            State::Waiting { newer, .. } => newer.end = Some(*end),
            State::Touched(Run { pace, end: latest }) => {
                let width = end_of(end).run_since(pace.latest);
                pace.widest = pace.widest.max(width);
                *latest = Some(*end);
                pace.flags.insert(end.flags.only(Flags::FAULTS));
                if pace.latest == pace.in_step {
                    self.teeth.hit(config, width, pace.place);
                }
            }
        }
    }

    /// The contact is over.
    #[inline(never)]
    fn release(
        &mut self,
        config: &HitsConfig,
        deadline: Instant,
        tell: &mut impl FnMut(&HitsEvent),
    ) {
        let State::Touched(run) = &self.state else {
            return;
        };
        if let Some(end) = &run.end {
            let cutter = run.pace.cutter(config, self.teeth.deepest());
            tell_release(end, run.pace.flags, deadline, &cutter, tell);
        }
        self.state = State::Free;
    }

    /// The contact is sure: it began with `first`, and `second` confirms it.
    #[inline(never)]
    fn touch(
        &mut self,
        config: &HitsConfig,
        first: First,
        second: Option<&Contact>,
        confirmed: Instant,
        tell: &mut impl FnMut(&HitsEvent),
    ) {
        let State::Waiting { older, newer } = &self.state else {
            return;
        };
        let first = match (first, older) {
            (First::Older, Some(older)) => older,
            _ => newer,
        };
        self.teeth.clear();
        let mut pace = Pace {
            hits: 1,
            place: 0,
            span: 0,
            in_step: first.onset(),
            latest: first.onset(),
            widest: first.width().unwrap_or(0),
            flags: Flags::NONE,
        };
        if let Some(width) = first.width() {
            self.teeth.hit(config, width, 0);
        }
        if let Some(second) = second {
            pace.flags = Flags::INTERRUPTED;
            pace.next(config, second);
        }
        tell_touch(first, second, confirmed, pace.flags, tell);
        // Either the first hit lasts, or the second does.
        self.state = State::Touched(Run { pace, end: None });
    }
}

impl Pace {
    #[inline(never)]
    fn cutter(&self, config: &HitsConfig, deepest: Deepest) -> Cutter {
        let periods = u64::from(self.place);
        let per_turn = u64::from(self.hits.saturating_sub(1)) * u64::from(config.teeth) * 256;
        Cutter {
            hits: self.hits,
            tooth_period_256: (self.span << 8).checked_div(periods).unwrap_or(0),
            per_turn_256: per_turn.checked_div(periods).unwrap_or(0) as u32,
            widest: Span::from_ticks(i64::from(self.widest)),
            deepest,
        }
    }

    /// The next hit of the contact.
    fn next(&mut self, config: &HitsConfig, make: &Contact) {
        self.hits = self.hits.saturating_add(1);
        let onset = make.onset.nearest();
        self.latest = onset;
        self.flags.insert(make.flags.only(Flags::FAULTS));
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

fn end_of(end: &Contact) -> Instant {
    end.onset.nearest()
}

/// Tooth periods from one hit to the begin of another of the same cutter; at most a turn.
fn follows(config: &HitsConfig, first: &Hit, make: &Contact) -> Option<u32> {
    let periods = config.periods(make.onset.nearest().run_since(first.onset()))?;
    (periods <= u32::from(config.teeth)).then_some(periods)
}

// What is told is large: each kind apart, so that its room on the stack ends with it.

#[inline(never)]
fn pass_on(glitch: &Glitch, tell: &mut impl FnMut(&HitsEvent)) {
    tell(&HitsEvent::Glitch(*glitch));
}

#[inline(never)]
fn tell_glitch(hit: &Hit, tell: &mut impl FnMut(&HitsEvent)) {
    tell(&HitsEvent::Glitch(hit.glitch()));
}

/// A touch that `second` confirms, or else that the first hit lasts.
#[inline(never)]
fn tell_touch(
    first: &Hit,
    second: Option<&Contact>,
    confirmed: Instant,
    flags: Flags,
    tell: &mut impl FnMut(&HitsEvent),
) {
    let make = &first.make;
    let (mut last_edge, mut edges) = (make.last_edge, first.edges());
    let mut all = make.flags;
    if let Some(second) = second {
        last_edge = second.last_edge;
        edges = edges.saturating_add(second.edges);
        // A second hit confirms it, not a hold.
        all = all.without(Flags::SHORT_HOLD);
    }
    let mut event = HitsEvent::Touch(*make);
    if let HitsEvent::Touch(touch) = &mut event {
        touch.confirmed = confirmed;
        touch.last_edge = last_edge;
        touch.edges = edges;
        touch.flags = all.union(flags);
    }
    tell(&event);
}

/// The release with the last hit's `end`, and the `flags` of all hits.
#[inline(never)]
fn tell_release(
    end: &Contact,
    flags: Flags,
    confirmed: Instant,
    cutter: &Cutter,
    tell: &mut impl FnMut(&HitsEvent),
) {
    // Made where it is told from.
    let mut event = HitsEvent::Release(*end, *cutter);
    if let HitsEvent::Release(release, _) = &mut event {
        release.confirmed = confirmed;
        // The turn without a hit confirms it, not a hold.
        release.flags = end.flags.without(Flags::SHORT_HOLD).union(flags);
    }
    tell(&event);
}
