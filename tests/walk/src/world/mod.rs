//! The truth beside the link: what the probe did, what was heard, and what must never be.
//!
//! | file | what a tick does there |
//! |---|---|
//! | choice | all that probe, channel and machine may do |
//! | air | what is handed in, and what the truth makes of it |
//! | board | the main loop: re-arm, edges that leave, lines |
//! | rules | what must hold at every tick |
//! | zero | what no longer matters is forgotten, and the present put to one zero |

mod air;
mod board;
mod choice;
mod rules;
mod zero;

pub(crate) use choice::{Air, Choice, Says, Sure};

use trueonset::frame::{Kind, Mark};
use trueonset::lines::Decision;
use trueonset::link::{Link, LinkConfig, State, Stored};
use trueonset::time::Instant;

use crate::adversary::Adversary;
use crate::setting::Setting;
use crate::walk::{Broken, Rules};

/// Edges remembered until nothing can be said of them any more.
const EDGES: usize = 8;
/// Slots whose frames are remembered, at most.
const BACK: usize = 4;
/// Zero of the walk: late enough for anything to lie before it.
const BEGIN_SLOT: u64 = 40;

/// A walk through edges.
pub(crate) struct Edges<'a> {
    setting: &'a Setting,
    config: LinkConfig,
}

impl<'a> Edges<'a> {
    /// # Errors
    /// The setting breaks a rule of the constructor.
    pub(crate) fn new(setting: &'a Setting) -> Result<Self, String> {
        let config = setting.config().map_err(|why| why.to_string())?;
        Ok(Self { setting, config })
    }
}

impl Rules for Edges<'_> {
    type World = World;
    type Choice = Choice;

    fn start(&self) -> World {
        World::new(self.setting)
    }

    fn choices(&self, world: &World) -> Vec<Choice> {
        world.choices(self.setting)
    }

    fn step(&self, world: &World, choice: Choice) -> Result<World, Broken> {
        world.step(self.setting, &self.config, choice)
    }

    fn recovers(&self, world: &World, path: &mut Vec<Choice>) -> Result<u32, Broken> {
        world.recovers(self.setting, &self.config, path)
    }
}

/// An edge that happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Edge {
    at: u64,
    number: u8,
    /// The line said run when it happened.
    under_run: bool,
    /// READY was up.
    under_ready: bool,
    /// A frame of the live link told that it happened.
    named: bool,
    /// Its time was in an accepted frame.
    timed: bool,
    /// It was told to the control.
    told: bool,
    /// The line's level takes it into account: it was told, or contact was known at a join or a
    /// re-arm after it.
    settled: bool,
    /// The line was armed again after the receiver had heard of it.
    rearmed: bool,
    /// Frames contradicted each other while it was on its way.
    doubted: bool,
}

/// What the probe says at the start of a slot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Snapshot {
    number: u8,
    /// Ages of the newest and the older edge, ticks; none: beyond the range.
    newest: Option<u32>,
    older: Option<u32>,
    /// An edge is being confirmed.
    between: bool,
    /// A frame of this slot was accepted.
    taken: bool,
}
/// A state of the walk: the link under test and the truth beside it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct World {
    link: Link<Adversary>,
    now: u64,
    edges: [Edge; EDGES],
    count: u8,
    number: u8,
    newest_at: u64,
    older_at: u64,
    /// The newest edge is being confirmed, and was not told yet.
    untold: bool,
    sent: [Snapshot; BACK],
    /// Start of the newest slot whose genuine frame was accepted, and the number it told.
    life: u64,
    seen: u8,
    /// When the latest edge happened that was told with its time.
    told_at: u64,
    decision: Decision,
    first: bool,
    stalled: u8,
    wire: bool,
    /// No rise counts before this.
    locked_until: u64,
    /// Something was latched, and no re-arm was granted since.
    held: bool,
    /// The newest frame told a fault.
    fault: bool,
    /// Newest frames with contact open since the last latch.
    open: u8,
    /// When bad tags and strangers came while the link lived, newest first.
    bad: [u64; 2],
    strange: [u64; 2],
}
impl World {
    /// The start: nothing heard, contact open.
    #[must_use]
    pub(crate) fn new(setting: &Setting) -> Self {
        let now = BEGIN_SLOT * setting.slot;
        let adversary = Adversary {
            slot: setting.slot,
            error: 0,
            bound: setting.bound as u32,
            gate: setting.bound,
            locked: true,
            clash: false,
        };
        let stored = Stored {
            mark: Some(Mark {
                boot: 0,
                slot: Mark::LAST_SLOT,
            }),
            place: 0,
        };
        let mut world = Self {
            link: Link::new(adversary, stored),
            now,
            edges: [Edge::default(); EDGES],
            count: 0,
            number: 0,
            newest_at: 0,
            older_at: 0,
            untold: false,
            sent: [Snapshot::default(); BACK],
            life: 0,
            seen: 0,
            told_at: 0,
            decision: Decision::STOP,
            first: true,
            stalled: 0,
            wire: true,
            locked_until: 0,
            held: false,
            fault: false,
            open: 0,
            bad: [0; 2],
            strange: [0; 2],
        };
        world.snapshot(setting);
        world
    }

