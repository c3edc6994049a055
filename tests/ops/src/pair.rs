//! A pairing over a cable that loses and changes messages, with power cut in the middle of writes.

use core::fmt::Write;

use trueonset::link::Outcome;
use trueonset::pairing::{
    Board, KeyWrite, OscillatorKind, Paired, PairingConfig, Probe, Terms, CONFIRMATION_AT,
    KEY_RECORD, MESSAGE,
};
use trueonset::receiver::Taken;
use trueonset::time::{Instant, TickRate};

use crate::{tell, Draw};

type Flash = [[u8; KEY_RECORD]; 2];

/// Both sides.
pub(crate) struct Room {
    now: u64,
    config: Option<PairingConfig>,
    board: (Board, Flash),
    probe: (Probe, Flash),
    phase: u32,
    boot: u32,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        let rate = TickRate::from_hz(1_000_000).unwrap_or(TickRate::NANOSECONDS);
        let blank = [[0xFF; KEY_RECORD]; 2];
        let [one, other] = &blank;
        Self {
            now: draw.sized64() >> 2,
            config: PairingConfig::new(rate).ok(),
            board: (Board::start([one, other]), blank),
            probe: (Probe::start(7, [one, other]), blank),
            phase: 0,
            boot: 0,
        }
    }

    /// The next step of a pairing as a person does it, or something else.
    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let Some(config) = self.config else {
            return;
        };
        self.phase = if draw.one_in(12) {
            draw.below(12)
        } else {
            (self.phase + 1) % 12
        };
        match self.phase {
            0 | 3 => self.button(&config, false),
            1 | 9 => self.button(&config, true),
            // Held for so long, or not.
            2 => self.now += draw.of([5_100_000_u64, 5_100_000, 400_000]),
            4 => self.cable(&config, true),
            5 => self.cable(&config, false),
            6 if self.probe.0.must_restart() || draw.one_in(4) => self.restart(),
            7 => self.frames(&config, draw),
            8 => self.touches(&config, draw),
            10 if draw.one_in(16) => {
                let [one, other] = &self.board.1;
                self.board.0 = Board::start([one, other]);
            }
            11 => self.now += u64::from(draw.below(40_000_000)),
            _ => {}
        }
        for _ in 0..6 {
            self.now += u64::from(draw.below(20_000));
            self.ask(draw, told);
            self.talk(&config, draw, told);
            self.write(&config, draw, told);
        }
        let board = &self.board.0;
        tell!(
            told,
            board.place(),
            board.trial(),
            board.is_stop(),
            board.lamp()
        );
        tell!(
            told,
            board.ended(),
            board.wants_draw(),
            board.deadline(&config)
        );
        let probe = &self.probe.0;
        tell!(told, probe.place(), probe.may_send(), probe.must_restart());
    }

    fn button(&mut self, config: &PairingConfig, down: bool) {
        let now = Instant::from_ticks(self.now);
        self.board.0.button(config, now, down);
    }

    fn cable(&mut self, config: &PairingConfig, plugged: bool) {
        let now = Instant::from_ticks(self.now);
        self.board.0.cable(config, now, plugged);
        self.probe.0.cable(plugged);
    }

    fn restart(&mut self) {
        let [one, other] = &self.probe.1;
        self.probe.0 = Probe::start(7, [one, other]);
        self.boot += 1;
        self.probe.0.booted(self.boot);
    }

    /// Under the new key, if there is one.
    fn place(&self) -> Option<u8> {
        let board = &self.board.0;
        board.trial().map(|trial| trial.place).or(board.place())
    }

    fn frames(&mut self, config: &PairingConfig, draw: &mut Draw) {
        let Some(place) = self.place() else {
            return;
        };
        for _ in 0..draw.below(12) {
            self.now += 5_000;
            let taken = Taken::Genuine(Outcome::Joining);
            self.board
                .0
                .frame(config, Instant::from_ticks(self.now), place, taken);
        }
    }

    fn touches(&mut self, config: &PairingConfig, draw: &mut Draw) {
        let Some(place) = self.place() else {
            return;
        };
        for touched in [true, false, true, false] {
            self.now += u64::from(draw.below(400_000));
            self.probe.0.edge(touched);
            self.board
                .0
                .edge(config, Instant::from_ticks(self.now), place, touched);
        }
    }

    /// A key is drawn where the board wants one.
    fn ask(&mut self, draw: &mut Draw, told: &mut impl Write) {
        if !self.board.0.wants_draw() {
            return;
        }
        let terms = Terms {
            slot_ns: 1_000_000,
            beat_slots: 5,
            oscillator: OscillatorKind::Crystal,
            plan_check: draw.of([0, 1]),
        };
        match self.board.0.draw(&draw.bytes(), terms, |id| id & 1 == 0) {
            Ok(write) => store(&mut self.board.1, &write, told),
            Err(why) => tell!(told, why),
        }
    }

    fn talk(&mut self, config: &PairingConfig, draw: &mut Draw, told: &mut impl Write) {
        let now = Instant::from_ticks(self.now);
        let ([one, other], (board, probe)) =
            (&self.board.1, (&mut self.board.0, &mut self.probe.0));
        if let Some(said) = board.say(config, now, [one, other]) {
            let mut bytes = *said.bytes();
            tell!(told, bytes);
            spoil(&mut bytes, draw);
            match probe.hear(&bytes) {
                Ok(Some(write)) => store(&mut self.probe.1, &write, told),
                Ok(None) => {}
                Err(why) => tell!(told, why),
            }
        }
        if let Some(said) = probe.say() {
            let mut bytes = *said.bytes();
            tell!(told, bytes);
            spoil(&mut bytes, draw);
            tell!(told, board.hear(config, now, &bytes));
        }
    }

    /// Whatever both want to keep, unless the power goes at that moment.
    fn write(&mut self, config: &PairingConfig, draw: &mut Draw, told: &mut impl Write) {
        if draw.one_in(200) {
            return;
        }
        if let Some(write) = self.board.0.want() {
            store(&mut self.board.1, &write, told);
        }
        let [one, other] = &self.board.1;
        let now = Instant::from_ticks(self.now);
        self.board.0.written(config, now, [one, other]);
        if let Some(write) = self.probe.0.want() {
            store(&mut self.probe.1, &write, told);
        }
        let [one, other] = &self.probe.1;
        self.probe.0.written([one, other]);
        for record in [one, other] {
            let kept = Paired::of_record(record);
            tell!(told, kept.map(|kept| (kept.id, kept.terms)));
        }
    }
}

fn spoil(bytes: &mut [u8; MESSAGE], draw: &mut Draw) {
    if draw.one_in(32) {
        let at = draw.below(MESSAGE as u32) as usize;
        if let Some(byte) = bytes.get_mut(at) {
            *byte ^= 1 << draw.below(8);
        }
    }
}

fn store(flash: &mut Flash, write: &KeyWrite, told: &mut impl Write) {
    let (place, at, bytes): (u8, usize, &[u8]) = match write {
        KeyWrite::Store { place, record } => (*place, 0, record.bytes()),
        KeyWrite::Confirm { place, word } => (*place, CONFIRMATION_AT, word),
        KeyWrite::Erase { place } => (*place, 0, &[0xFF; KEY_RECORD]),
    };
    tell!(told, place, bytes);
    if let Some(kept) = flash.get_mut(usize::from(place)) {
        for (kept, byte) in kept.iter_mut().skip(at).zip(bytes) {
            *kept = *byte;
        }
    }
}
