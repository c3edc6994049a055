//! Pairing: both sides of it joined by the cable, over the shipping code.
//!
//! | rule | what it says |
//! |---|---|
//! | K1 in common | while a pairing is under way probe and board have a key in common, and a board that is not at stop uses a key that a probe has |
//! | K2 no one without | a probe always has a key once it had one, and one that its board has |
//! | K3 stored first | a probe is given nothing that the board has not stored |
//! | K4 dropped together | the board forgets an unconfirmed key only after every probe has, or for a new one |
//! | L1 at stop | both lines stay at stop from the end of the hold to the end of the pairing |
//! | L2 open is stop | a board with two keys, or one unconfirmed, is at stop |
//! | L3 says so | the lamp is off exactly where the board is not at stop |
//! | C1 commit | the board confirms only after touch, release, touch, release under the new key in a row, none too short or too soon, and a press that began after them |
//! | C2 hold | a window opens only after a hold that began with a rise |
//! | C3 time over | after the window nothing is on trial and nothing is drawn |
//! | E1 board erases | a confirmed key leaves the board only beside another confirmed one |
//! | E2 probe erases | an old key leaves a probe only at a start, after two touches under the new one in an earlier start |
//! | S1 sends | a probe sends only under the newest key that it has stored |
//! | R1 returns | undisturbed, the procedure leads to work from everywhere |

mod choice;
mod faults;
mod memory;
mod plan;
mod rules;
mod way;

pub(crate) use choice::Choice;
pub(crate) use faults::FAULTS;
pub(crate) use plan::{Plan, ALL};

use choice::{Answer, Exchange};
use memory::{KeyNumber, Memory, Wrote};
use plan::HOLD;
use rules::Truth;
use trueonset::frame::crc16;
use trueonset::link::Outcome;
use trueonset::pairing::{
    Board, KeyWrite, OscillatorKind, PairingConfig, Probe, Terms, DRAW, MESSAGE,
};
use trueonset::playout::{EdgeRemarks, PlayedEdge};
use trueonset::receiver::Taken;
use trueonset::time::Instant;

use crate::walk::{Broken, Rules};

/// The present, always.
const NOW: Instant = Instant::from_ticks(64);
/// The next tick.
const THEN: Instant = Instant::from_ticks(65);

/// A walk through pairings.
pub(crate) struct Pairings<'a> {
    plan: &'a Plan,
    config: PairingConfig,
    begin: Pair,
}

/// A probe and its memory.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Side {
    probe: Probe,
    memory: Memory,
    /// Number of this start, 1 or 2: no two that follow each other are alike.
    boot: u32,
    touched: bool,
}

/// A state.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Pair {
    board: Board,
    memory: Memory,
    probes: Vec<Side>,
    /// The probe on the cable.
    plugged: Option<u8>,
    button: bool,
    /// An answer that is still on its way, by how many messages it is too old.
    late: Option<([u8; MESSAGE], u8)>,
    draws: u8,
    losses: u8,
    refusals: u8,
    spoilt: u8,
    truth: Truth,
}

/// Unit number of a probe.
fn unit(probe: usize) -> u64 {
    probe as u64 + 1
}

/// Random bytes that make the key of that number.
fn random(number: KeyNumber) -> [u8; DRAW] {
    let mut random = *b"key and its number";
    random[0] = number;
    random[DRAW - 1] = number;
    random
}

const TERMS: Terms = Terms {
    slot_ns: 1_000_000,
    beat_slots: 5,
    oscillator: OscillatorKind::Crystal,
    plan_check: 0x1234,
};

/// Keys before the first that a walk draws: of the board, of another board.
const FIRST: KeyNumber = 1;
const FOREIGN: KeyNumber = 2;
const DRAWN: KeyNumber = 3;

impl Side {
    fn start(number: usize, memory: Memory, boot: u32) -> Self {
        let mut probe = Probe::start(unit(number), memory.records());
        probe.booted(boot);
        Self {
            probe,
            memory,
            boot,
            touched: false,
        }
    }

    fn restart(&mut self, number: usize) {
        *self = Self::start(number, self.memory, 3 - self.boot);
    }

    /// The key under which it sends, if it may.
    fn sends(&self) -> Option<KeyNumber> {
        let place = self.probe.place().filter(|_| self.probe.may_send())?;
        self.memory.key(place)
    }
}

impl<'a> Pairings<'a> {
    pub(crate) fn new(plan: &'a Plan) -> Result<Self, String> {
        let mut all = Self {
            plan,
            config: PairingConfig::of_ticks(HOLD, plan.window(), 1, plan.touch, plan.apart),
            begin: Self::blank(),
        };
        let begin = &mut all.begin;
        begin.board.button(&all.config, NOW, begin.button);
        let paired = |key| {
            let way = way::pair(&all, &all.begin, key, &mut Vec::new());
            way.map_err(|why| format!("{}: {}", why.rule, why.what))
        };
        let own = paired(FIRST)?;
        let mut begin = if plan.paired { own } else { all.begin.clone() };
        if plan.second {
            let foreign = paired(FOREIGN)?;
            let memory = foreign.probes.first().ok_or("no probe")?.memory;
            begin.probes.push(Side::start(1, memory, 1));
        }
        begin.draws = 0;
        begin.truth = Truth::begin(&begin);
        all.begin = begin;
        Ok(all)
    }

