//! A board, a probe, the cable between them and both memories.

use super::super::*;
use crate::frame::{Key, Mark};
use crate::link::Outcome;
use crate::playout::{EdgeRemarks, PlayedEdge};
use crate::receiver::Taken;
use crate::time::{Instant, TickRate};

/// Ticks in a second.
pub(super) const S: u64 = 1_000;
pub(super) const UNIT: u64 = 0x0102_0304_0506_0708;
pub(super) const TERMS: Terms = Terms {
    slot_ns: 1_000_000,
    beat_slots: 5,
    oscillator: OscillatorKind::Crystal,
    plan_check: 0x1234,
};
pub(super) const ERASED: [u8; KEY_RECORD] = [0xFF; KEY_RECORD];
pub(super) const HEARD: Taken = Taken::Genuine(Outcome::Joining);

/// Bytes as drawn.
pub(super) fn random(seed: usize) -> [u8; DRAW] {
    core::array::from_fn(|k| (seed * (k + 3)) as u8)
}

pub(super) type Memory = [[u8; KEY_RECORD]; 2];

pub(super) fn config() -> PairingConfig {
    PairingConfig::new(TickRate::from_hz(S as u32).unwrap()).unwrap()
}

/// An edge that left when it happened.
pub(super) fn played(at: Instant, touched: bool) -> PlayedEdge {
    PlayedEdge {
        number: u8::from(touched),
        touched,
        onset: Some(at),
        bound: 0,
        remarks: EdgeRemarks::NONE,
    }
}

/// Does what is asked of a memory, up to byte `cut` of it.
pub(super) fn store_cut(memory: &mut Memory, write: &KeyWrite, cut: usize) {
    let (place, at, bytes): (u8, usize, &[u8]) = match write {
        KeyWrite::Store { place, record } => (*place, 0, record.bytes()),
        KeyWrite::Confirm { place, word } => (*place, CONFIRMATION_AT, word),
        KeyWrite::Erase { place } => (*place, 0, &ERASED),
    };
    let to = &mut memory[usize::from(place)][at..at + bytes.len()];
    let cut = cut.min(bytes.len());
    to[..cut].copy_from_slice(&bytes[..cut]);
}

pub(super) fn store(memory: &mut Memory, write: &KeyWrite) {
    store_cut(memory, write, KEY_RECORD);
}

/// Checks of the keys in a memory, and whether each is confirmed.
pub(super) fn keys(memory: &Memory) -> [Option<(u32, bool)>; 2] {
    let places = super::super::record::Places::read([&memory[0], &memory[1]]);
    [0, 1].map(|place| places.sound(place).map(|seen| (seen.check, seen.confirmed)))
}

pub(super) struct Bench {
    pub(super) board: Board,
    pub(super) probe: Probe,
    pub(super) board_memory: Memory,
    pub(super) probe_memory: Memory,
    pub(super) now: u64,
    pub(super) boot: u32,
    pub(super) unit: u64,
    /// Random bytes of the next draw.
    pub(super) random: [u8; DRAW],
    /// Whether each memory takes what it is given.
    pub(super) board_writes: bool,
    pub(super) probe_writes: bool,
}

impl Bench {
    /// As they leave the factory.
    pub(super) fn new() -> Self {
        let memory = [ERASED; 2];
        let mut probe = Probe::start(UNIT, [&memory[0], &memory[1]]);
        probe.booted(1);
        Self {
            board: Board::start([&memory[0], &memory[1]]),
            probe,
            board_memory: memory,
            probe_memory: memory,
            now: 0,
            boot: 1,
            unit: UNIT,
            random: random(7),
            board_writes: true,
            probe_writes: true,
        }
    }

    /// Paired with the first key, after the probe's second start.
    pub(super) fn paired() -> Self {
        let mut bench = Self::new();
        bench.pair();
        bench.restart_probe();
        bench.random = random(11);
        bench
    }

    pub(super) fn at(&self) -> Instant {
        Instant::from_ticks(self.now)
    }

    pub(super) fn board_power(&mut self) {
        let [one, other] = &self.board_memory;
        self.board = Board::start([one, other]);
        self.settle();
    }

    pub(super) fn restart_probe(&mut self) {
        let [one, other] = &self.probe_memory;
        self.probe = Probe::start(self.unit, [one, other]);
        self.boot += 1;
        self.probe.booted(self.boot);
        self.settle();
    }

