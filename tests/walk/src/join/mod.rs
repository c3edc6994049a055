//! Joins: probe and board lose their power, the store's writes are cut, and every frame that was
//! ever sent may be heard again. No edges here; frames are the real bytes under a real key.
//!
//! | rule | what it says |
//! |---|---|
//! | J1a | no counter is accepted twice, over any losses of power |
//! | J1b | nothing that was sent before a loss of power under READY is accepted after it, where the frame that began the join was heard when it was sent |
//! | J2 | the counter never runs back: neither the greatest accepted nor the marks written |
//! | J3 | with both records bad no frame is accepted |
//! | J4 | on a perfect channel READY comes as soon as the counter has passed the mark |
//! | J5 | the probe's start does not change under READY, and READY ends before a new one sends |
//! | J6 | at most two writes while the probe's counter runs on by a write gap, and one for every further start of the probe |

mod choice;
mod plan;
mod steady;

pub(crate) use choice::Choice;
pub(crate) use plan::{Plan, ALL};

use choice::{Cut, Loss};
use plan::{LEAD, MEMORY, QUIET};
use steady::Steady;
use trueonset::frame::{Contact, Key, Kind, Mark, Opened, Quality, Report, Sealed, Signs};
use trueonset::lines::Decision;
use trueonset::link::{
    About, Heard, Link, LinkConfig, Outcome, Slots, Stored, Write, Zero, RECORD,
};
use trueonset::time::Instant;

use crate::walk::{broken, Broken, Rules};

/// The present, always: late enough for anything to lie before it.
const NOW: u64 = 128;
/// Number of the probe's first start: the low bits that a hello carries overflow at the next.
const FIRST: u32 = (1 << 14) - 1;
/// Starts of a probe, and one more for the way back to READY.
const STARTS: usize = 3;
const ID: u16 = 5;

/// A walk through joins.
pub(crate) struct Joins<'a> {
    plan: &'a Plan,
    config: LinkConfig,
    key: Key,
}

/// A write under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Writing {
    write: Write,
    /// The first of two records is done.
    first_done: bool,
}

impl Writing {
    const fn place(&self) -> usize {
        let place = self.write.place ^ self.first_done as u8;
        (place & 1) as usize
    }
}

/// What is watched in a walk. No rule is about more than one frame: each is watched in its turn,
/// rather than which ones of all were accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Watched {
    /// Not chosen yet.
    Nothing,
    /// A frame, and what became of it.
    Frame {
        start: u8,
        slot: u64,
        accepted: bool,
        /// It was sent before a loss under READY.
        barred: bool,
    },
    /// Marks of the last two writes since the board's start, newest first.
    Writes([Option<Mark>; 2]),
}

/// A state: the link under test, the store, and the truth beside them.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Join {
    link: Link<Steady>,
    decision: Decision,
    /// Records that can be read.
    records: [Option<Mark>; 2],
    writing: Option<Writing>,
    /// Both records were bad when the board started.
    torn: bool,
    /// Start of the probe, and its present slot.
    start: u8,
    slot: u64,
    /// Frames sent after each start.
    sent: [u64; STARTS],
    watched: Watched,
    /// The clock was started by a frame that was heard when it was sent.
    fresh: bool,
    losses: u8,
    closes: u8,
}

impl<'a> Joins<'a> {
    /// # Errors
    /// The plan breaks a rule of the constructor.
    pub(crate) fn new(plan: &'a Plan) -> Result<Self, String> {
        let config = plan.config().map_err(|why| why.to_string())?;
        let key = Key::new(*b"walk through all").map_err(|why| why.to_string())?;
        Ok(Self { plan, config, key })
    }

    fn power_up(&self, records: [Option<Mark>; 2]) -> Link<Steady> {
        let [one, other] =
            records.map(|record| record.map_or([0xFF; RECORD], |mark| mark.record(ID)));
        let stored = Stored::read(&self.config, [&one, &other], ID);
        Link::new(Steady::new(MEMORY), stored)
    }

    fn frame(&self, who: Mark) -> [u8; 16] {
        let report = Report {
            kind: Kind::Hello,
            contact: Contact::Open,
            signs: Signs {
                measuring: true,
                ..Signs::default()
            },
            number: 0,
            quality: Quality::Clean,
            age_125ns: None,
            slow: None,
        };
        report.seal(&self.key, ID, who)
    }