    /// A board and a probe without keys.
    fn blank() -> Pair {
        let memory = Memory::BLANK;
        let mut pair = Pair {
            board: Board::start(memory.records()),
            memory,
            probes: vec![Side::start(0, memory, 1)],
            plugged: None,
            button: false,
            late: None,
            draws: 0,
            losses: 0,
            refusals: 0,
            spoilt: 0,
            truth: Truth::default(),
        };
        pair.truth = Truth::begin(&pair);
        pair
    }

    /// A write of the board's.
    fn board_writes(&self, pair: &mut Pair, write: &KeyWrite, wrote: Wrote) {
        pair.memory.write(write, wrote);
        if wrote.loses_power() {
            self.board_starts(pair);
        } else {
            let records = pair.memory.records();
            pair.board.written(&self.config, NOW, records);
        }
        pair.refusals += u8::from(wrote == Wrote::Refused);
        pair.losses += u8::from(wrote.loses_power());
    }

    fn board_starts(&self, pair: &mut Pair) {
        pair.board = Board::start(pair.memory.records());
        pair.late = None;
        // The main loop reads both inputs at once.
        pair.board.button(&self.config, NOW, pair.button);
        pair.board.cable(&self.config, NOW, pair.plugged.is_some());
        pair.truth.power_lost();
    }

    fn probe_writes(pair: &mut Pair, number: usize, write: &KeyWrite, wrote: Wrote) {
        let plugged = pair.plugged == Some(number as u8);
        let side = &mut pair.probes[number];
        side.memory.write(write, wrote);
        if wrote.loses_power() {
            Self::probe_starts(pair, number);
        } else {
            side.probe.written(side.memory.records());
            if side.probe.must_restart() && !plugged {
                Self::probe_starts(pair, number);
            }
        }
        pair.refusals += u8::from(wrote == Wrote::Refused);
        pair.losses += u8::from(wrote.loses_power());
    }

    fn probe_starts(pair: &mut Pair, number: usize) {
        let plugged = pair.plugged == Some(number as u8);
        let side = &mut pair.probes[number];
        side.restart(number);
        side.probe.cable(plugged);
        pair.truth.probe_started(number);
    }

    fn cable(&self, pair: &mut Pair, to: Option<u8>) {
        if let Some(from) = pair.plugged.take().map(usize::from) {
            pair.probes[from].probe.cable(false);
            if pair.probes[from].probe.must_restart() {
                Self::probe_starts(pair, from);
            }
        }
        pair.plugged = to;
        pair.late = None;
        if let Some(to) = to {
            pair.probes[usize::from(to)].probe.cable(true);
        }
        pair.board.cable(&self.config, NOW, to.is_some());
        pair.truth.row.cable_moved();
    }

    /// A message of the board and the answer to it.
    fn exchange(&self, pair: &mut Pair, exchange: Exchange) {
        let records = pair.memory.records();
        let said = pair.board.say(&self.config, NOW, records);
        let (Some(said), Some(number)) = (said, pair.plugged.map(usize::from)) else {
            return;
        };
        // What is late gets later with each message.
        pair.late = pair.late.map(|(bytes, by)| (bytes, by + 1));
        pair.late = pair.late.filter(|(_, by)| *by < 3);
        let mut bytes = *said.bytes();
        if exchange.answer == Answer::NoneHeard {
            bytes[7] ^= 0x10;
        }
        let side = &mut pair.probes[number];
        let stored = side.probe.hear(&bytes).unwrap_or_default();
        if let Some(write) = stored.or_else(|| side.probe.want()) {
            Self::probe_writes(pair, number, &write, exchange.wrote);
        }
        let Some(answer) = pair.probes[number].probe.say() else {
            return;
        };
        let mut bytes = *answer.bytes();
        match exchange.answer {
            Answer::Whole => {}
            Answer::Late => {
                pair.late = Some((bytes, 0));
                return;
            }
            Answer::Lost | Answer::NoneHeard => return,
            Answer::Damaged => bytes[11] ^= 1,
        }
        // Damaged bytes are refused, and nothing has changed.
        let _ = pair.board.hear(&self.config, NOW, &bytes);
    }

    /// The late answer arrives.
    fn arrives(&self, pair: &mut Pair) {
        if let Some((mut bytes, by)) = pair.late.take() {
            bytes[1] = pair.board.turn().wrapping_sub(by);
            let crc = crc16(&bytes[..MESSAGE - 2]).to_be_bytes();
            bytes[MESSAGE - 2..].copy_from_slice(&crc);
            let _ = pair.board.hear(&self.config, NOW, &bytes);
        }
    }