    fn at(&self) -> Instant {
        Instant::from_ticks(self.now)
    }

    fn slot(&self, setting: &Setting) -> u64 {
        self.now / setting.slot
    }

    /// What frames of the slot that begins now will say.
    fn snapshot(&mut self, setting: &Setting) {
        let age = |at: u64| {
            let age = self.now - at;
            (at > 0 && age < setting.age_range()).then_some(age as u32)
        };
        let told = if self.untold {
            (self.number.wrapping_sub(1) & 31, self.older_at, 0)
        } else {
            (self.number, self.newest_at, self.older_at)
        };
        let new = Snapshot {
            number: told.0,
            newest: age(told.1),
            older: age(told.2).filter(|_| setting.older),
            between: self.untold,
            taken: false,
        };
        self.sent.rotate_right(1);
        self.sent[0] = new;
    }

    /// The next tick. What comes out is the world after it, on a zero of its own.
    ///
    /// # Errors
    /// The rule that was broken.
    pub(crate) fn step(
        &self,
        setting: &Setting,
        config: &LinkConfig,
        choice: Choice,
    ) -> Result<Self, Broken> {
        let mut world = self.clone();
        world.now += 1;
        let shown = world.decision.at(world.at());
        if choice.edge {
            if world.untold {
                world.untold = false;
            } else {
                world.edge(shown);
                world.untold = setting.hold > 0;
            }
        }
        if world.now % setting.slot == 0 {
            world.snapshot(setting);
        }
        let clock = world.link.slots_mut();
        clock.error = i64::from(choice.error);
        clock.locked = choice.sure != Sure::Unlocked;
        clock.clash = choice.sure == Sure::Clash;
        let was_live = world.link.state() == State::Live;
        world.hear(setting, config, choice)?;
        let lives = world.link.state() == State::Live;
        if lives && !was_live && choice.sure == Sure::Unlocked {
            return Err(Broken {
                rule: "J7 lock",
                what: "the link lives, and its clock has no lock".to_owned(),
            });
        }
        if choice.stall {
            world.stalled += 1;
            world.held |= !world.link.causes().is_empty();
        } else {
            world.stalled = 0;
            world.main_loop(setting, config, choice)?;
        }
        let clock = world.link.slots_mut();
        (clock.error, clock.locked, clock.clash) = (0, true, false);
        if was_live && world.link.state() == State::Down {
            let lost = world
                .known()
                .iter()
                .any(|edge| edge.named && !edge.timed && !edge.settled);
            if lost && world.link.causes().is_empty() {
                return Err(Broken {
                    rule: "I10 latch",
                    what: "an edge known to exist ran out untimed and was not latched".to_owned(),
                });
            }
        }
        world.check(setting)?;
        world.forget(setting, config);
        Ok(world)
    }

    fn edge(&mut self, shown: Decision) {
        self.number = (self.number + 1) & 31;
        self.older_at = self.newest_at;
        self.newest_at = self.now;
        if usize::from(self.count) == EDGES {
            self.edges.rotate_left(1);
            self.count -= 1;
        }
        self.edges[usize::from(self.count)] = Edge {
            at: self.now,
            number: self.number,
            under_run: shown.run,
            under_ready: shown.ready,
            named: false,
            timed: false,
            told: false,
            settled: false,
            rearmed: false,
            doubted: false,
        };
        self.count += 1;
    }

    fn known(&mut self) -> &mut [Edge] {
        &mut self.edges[..usize::from(self.count)]
    }

    /// With contact open, a perfect channel and a re-arm, READY comes; the ticks it took.
    ///
    /// # Errors
    /// It does not, or a rule breaks on the way.
    pub(crate) fn recovers(
        &self,
        setting: &Setting,
        config: &LinkConfig,
        path: &mut Vec<Choice>,
    ) -> Result<u32, Broken> {
        let mut world = self.clone();
        // Let go first, at the least spacing.
        for tick in 0..80 {
            let far = world.now + 1 - world.newest_at >= setting.apart;
            let choice = Choice {
                edge: world.untold || world.number & 1 == 1 && far,
                error: 0,
                sure: Sure::Yes,
                air: if (world.now + 1) % setting.slot == 0 {
                    Air::Frame {
                        back: 0,
                        kind: Kind::Normal,
                        replay: false,
                        says: Says::Plain,
                    }
                } else {
                    Air::Nothing
                },
                // A rise restarts the lock: one at a time.
                wire: !world.wire && world.now + 1 >= world.locked_until,
                stall: false,
            };
            path.push(choice);
            world = world.step(setting, config, choice)?;
            if world.decision.run {
                return Ok(tick);
            }
        }
        Err(Broken {
            rule: "J4 returns",
            what: "ready does not return on a perfect channel".to_owned(),
        })
    }
}
