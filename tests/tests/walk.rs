//! Every short story a line can be told, told once.
//!
//! All sequences of a few letters (an edge to each level at each telling distance in time, or a
//! poll) from each initial level. Two judges look at each: a record of nothing but the levels as
//! they arrived, which knows no estimator, and the reference of this package.

use trueonset::edge::{Edge, Level};
use trueonset::onset::{Config, Event, Line, Truncation};
use trueonset::time::{Instant, TickRate};
use trueonset_tests::reference::bridge::{self, Strictness};
use trueonset_tests::reference::{self, Input, Setup};

const HOLD: u64 = 100;
const RELEASE_HOLD: u64 = 60;
const START: u64 = 1_000_000;

const LEVELS: [Level; 3] = [Level::Low, Level::High, Level::Unknown];

#[derive(Clone, Copy, Debug)]
enum Letter {
    /// An edge, so many ticks after the last thing told.
    Edge(i64, Level),
    /// A poll, so many ticks after it.
    Poll(i64),
}

/// Edges to every level at every telling distance, and polls at the brim of the holds.
fn all_letters() -> Vec<Letter> {
    let distances = [1, 59, 60, 99, 100, 800, -1, -101];
    let polls = [60, 100, 1_000].map(Letter::Poll);
    let edges = distances
        .iter()
        .flat_map(|d| LEVELS.map(|level| Letter::Edge(*d, level)));
    edges.chain(polls).collect()
}

/// Few letters for long stories.
fn main_letters() -> Vec<Letter> {
    vec![
        Letter::Edge(1, Level::High),
        Letter::Edge(1, Level::Low),
        Letter::Edge(40, Level::Low),
        Letter::Edge(100, Level::High),
        Letter::Edge(99, Level::Low),
        Letter::Edge(1, Level::Unknown),
        Letter::Edge(-101, Level::High),
        Letter::Poll(99),
    ]
}

fn config() -> Config {
    Config::new(TickRate::NANOSECONDS, HOLD)
        .and_then(|config| config.release_hold(RELEASE_HOLD))
        .and_then(|config| config.capture(Truncation::Nearest, 256))
        .unwrap()
}

fn setup() -> Setup {
    Setup {
        hold: i128::from(HOLD),
        release_hold: i128::from(RELEASE_HOLD),
        touched_high: true,
        bandwidth_ticks: None,
        step: 1.0,
    }
}

/// What anyone could write down: when which level was last vouched for.
#[derive(Clone, Debug)]
struct Record {
    /// The last level told, `None` while it is not known.
    level: Option<Level>,
    /// Since when it has been vouched for without a gap.
    since: u64,
    /// The contact as confirmed; `None` until a first level is known.
    contact: Option<bool>,
    edges: u32,
}

impl Record {
    fn new(initial: Level) -> Self {
        let known = (initial != Level::Unknown).then_some(initial);
        Self {
            level: known,
            since: START,
            contact: known.map(|level| level == Level::High),
            edges: 0,
        }
    }

    fn hold(&self) -> u64 {
        if self.contact == Some(true) {
            RELEASE_HOLD
        } else {
            HOLD
        }
    }

    /// Judges an event that is said at `now`, then takes it over.
    fn judge(&mut self, event: &Event, now: u64) -> Result<(), String> {
        let (away, confirmed) = match event {
            Event::Touch(touch) => (Some(true), touch.confirmed),
            Event::Release(release) => (Some(false), release.confirmed),
            Event::Glitch(glitch) => (
                None,
                Instant::from_ticks(glitch.last_edge.ticks() + self.hold()),
            ),
            other => return Err(format!("{other:?}")),
        };
        let told = self.level.ok_or("an event while the level is not known")?;
        let contact = self.contact.ok_or("an event before any level was known")?;
        let wanted = away.unwrap_or(contact);
        if (told == Level::High) != wanted {
            return Err(format!("the level was last told as {told:?}"));
        }
        if away == Some(contact) {
            return Err("no change of contact".to_owned());
        }
        if confirmed.ticks() != self.since + self.hold() {
            return Err(format!(
                "confirmed at {confirmed:?}, vouched for since {}",
                self.since
            ));
        }
        if now < confirmed.ticks() {
            return Err(format!("said at {now}, before a hold was over"));
        }
        self.contact = Some(wanted);
        Ok(())
    }

    fn edge(&mut self, at: u64, level: Level) {
        self.edges += 1;
        // A small step back counts as no step; a clock that restarts makes the old times worthless.
        let restarts = at < self.since && self.since - at >= self.hold();
        let known = level != Level::Unknown;
        let first = self.contact.is_none();
        if restarts || ((known || !first) && at > self.since) {
            self.since = at;
        }
        self.level = known.then_some(level);
        self.contact = self.contact.or(known.then_some(level == Level::High));
    }
}

/// One point of a story.
#[derive(Clone)]
struct Scene {
    line: Line,
    record: Record,
    now: u64,
}

struct Walk {
    config: Config,
    letters: Vec<Letter>,
    path: Vec<Letter>,
    scenes: u64,
    events: u64,
    touches: u64,
}

impl Walk {
    fn new(letters: Vec<Letter>) -> Self {
        Self {
            config: config(),
            letters,
            path: Vec::new(),
            scenes: 0,
            events: 0,
            touches: 0,
        }
    }

