//! The procedure as it should go, from anywhere.

use super::choice::{Choice, Exchange};
use super::memory::{KeyNumber, Wrote};
use super::plan::HOLD;
use super::{Pair, Pairings, DRAWN};
use crate::walk::{Broken, Rules};

/// Goes step by step and keeps the way.
struct Walker<'a> {
    rules: &'a Pairings<'a>,
    pair: Pair,
    path: &'a mut Vec<Choice>,
}

impl Walker<'_> {
    fn go(&mut self, choice: Choice) -> Result<(), Broken> {
        self.path.push(choice);
        self.pair = self.rules.step(&self.pair, choice)?;
        Ok(())
    }

    /// All writes are done.
    fn write(&mut self) -> Result<(), Broken> {
        for _ in 0..8 {
            let probes = self.pair.probes.iter();
            let wants = probes
                .enumerate()
                .find(|(_, side)| side.probe.want().is_some())
                .map(|(number, _)| number as u8);
            if let Some(number) = wants {
                self.go(Choice::ProbeWrites(number, Wrote::Done))?;
            } else if self.pair.board.want().is_some() {
                self.go(Choice::BoardWrites(Wrote::Done))?;
            }
        }
        Ok(())
    }

    fn release(&mut self) -> Result<(), Broken> {
        if self.pair.button {
            self.go(Choice::Button)?;
        }
        Ok(())
    }

    /// The whole procedure, with the first probe.
    fn pair(&mut self, key: Option<KeyNumber>) -> Result<(), Broken> {
        self.release()?;
        self.go(Choice::Button)?;
        for _ in 0..HOLD {
            self.go(Choice::Tick)?;
        }
        self.release()?;
        self.go(Choice::Cable(Some(0)))?;
        for _ in 0..6 {
            if self.pair.board.wants_draw() {
                if let Some(key) = key {
                    self.pair.draws = key.wrapping_sub(DRAWN);
                }
                self.go(Choice::Draw(Wrote::Done))?;
            } else if self.pair.board.trial().is_none() {
                self.go(Choice::Exchange(Exchange::WHOLE))?;
            }
        }
        self.go(Choice::Cable(None))?;
        self.write()?;
        self.go(Choice::Frames(0))?;
        if self.pair.probes.first().is_some_and(|side| side.touched) {
            self.go(Choice::Edge(0, true))?;
        }
        for ticks in self.rules.plan.before() {
            for _ in 0..ticks {
                self.go(Choice::Tick)?;
            }
            self.go(Choice::Edge(0, true))?;
        }
        self.write()?;
        self.go(Choice::Button)?;
        self.write()?;
        self.release()
    }
}

/// A board and a probe after the procedure, in which that key was drawn.
pub(super) fn pair(
    rules: &Pairings<'_>,
    begin: &Pair,
    key: KeyNumber,
    path: &mut Vec<Choice>,
) -> Result<Pair, Broken> {
    let mut walker = Walker {
        rules,
        pair: begin.clone(),
        path,
    };
    walker.pair(Some(key))?;
    Ok(walker.pair)
}

/// Steps until the board works again.
pub(super) fn back(
    rules: &Pairings<'_>,
    pair: &Pair,
    path: &mut Vec<Choice>,
) -> Result<u32, Broken> {
    path.clear();
    let mut walker = Walker {
        rules,
        pair: pair.clone(),
        path,
    };
    walker.release()?;
    if walker.pair.plugged.is_some() {
        walker.go(Choice::Cable(None))?;
    }
    walker.write()?;
    for _ in 0..=rules.plan.window() {
        walker.go(Choice::Tick)?;
        walker.write()?;
    }
    if walker.pair.board.is_stop() {
        walker.pair(None)?;
    }
    let place = walker.pair.board.place();
    let key = place.and_then(|place| walker.pair.memory.key(place));
    let common = key.is_some_and(|key| walker.pair.probes.iter().any(|side| side.memory.has(key)));
    if walker.pair.board.is_stop() || !common {
        return Err(Broken {
            rule: "R1 returns",
            what: "undisturbed, the procedure does not lead to work".to_owned(),
        });
    }
    Ok(walker.path.len() as u32)
}
