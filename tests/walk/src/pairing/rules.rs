//! The rules, judged by what the memories hold and what was done.

use trueonset::pairing::{Lamp, Probe};

use super::choice::Choice;
use super::memory::{KeyNumber, Memory};
use super::plan::{Plan, HOLD};
use super::{unit, Pair, FOREIGN};
use crate::walk::{broken, Broken};

/// Edges as they came, as far back as two touches may begin with them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Row {
    key: KeyNumber,
    /// Each with the ticks since the one before, up to the longest that is asked for.
    edges: Vec<(bool, u64)>,
    /// Ticks since the newest, likewise.
    since: u64,
    /// Two touches in a row were among them.
    done: bool,
    /// The button went down after that, with the cable out.
    pressed: bool,
}

impl Row {
    const TWO_TOUCHES: [bool; 4] = [true, false, true, false];

    pub(super) fn clear(&mut self) {
        *self = Self::default();
    }

    /// What comes after a press takes nothing back.
    pub(super) fn cable_moved(&mut self) {
        if !self.pressed {
            self.clear();
        }
    }

    /// A tick passes.
    fn pass(&mut self, plan: &Plan) {
        if !self.done && !self.edges.is_empty() {
            self.since = (self.since + 1).min(plan.touch.max(plan.apart));
        }
    }

    pub(super) fn edge(&mut self, plan: &Plan, key: KeyNumber, touched: bool) {
        if self.key != key {
            self.clear();
            self.key = key;
        }
        if !self.done {
            self.edges.push((touched, self.since));
            self.since = 0;
            while !self.may_begin_two_touches(plan) {
                self.edges.remove(0);
            }
            self.done = self.edges.len() == Self::TWO_TOUCHES.len();
        }
    }

    fn may_begin_two_touches(&self, plan: &Plan) -> bool {
        let asked = Self::TWO_TOUCHES.into_iter().zip(plan.before());
        let mut pairs = self.edges.iter().zip(asked).enumerate();
        pairs.all(|(at, ((touched, since), (expected, least)))| {
            *touched == expected && (at == 0 || *since >= least)
        })
    }
}

/// What was done, beside what both sides know.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Truth {
    /// Edges that the board heard under the key on trial.
    pub(super) row: Row,
    /// How long the button is held, outside a window.
    held: Option<u64>,
    /// What is left of the window.
    window: Option<u64>,
    /// Of each probe: edges sent since its start, the key under which it was touched twice in an
    /// earlier one, and whether it was given up for another.
    pub(super) sent: Vec<Row>,
    touched: Vec<Option<KeyNumber>>,
    given_up: Vec<bool>,
}

impl Truth {
    pub(super) fn begin(pair: &Pair) -> Self {
        let probes = pair.probes.len();
        Self {
            sent: vec![Row::default(); probes],
            touched: vec![None; probes],
            given_up: vec![false; probes],
            ..Self::default()
        }
    }

    /// The board has started anew.
    pub(super) fn power_lost(&mut self) {
        self.row.clear();
        self.held = None;
        self.window = None;
    }

    pub(super) fn probe_started(&mut self, number: usize) {
        if self.sent[number].done {
            self.touched[number] = Some(self.sent[number].key);
        }
        self.sent[number].clear();
    }
}

/// The key that a probe with that memory would start with.
fn newest(number: usize, memory: &Memory) -> Option<KeyNumber> {
    let place = Probe::start(unit(number), memory.records()).place()?;
    memory.key(place)
}

/// Follows what was done, and judges it.
pub(super) fn judge(
    plan: &Plan,
    before: &Pair,
    pair: &mut Pair,
    choice: Choice,
) -> Result<(), Broken> {
    follow(plan, before, pair, choice)?;
    memories(before, pair, choice)?;
    for number in 0..pair.probes.len() {
        probe(before, pair, number, choice)?;
    }
    lines(pair)?;
    forget(pair);
    Ok(())
}

/// What cannot matter any more.
fn forget(pair: &mut Pair) {
    if pair.board.trial().is_none_or(|trial| trial.since.boot == 0) {
        for side in &mut pair.probes {
            side.boot = 1;
            side.probe.booted(1);
        }
    }
    if pair.board.trial().is_none() && pair.board.want().is_none() {
        pair.truth.row.clear();
    }
    let truth = &mut pair.truth;
    for (number, side) in pair.probes.iter().enumerate() {
        let newest = newest(number, &side.memory);
        // Nothing older is left to be erased.
        if side.memory.all().count() < 2 || truth.touched[number] != newest {
            truth.touched[number] = None;
        }
        let used = side.probe.place().and_then(|place| side.memory.key(place));
        if side.memory.all().count() < 2 || used != newest {
            truth.sent[number].clear();
        }
    }
}