    /// The place of the board's receiver that hears the probe.
    fn hears(pair: &Pair, number: usize) -> Option<u8> {
        let side = &pair.probes[number];
        let sent = side.sends()?;
        if let Some(trial) = pair.board.trial() {
            let new = side.boot != trial.since.boot;
            if new && pair.memory.key(trial.place) == Some(sent) {
                return Some(trial.place);
            }
        }
        let place = pair.board.place()?;
        (pair.memory.key(place) == Some(sent)).then_some(place)
    }

    fn frames(&self, pair: &mut Pair, number: usize) {
        let heard = Taken::Genuine(Outcome::Joining);
        if let Some(place) = Self::hears(pair, number) {
            for _ in 0..8 {
                pair.board.frame(&self.config, NOW, place, heard);
            }
        }
    }

    fn edge(&self, pair: &mut Pair, number: usize, heard: bool) {
        let hears = Self::hears(pair, number);
        pair.spoilt += u8::from(hears.is_some() && !heard);
        let hears = hears.filter(|_| heard);
        let sent = pair.probes[number].sends();
        let side = &mut pair.probes[number];
        side.touched = !side.touched;
        let touched = side.touched;
        side.probe.edge(&self.config, NOW, touched);
        if let Some(key) = sent {
            pair.truth.sent[number].edge(self.plan, key, touched);
        }
        if let Some(place) = hears {
            let played = PlayedEdge {
                number: u8::from(touched),
                touched,
                onset: Some(NOW),
                bound: 0,
                remarks: EdgeRemarks::NONE,
            };
            pair.board.edge(&self.config, NOW, place, &played);
            let is_new = pair.board.trial().is_some_and(|trial| trial.place == place);
            if let (true, Some(key)) = (is_new, sent) {
                pair.truth.row.edge(self.plan, key, touched);
            }
        }
    }

    fn act(&self, pair: &mut Pair, choice: Choice) {
        match choice {
            // The main loop reads the button, whether it moved or not.
            Choice::Tick => pair.board.button(&self.config, THEN, pair.button),
            Choice::Button => {
                pair.button = !pair.button;
                pair.board.button(&self.config, NOW, pair.button);
            }
            Choice::Cable(to) => self.cable(pair, to),
            Choice::Exchange(exchange) => {
                pair.spoilt += u8::from(exchange.answer != Answer::Whole);
                self.exchange(pair, exchange);
            }
            Choice::Arrives => self.arrives(pair),
            Choice::Draw(wrote) => {
                let number = DRAWN.wrapping_add(pair.draws);
                self.draw(pair, number, wrote);
            }
            Choice::BoardWrites(wrote) => {
                if let Some(write) = pair.board.want() {
                    self.board_writes(pair, &write, wrote);
                }
            }
            Choice::ProbeWrites(number, wrote) => {
                let number = usize::from(number);
                if let Some(write) = pair.probes[number].probe.want() {
                    Self::probe_writes(pair, number, &write, wrote);
                }
            }
            Choice::Frames(number) => self.frames(pair, usize::from(number)),
            Choice::Edge(number, heard) => self.edge(pair, usize::from(number), heard),
            Choice::BoardStarts => {
                pair.losses += 1;
                self.board_starts(pair);
            }
            Choice::ProbeStarts(number) => {
                pair.losses += 1;
                Self::probe_starts(pair, usize::from(number));
            }
        }
    }

    fn draw(&self, pair: &mut Pair, number: KeyNumber, wrote: Wrote) {
        if let Ok(write) = pair.board.draw(&random(number), TERMS, |_| true) {
            pair.draws = pair.draws.wrapping_add(1);
            self.board_writes(pair, &write, wrote);
        }
    }
}

impl Rules for Pairings<'_> {
    type World = Pair;
    type Choice = Choice;

    fn start(&self) -> Pair {
        self.begin.clone()
    }

    fn choices(&self, pair: &Pair) -> Vec<Choice> {
        self.all(pair)
    }

    fn step(&self, before: &Pair, choice: Choice) -> Result<Pair, Broken> {
        let mut pair = before.clone();
        self.act(&mut pair, choice);
        rules::judge(self.plan, before, &mut pair, choice)?;
        let (ticks, now) = if choice == Choice::Tick {
            (1, THEN)
        } else {
            (0, NOW)
        };
        pair.board = pair.board.moved(&self.config, ticks);
        for side in &mut pair.probes {
            side.probe = side.probe.moved(&self.config, ticks, now);
        }
        Ok(pair)
    }

    /// With everything undisturbed, the procedure from its beginning.
    fn recovers(&self, pair: &Pair, path: &mut Vec<Choice>) -> Result<u32, Broken> {
        way::back(self, pair, path)
    }
}