    /// Tells one letter, judges what is said.
    fn tell(&mut self, scene: &mut Scene, letter: Letter) {
        let event = match letter {
            Letter::Edge(distance, level) => {
                scene.now = scene.now.saturating_add_signed(distance);
                let edge = Edge::new(Instant::from_ticks(scene.now), level);
                scene.line.edge(&self.config, edge)
            }
            Letter::Poll(distance) => {
                scene.now = scene.now.saturating_add_signed(distance);
                scene
                    .line
                    .poll(&self.config, Instant::from_ticks(scene.now))
            }
        };
        if let Some(event) = &event {
            self.events += 1;
            self.touches += u64::from(matches!(event, Event::Touch(_)));
            if let Err(why) = scene.record.judge(event, scene.now) {
                panic!("{why}: {event:?} after {:?}", self.path);
            }
        }
        if let Letter::Edge(_, level) = letter {
            scene.record.edge(scene.now, level);
        }
        let tally = scene.line.tally();
        let total = tally.touches
            + tally.releases
            + tally.glitches
            + tally.initial
            + tally.refused
            + tally.pending;
        assert_eq!(total, scene.record.edges, "{tally:?} after {:?}", self.path);
        if let Some(contact) = scene.record.contact {
            assert_eq!(scene.line.in_contact(), contact, "after {:?}", self.path);
        }
        self.scenes += 1;
    }

    /// All stories of up to `length` further letters.
    fn tell_all(&mut self, scene: &Scene, length: usize) {
        if length == 0 {
            return;
        }
        for i in 0..self.letters.len() {
            let letter = self.letters[i];
            self.path.push(letter);
            let mut next = scene.clone();
            self.tell(&mut next, letter);
            self.tell_all(&next, length - 1);
            self.path.pop();
        }
    }

    fn tell_from_every_level(&mut self, length: usize) {
        for initial in LEVELS {
            let scene = Scene {
                line: Line::new(&self.config, initial, Instant::from_ticks(START)),
                record: Record::new(initial),
                now: START,
            };
            self.tell_all(&scene, length);
        }
    }
}

/// Points in all stories of up to `length` letters out of `letters`, from three levels.
fn points(letters: u64, length: u32) -> u64 {
    3 * (1..=length).map(|n| letters.pow(n)).sum::<u64>()
}

#[test]
fn every_story_of_four_letters_out_of_all() {
    let mut walk = Walk::new(all_letters());
    walk.tell_from_every_level(4);
    assert_eq!(walk.letters.len(), 27);
    assert_eq!(walk.scenes, points(27, 4));
    assert_eq!(walk.scenes, 1_655_640);
    println!("{} events, {} touches", walk.events, walk.touches);
    assert!(walk.touches > 50_000 && walk.events > 2 * walk.touches);
}

#[test]
fn every_story_of_seven_letters_out_of_eight() {
    let mut walk = Walk::new(main_letters());
    walk.tell_from_every_level(7);
    assert_eq!(walk.scenes, points(8, 7));
    assert_eq!(walk.scenes, 7_190_232);
    println!("{} events, {} touches", walk.events, walk.touches);
    assert!(walk.touches > 100_000 && walk.events > 2 * walk.touches);
}

/// Core and the reference told the same story, letter by letter.
#[derive(Clone)]
struct Pair {
    core: Line,
    reference: reference::line::Line,
    now: i128,
}

impl Pair {
    fn tell(&mut self, config: &Config, letter: Letter) -> Result<bool, String> {
        let (core, other) = match letter {
            Letter::Edge(distance, level) => {
                self.now += i128::from(distance);
                let level = match level {
                    Level::Low => reference::Level::Low,
                    Level::High => reference::Level::High,
                    Level::Unknown => reference::Level::Unknown,
                };
                let input = Input {
                    at: self.now,
                    level,
                    remark: None,
                };
                (
                    self.core.edge(config, bridge::edge(&input)),
                    self.reference.edge(input),
                )
            }
            Letter::Poll(distance) => {
                self.now += i128::from(distance);
                (
                    self.core.poll(config, bridge::instant(self.now)),
                    self.reference.pass(self.now),
                )
            }
        };
        bridge::compare_counts(self.core.tally(), self.reference.counts())?;
        match (&core, &other) {
            (None, None) => Ok(false),
            (Some(core), Some(other)) => {
                // So few ticks a hold leave no room for the rounding of a doubt.
                bridge::compare(core, other, 0, Strictness::Edges).map(|()| true)
            }
            _ => Err(format!("core says {core:?}, the reference {other:?}")),
        }
    }

    fn tell_all(
        &self,
        config: &Config,
        letters: &[Letter],
        path: &mut Vec<Letter>,
        length: usize,
        seen: &mut (u64, u64),
    ) {
        if length == 0 {
            return;
        }
        for letter in letters {
            path.push(*letter);
            let mut next = self.clone();
            match next.tell(config, *letter) {
                Ok(said) => seen.1 += u64::from(said),
                Err(why) => panic!("{why} after {path:?}"),
            }
            seen.0 += 1;
            next.tell_all(config, letters, path, length - 1, seen);
            path.pop();
        }
    }
}

#[test]
fn core_and_the_reference_agree_on_every_story() {
    for (letters, length, expected) in [(all_letters(), 4, 1_655_640), (main_letters(), 6, 898_776)]
    {
        let mut seen = (0, 0);
        for initial in [
            reference::Level::Low,
            reference::Level::High,
            reference::Level::Unknown,
        ] {
            let pair = Pair {
                core: Line::new(
                    &config(),
                    bridge::level(initial),
                    Instant::from_ticks(START),
                ),
                reference: reference::line::Line::new(&setup(), initial, i128::from(START)),
                now: i128::from(START),
            };
            pair.tell_all(&config(), &letters, &mut Vec::new(), length, &mut seen);
        }
        assert_eq!(seen.0, expected);
        assert!(seen.1 > 100_000, "{} events", seen.1);
    }
}