    /// A frame comes out of the air.
    fn hear(&self, join: &mut Join, start: u8, slot: u64, late: bool) -> Result<(), Broken> {
        let now = Instant::from_ticks(NOW);
        let arrival = Instant::from_ticks(NOW - u64::from(late));
        let who = mark(start, slot);
        let Ok(sealed) = Sealed::parse(&self.frame(who)) else {
            return broken("J0 frame", "a frame of the probe was damaged");
        };
        let nearest = join.link.slots().nearest(sealed.slot_low(), arrival);
        let opened = join.link.open(&self.key, &sealed, nearest);
        let Some((opened, Opened::Report(report))) = opened else {
            // The start before, as far as the receiver can tell.
            join.link.bad_tag(&self.config, now);
            return Ok(());
        };
        let was_ready = join.decision.at(now).ready;
        let boot = join.link.boot();
        let fitted = boot == who.boot && join.link.slots().fits(slot, arrival);
        let heard = Heard::new(opened, &report);
        let outcome = join.link.frame(&self.config, now, arrival, &heard);
        if !matches!(
            outcome,
            Outcome::Life | Outcome::Held | Outcome::Older | Outcome::Joining
        ) {
            return Ok(());
        }
        if opened != who {
            return broken("J0 frame", format!("{who:?} was taken for {opened:?}"));
        }
        if join.torn {
            return broken("J3 torn", "accepted with both records bad");
        }
        if was_ready && boot != who.boot {
            return broken("J5 start", "a frame of another start accepted under ready");
        }
        if let Watched::Frame {
            start: of,
            slot: at,
            accepted,
            barred,
        } = &mut join.watched
        {
            if (*of, *at) == (start, slot) {
                if *barred {
                    return broken("J1b barred", "accepted, and sent before the loss");
                }
                if *accepted {
                    return broken("J1a once", "accepted twice");
                }
                *accepted = true;
            }
        }
        if outcome == Outcome::Joining && !fitted {
            join.fresh = start == join.start && slot + u64::from(late) == join.slot;
        }
        Ok(())
    }

    fn begin(&self, join: &mut Join) -> Result<(), Broken> {
        let Some(write) = join.link.want() else {
            return Ok(());
        };
        join.writing = Some(Writing {
            write,
            first_done: false,
        });
        let newest = join.records.iter().flatten().max();
        if newest.is_some_and(|newest| write.mark <= *newest) {
            return broken("J2 back", "a mark is written that is not above the newest");
        }
        let Watched::Writes(written) = &mut join.watched else {
            return Ok(());
        };
        let gap = u64::from(self.plan.reserve - LEAD);
        let near =
            |late: Mark, early: Mark| late.boot != early.boot || late.slot <= early.slot + gap;
        let mark = write.mark;
        if let [Some(newest), Some(oldest)] = *written {
            let few_starts = mark.boot < oldest.boot.saturating_add(2);
            if few_starts && near(mark, newest) && near(newest, oldest) && near(mark, oldest) {
                return broken("J6 writes", "three writes within a write gap");
            }
        }
        *written = [Some(mark), written[0]];
        Ok(())
    }

    /// The record under way is durable.
    fn finish(join: &mut Join) {
        let Some(writing) = join.writing else {
            return;
        };
        join.records[writing.place()] = Some(writing.write.mark);
        if writing.write.both && !writing.first_done {
            join.writing = Some(Writing {
                first_done: true,
                ..writing
            });
        } else {
            join.writing = None;
            join.link.stored(writing.write.mark);
        }
    }

    /// The store is closed, and power stays.
    fn close(&self, join: &mut Join, told: bool) {
        let Some(write) = join.link.close(&self.config) else {
            return;
        };
        join.records = [Some(write.mark); 2];
        if let Some(writing) = join.writing.take().filter(|_| told) {
            join.link.stored(writing.write.mark);
        }
        // What it costs comes on top.
        if let Watched::Writes(written) = &mut join.watched {
            *written = [None; 2];
        }
        join.closes += 1;
    }

    fn lose(&self, join: &mut Join, loss: Loss) {
        let ready = join.fresh && join.decision.at(Instant::from_ticks(NOW)).ready;
        match &mut join.watched {
            Watched::Frame {
                start,
                slot,
                barred,
                ..
            } => *barred |= ready && *slot < QUIET + join.sent[usize::from(*start)],
            Watched::Writes(written) => *written = [None; 2],
            Watched::Nothing => {}
        }
        match (loss.write, join.writing) {
            (Cut::Done, Some(writing)) => {
                join.records[writing.place()] = Some(writing.write.mark);
            }
            (Cut::Closed, _) => {
                let close = join.link.close(&self.config);
                join.records = [close.map(|write| write.mark); 2];
            }
            _ => {}
        }
        for (record, bad) in join.records.iter_mut().zip(loss.bad) {
            *record = record.filter(|_| !bad);
        }
        join.writing = None;
        join.torn = join.records == [None; 2];
        join.link = self.power_up(join.records);
        join.decision = Decision::STOP;
        join.fresh = false;
        join.losses += 1;
    }

    /// A slot passes; the present stays at its place, and all before it moves back.
    fn slot(&self, join: &mut Join, endless: bool) -> Result<(), Broken> {
        if !endless && join.slot >= self.end() {
            return Ok(());
        }
        join.slot += 1;
        if join.slot >= QUIET && (endless || join.slot < QUIET + self.plan.slots) {
            let ready = join.decision.at(Instant::from_ticks(NOW + 1)).ready;
            if join.slot == QUIET && join.fresh && ready {
                return broken("J5 start", "ready while a new start begins to send");
            }
            join.sent[usize::from(join.start)] = join.slot + 1 - QUIET;
        }
        Ok(())
    }
}

/// The counter of a frame.
const fn mark(start: u8, slot: u64) -> Mark {
    Mark {
        boot: FIRST + start as u32,
        slot,
    }
}