    /// Writes and messages until nothing more comes.
    pub(super) fn settle(&mut self) {
        let config = config();
        for _ in 0..40 {
            let now = self.at();
            self.board.poll(&config, now);
            if self.board.wants_draw() {
                let random = self.random;
                if let Ok(write) = self.board.draw(&random, TERMS, |_| true) {
                    self.board_write(&write);
                }
            }
            if let Some(write) = self.board.want() {
                self.board_write(&write);
            }
            if let Some(write) = self.probe.want() {
                self.probe_write(&write);
            }
            let [one, other] = &self.board_memory;
            if let Some(message) = self.board.say(&config, now, [one, other]) {
                if let Some(write) = self.probe.hear(message.bytes()).unwrap() {
                    self.probe_write(&write);
                }
                if let Some(write) = self.probe.want() {
                    self.probe_write(&write);
                }
                if let Some(answer) = self.probe.say() {
                    self.board.hear(&config, now, answer.bytes()).unwrap();
                }
            }
        }
    }

    fn board_write(&mut self, write: &KeyWrite) {
        if self.board_writes {
            store(&mut self.board_memory, write);
        }
        let now = self.at();
        let [one, other] = &self.board_memory;
        self.board.written(&config(), now, [one, other]);
    }

    fn probe_write(&mut self, write: &KeyWrite) {
        if self.probe_writes {
            store(&mut self.probe_memory, write);
        }
        let [one, other] = &self.probe_memory;
        self.probe.written([one, other]);
    }

    pub(super) fn pass(&mut self, ticks: u64) {
        self.now += ticks;
        self.settle();
    }

    pub(super) fn button(&mut self, down: bool) {
        self.board
            .button(&config(), Instant::from_ticks(self.now), down);
        self.settle();
    }

    pub(super) fn hold(&mut self) {
        self.button(false);
        self.button(true);
        self.pass(5 * S);
        self.button(false);
    }

    pub(super) fn cable(&mut self, plugged: bool) {
        self.board
            .cable(&config(), Instant::from_ticks(self.now), plugged);
        self.probe.cable(plugged);
        self.settle();
        if self.probe.must_restart() {
            self.restart_probe();
        }
    }

    /// Frames of the probe, heard by whichever receiver has its key.
    pub(super) fn frames(&mut self, count: usize) {
        for _ in 0..count {
            self.now += 5;
            if let Some(place) = self.heard_by() {
                self.board.frame(&config(), self.at(), place, HEARD);
            }
        }
        self.settle();
    }

    pub(super) fn edge(&mut self, touched: bool) {
        self.edge_after(300, touched);
    }

    /// An edge so many ticks after the one before.
    pub(super) fn edge_after(&mut self, ticks: u64, touched: bool) {
        self.now += ticks;
        let heard = self.heard_by();
        let at = self.at();
        self.probe.edge(&config(), at, touched);
        if let Some(place) = heard {
            self.board.edge(&config(), at, place, &played(at, touched));
        }
        self.settle();
    }

    /// Place of the board's key under which the probe sends, if the board listens there.
    fn heard_by(&self) -> Option<u8> {
        let place = self.probe.place().filter(|_| self.probe.may_send())?;
        let sent = keys(&self.probe_memory)[usize::from(place)]?.0;
        let trial = self.board.trial();
        let listens = [trial.map(|trial| trial.place), self.board.place()];
        listens.into_iter().flatten().find(|place| {
            let after = trial.filter(|trial| trial.place == *place);
            let new = after.is_none_or(|trial| self.boot > trial.since.boot);
            new && keys(&self.board_memory)[usize::from(*place)].is_some_and(|key| key.0 == sent)
        })
    }

    pub(super) fn touch_twice(&mut self) {
        for touched in [true, false, true, false] {
            self.edge(touched);
        }
    }

    /// All of the procedure.
    pub(super) fn pair(&mut self) {
        self.hold();
        self.cable(true);
        self.cable(false);
        self.frames(8);
        self.touch_twice();
        self.button(true);
        self.button(false);
    }

    /// The check that a draw comes to.
    pub(super) fn check_of(random: &[u8; DRAW]) -> u32 {
        let [key @ .., _, _] = *random;
        Key::new(key).unwrap_or_else(|_| panic!()).check()
    }

    pub(super) fn last_boot() -> u32 {
        Mark::LAST_BOOT
    }
}
