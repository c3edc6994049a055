//! The device's side.

use crate::frame::{Collector, Frame};
use crate::item::Items;
use crate::machine::Machine;
use crate::message::{Answer, Refusal, Request};
use crate::report;
use crate::VERSION;

/// A device under test: bytes in, bytes out, no clock.
///
/// Give it every byte that comes and send what it hands back, before the next byte or from a queue:
/// the PC waits for an answer before it asks again.
#[derive(Clone, Debug)]
pub struct Device {
    collector: Collector,
    run: Option<Run>,
    /// The last answer to EDGES, and which it was to.
    took: Frame,
    took_from: Option<u32>,
    other: Frame,
    /// An answer has come in since the last request: its own, or another device's.
    looped: bool,
}

/// A log under way.
#[derive(Clone, Debug)]
struct Run {
    machine: Machine,
    taken: u32,
}

impl Device {
    /// A device that nobody has asked anything yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            collector: Collector::new(),
            run: None,
            took: Frame::empty(),
            took_from: None,
            other: Frame::empty(),
            looped: false,
        }
    }

    /// A byte has come; what is to be sent, if anything.
    pub fn byte(&mut self, byte: u8) -> Option<&[u8]> {
        let body = self.collector.byte(byte)?;
        if body.is_ok_and(|body| body.first().is_some_and(|kind| kind & Answer::KIND != 0)) {
            // To answer an answer would never end.
            self.looped = true;
            return None;
        }
        let looped = body.is_ok() && core::mem::take(&mut self.looped);
        let answer = match body.map(|body| (Request::parse(body), body)) {
            Err(_) => Answer::Again,
            Ok((Some(Request::Hello { run, .. }), _)) => {
                self.run = None;
                self.took_from = None;
                Answer::Hello {
                    version: VERSION,
                    run,
                    release: RELEASE,
                }
            }
            Ok(_) if looped => Refused(Refusal::Looped, 0, 0).answer(),
            Ok((Some(Request::Edges { from, base, items }), _)) => {
                if self.took_from != Some(from) {
                    match edges(&mut self.run, from, Items::new(base, items)) {
                        Ok((took, taken)) => {
                            self.took = took;
                            self.took_from = (taken > 0).then_some(from);
                        }
                        Err(why) => return Some(self.other(&why)),
                    }
                }
                return Some(self.took.bytes());
            }
            Ok((Some(Request::Settings(settings)), _)) => match Machine::new(&settings) {
                Ok(machine) => {
                    self.run = Some(Run { machine, taken: 0 });
                    self.took_from = None;
                    Answer::Settings
                }
                Err(why) => Refused(Refusal::Settings, 0, why.number()).answer(),
            },
            Ok((Some(Request::End { items }), _)) => end(self.run.as_ref(), items),
            Ok((None, body)) => {
                Refused(Refusal::Unknown, 0, body.first().copied().unwrap_or(0)).answer()
            }
        };
        self.other = Frame::of(answer.body().all());
        Some(self.other.bytes())
    }

    fn other(&mut self, why: &Refused) -> &[u8] {
        self.other = Frame::of(why.answer().body().all());
        self.other.bytes()
    }
}

impl Default for Device {
    fn default() -> Self {
        Self::new()
    }
}

/// Why nothing was taken, at which item, and more of it.
struct Refused(Refusal, u32, u8);

impl Refused {
    const fn answer(&self) -> Answer<'static> {
        Answer::Refused {
            why: self.0,
            item: self.1,
            detail: self.2,
        }
    }
}

/// Where an answer to EDGES has the number of items taken.
const TAKEN: usize = 5;

/// Takes items as long as their reports find room in the answer; how many.
fn edges(run: &mut Option<Run>, from: u32, items: Items<'_>) -> Result<(Frame, u8), Refused> {
    let Some(run) = run else {
        return Err(Refused(Refusal::NotStarted, from, 0));
    };
    if from != run.taken {
        return Err(Refused(Refusal::OutOfStep, run.taken, 0));
    }
    let took = Answer::Took {
        from,
        taken: 0,
        reports: &[],
    };
    let mut bytes = took.body();
    let mut taken = 0_u8;
    for item in items {
        if taken == u8::MAX || bytes.left() < report::LONGEST {
            break;
        }
        let said = item.and_then(|item| Some((item, run.machine.take(&item).ok()?)));
        let Some((item, said)) = said else {
            // What came before it is taken and told; the next request meets it again, and first.
            if taken > 0 {
                break;
            }
            return Err(Refused(Refusal::Item, from, 0));
        };
        if let Some(event) = said {
            report::push(taken, item.line, &event, &mut bytes);
        }
        taken += 1;
    }
    run.taken = run.taken.wrapping_add(u32::from(taken));
    bytes.set(TAKEN, taken);
    Ok((Frame::of(bytes.all()), taken))
}

fn end(run: Option<&Run>, items: u32) -> Answer<'static> {
    let Some(run) = run else {
        return Refused(Refusal::NotStarted, items, 0).answer();
    };
    if items != run.taken {
        return Refused(Refusal::OutOfStep, run.taken, 0).answer();
    }
    Answer::End {
        items,
        tallies: run.machine.tallies(),
    }
}

/// Release of the library, as its manifest has it.
const RELEASE: [u8; 3] = [
    number(env!("CARGO_PKG_VERSION_MAJOR")),
    number(env!("CARGO_PKG_VERSION_MINOR")),
    number(env!("CARGO_PKG_VERSION_PATCH")),
];

const fn number(digits: &str) -> u8 {
    match u8::from_str_radix(digits, 10) {
        Ok(number) => number,
        Err(_) => u8::MAX,
    }
}