/// Button, hold and window.
fn follow(plan: &Plan, before: &Pair, pair: &mut Pair, choice: Choice) -> Result<(), Broken> {
    let (trial_before, trial) = (before.board.trial(), pair.board.trial());
    if trial_before.is_none() && trial.is_some() {
        pair.truth.row.clear();
    }
    let plugged = pair.plugged.is_some();
    let truth = &mut pair.truth;
    if choice == Choice::Button {
        let rose = pair.button;
        truth.held = (rose && truth.window.is_none()).then_some(0);
        truth.row.pressed |= rose && truth.row.done && !plugged;
    }
    if choice == Choice::Tick {
        for row in truth.sent.iter_mut().chain([&mut truth.row]) {
            row.pass(plan);
        }
        truth.window = truth.window.map(|left| left.saturating_sub(1));
        truth.held = truth.held.map(|ticks| ticks + 1);
        let is_busy = before.board.want().is_some() || before.board.lamp() == Lamp::Fault;
        if truth.held.is_some_and(|ticks| ticks >= HOLD) {
            truth.held = None;
            truth.window = (!is_busy).then_some(plan.window());
        }
    }
    let is_open = |lamp| matches!(lamp, Lamp::Slow | Lamp::Fast | Lamp::Steady);
    let opened = pair.board.lamp() == Lamp::Slow && !is_open(before.board.lamp());
    if opened && truth.window.is_none() {
        return broken("C2 hold", "a window is open without a hold");
    }
    if truth.window == Some(0) {
        truth.window = None;
        let waits = is_open(pair.board.lamp());
        let writes = pair.board.want().is_some();
        if trial.is_some() || pair.board.wants_draw() || waits && !writes {
            return broken("C3 time over", "the window is over, and the board waits on");
        }
    }
    let pressed = choice == Choice::Button && trial_before.is_some() && trial.is_none();
    if pressed || pair.board.ended().is_some() {
        truth.window = None;
    }
    Ok(())
}

fn lines(pair: &Pair) -> Result<(), Broken> {
    let stop = pair.board.is_stop();
    if !stop {
        at_work(pair)?;
    }
    if stop == (pair.board.lamp() == Lamp::Off) {
        return broken("L3 says so", "lamp and stop do not go together");
    }
    Ok(())
}

/// The lines are the receiver's.
fn at_work(pair: &Pair) -> Result<(), Broken> {
    if pair.truth.window.is_some() {
        return broken(
            "L1 at stop",
            "the window is open, and the lines are not at stop",
        );
    }
    let keys = pair.memory.keys();
    let alone = keys.iter().flatten().count() == 1;
    let Some(key) = pair.memory.confirmed().next().filter(|_| alone) else {
        return broken("L2 open is stop", format!("not at stop with {keys:?}"));
    };
    if !pair.probes.iter().any(|side| side.memory.has(key)) {
        return broken(
            "K1 in common",
            "the board works with a key that no probe has",
        );
    }
    Ok(())
}

/// What has become of the board's keys.
fn memories(before: &Pair, pair: &mut Pair, choice: Choice) -> Result<(), Broken> {
    let (old, new) = (&before.memory, &pair.memory);
    for key in new
        .confirmed()
        .filter(|key| old.open().any(|open| open == *key))
    {
        let row = &before.truth.row;
        if !(row.done && row.pressed && row.key == key) {
            return broken(
                "C1 commit",
                "confirmed without two touches and a press after them",
            );
        }
        for (given_up, side) in pair.truth.given_up.iter_mut().zip(&pair.probes) {
            *given_up = !side.memory.has(key);
        }
    }
    for key in old.confirmed().filter(|key| !new.has(*key)) {
        if new.confirmed().all(|other| other == key) {
            return broken(
                "E1 board erases",
                "the confirmed key is gone, and none beside it",
            );
        }
    }
    for key in old.open().filter(|key| !new.has(*key)) {
        let anew = matches!(choice, Choice::Draw(_));
        for (given_up, side) in pair.truth.given_up.iter_mut().zip(&pair.probes) {
            if side.memory.has(key) && !anew {
                return broken("K4 dropped together", "forgotten, and a probe still has it");
            }
            *given_up |= side.memory.has(key);
        }
    }
    Ok(())
}

/// What has become of a probe's keys.
fn probe(before: &Pair, pair: &Pair, number: usize, choice: Choice) -> Result<(), Broken> {
    let (old, new) = (&before.probes[number].memory, &pair.probes[number].memory);
    let side = &pair.probes[number];
    let stored = new.all().find(|key| !old.has(*key));
    if stored.is_some_and(|key| !before.memory.has(key)) {
        return broken(
            "K3 stored first",
            "a probe has a key that the board had not stored",
        );
    }
    for key in old.all().filter(|key| !new.has(*key)) {
        let was_newest = newest(number, old) == Some(key);
        let at_start = matches!(choice, Choice::ProbeWrites(..));
        let proved = pair.truth.touched[number] == newest(number, old);
        if !was_newest && at_start && !proved {
            return broken(
                "E2 probe erases",
                "the old key is gone before two touches and a start",
            );
        }
        if was_newest && (at_start || stored.is_some()) {
            return broken(
                "E2 probe erases",
                "the newest key is gone without a word to drop it",
            );
        }
    }
    if old.confirmed().next().is_some() && new.all().next().is_none() {
        return broken("K2 no one without", "a probe has lost its last key");
    }
    let at_home = number > 0 && new.has(FOREIGN);
    let in_common = new.all().any(|key| pair.memory.has(key));
    let any = new.all().next().is_some();
    if any && !pair.truth.given_up[number] && !at_home && !in_common {
        return broken("K1 in common", "a probe has no key that its board has");
    }
    if side.probe.may_send() && (side.sends().is_none() || side.sends() != newest(number, new)) {
        return broken(
            "S1 sends",
            "a probe sends under a key that is not its newest",
        );
    }
    Ok(())
}