impl Rules for Joins<'_> {
    type World = Join;
    type Choice = Choice;

    fn start(&self) -> Join {
        let first = if self.plan.known { FIRST } else { FIRST - 1 };
        let records = [Some(Mark {
            boot: first,
            slot: 0,
        }); 2];
        Join {
            link: self.power_up(records),
            decision: Decision::STOP,
            records,
            writing: None,
            torn: false,
            start: 0,
            slot: 0,
            sent: [0; STARTS],
            watched: Watched::Nothing,
            fresh: false,
            losses: 0,
            closes: 0,
        }
    }

    fn choices(&self, join: &Join) -> Vec<Choice> {
        self.all(join)
    }

    fn step(&self, before: &Join, choice: Choice) -> Result<Join, Broken> {
        let mut join = before.clone();
        let ticks = u64::from(matches!(choice, Choice::Slot { .. }));
        match choice {
            Choice::Slot { endless } => self.slot(&mut join, endless)?,
            Choice::WatchFrame(start, slot) => {
                join.watched = Watched::Frame {
                    start,
                    slot,
                    accepted: false,
                    barred: false,
                };
            }
            Choice::WatchWrites => join.watched = Watched::Writes([None; 2]),
            Choice::Restart => {
                join.start += 1;
                join.slot = 0;
            }
            Choice::Hear { start, slot, late } => self.hear(&mut join, start, slot, late)?,
            Choice::Begin => self.begin(&mut join)?,
            Choice::Finish => Self::finish(&mut join),
            Choice::Close { told } => self.close(&mut join, told),
            Choice::Lose(loss) => self.lose(&mut join, loss),
        }
        let now = Instant::from_ticks(NOW + ticks);
        let lost = matches!(choice, Choice::Lose(_));
        if !lost {
            while join.link.poll(&self.config, now).is_some() {}
            join.decision = join.link.lines(&self.config, now);
            if join.link.floor() < before.link.floor() {
                broken("J2 back", "the greatest accepted counter has run back")?;
            }
        }
        self.forget(&mut join, ticks);
        Ok(join)
    }

    /// The probe goes on, or starts anew, and all it sends is heard and stored at once.
    fn recovers(&self, join: &Join, path: &mut Vec<Choice>) -> Result<u32, Broken> {
        if join.torn {
            return Ok(0);
        }
        let anew = self.ready_comes(join, true, path)?;
        let same = self.ready_comes(join, false, path)?;
        Ok(anew.max(same))
    }
}

/// Slots within which READY comes once the counter has passed the mark: what the clock remembers
/// of another probe, the quiet after a start, the frames of a join and one for the store.
const COMES: u32 = (MEMORY + QUIET + 2 + 2) as u32;

impl Joins<'_> {
    /// Slots until READY comes beyond those in which the counter passes the mark.
    fn ready_comes(&self, join: &Join, anew: bool, path: &mut Vec<Choice>) -> Result<u32, Broken> {
        path.clear();
        let mut join = join.clone();
        let mut go = |join: &mut Join, choice| {
            path.push(choice);
            *join = self.step(join, choice)?;
            Ok(())
        };
        if anew {
            go(&mut join, Choice::Restart)?;
        }
        let floor = join.link.floor();
        let waits = if floor.boot == FIRST + u32::from(join.start) {
            floor.slot.saturating_sub(join.slot)
        } else {
            0
        };
        for slots in 0..=waits as u32 + COMES {
            go(&mut join, Choice::Slot { endless: true })?;
            for _ in 0..2 {
                if join.slot >= QUIET {
                    let heard = Choice::Hear {
                        start: join.start,
                        slot: join.slot,
                        late: false,
                    };
                    go(&mut join, heard)?;
                }
                while join.writing.is_some() {
                    go(&mut join, Choice::Finish)?;
                }
                if join.link.want().is_some() {
                    go(&mut join, Choice::Begin)?;
                }
            }
            if join.decision.ready {
                return Ok(slots.saturating_sub(waits as u32));
            }
        }
        Err(Broken {
            rule: "J4 returns",
            what: "ready does not come on a perfect channel".to_owned(),
        })
    }
}

impl Joins<'_> {
    /// What no longer matters to one value.
    fn forget(&self, join: &mut Join, ticks: u64) {
        let now = Instant::from_ticks(NOW + ticks);
        // Only a frame of the present slot fits, or of the one before.
        let present = join.link.slots().present(now).unwrap_or(1);
        let oldest = present.saturating_sub(u64::from(self.plan.late)).max(1);
        join.link = join.link.moved(
            &self.config,
            Zero {
                ticks,
                slots: 0,
                number: 0,
                oldest,
                about: About::Store,
            },
        );
        join.link.slots_mut().move_zero(ticks);
        join.fresh &= join.link.slots().present(now).is_some();
        let shown = join.decision.at(now);
        let valid_until = shown
            .valid_until
            .map(|until| Instant::from_ticks(until.ticks() - ticks));
        join.decision = Decision {
            valid_until,
            ..shown
        };
    }
}
