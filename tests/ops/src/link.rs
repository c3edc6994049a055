//! A probe and a board over bad air: frames whole, damaged, twice and foreign; polls, re-arm, starts.

use core::fmt::Write;

use trueonset::battery::{BatteryState, Reasons};
use trueonset::checked;
use trueonset::clock::{Clock, ClockConfig, Oscillator, Source};
use trueonset::frame::{crc16, Key, Mark, Quality, Sealed, SlowValue, FRAME};
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::health::Health;
use trueonset::lines::{Causes, Form, Outputs, OutputsConfig, Pins};
use trueonset::link::{LinkConfig, LinkPlan, Stored, RECORD};
use trueonset::receiver::{Receiver, ReceiverConfig};
use trueonset::time::{Instant, TickRate};

use crate::{tell, Draw};

const ID: u16 = 0x0DD;
const PROBE_HZ: u32 = 8_000_000;
const BOARD_HZ: u32 = 16_000_000;
const LEAD: u32 = PROBE_HZ / 5_000;
const MS: u64 = BOARD_HZ as u64 / 1_000;

const PROBE_RATE: TickRate = checked!(TickRate::from_hz(PROBE_HZ));
const BOARD_RATE: TickRate = checked!(TickRate::from_hz(BOARD_HZ));
const HEAD: HeadConfig = checked!(HeadConfig::new(PROBE_RATE, ID, &LinkPlan::INFRARED));
const LINK: LinkConfig = checked!(LinkConfig::new(BOARD_RATE, LinkPlan::INFRARED));
const CLOCK: ClockConfig = checked!(ClockConfig::new(
    BOARD_RATE,
    LinkPlan::INFRARED.slot_ns,
    Oscillator::CRYSTAL
));
const PROBE: ReceiverConfig = checked!(ReceiverConfig::new(&LINK, ID, CLOCK));
const OUTPUTS: OutputsConfig = checked!(OutputsConfig::new(BOARD_RATE, Form::Levels, 1_000_000));
const CELLS: BatteryState = BatteryState {
    charge_uah: (400_000, 900_000),
    usable_uah: (300_000, 800_000),
    lasts_s: (0, 0),
    milliohms: None,
    reasons: Reasons::NONE,
};
/// Good for this course only.
const KEY: [u8; 16] = *b"drawn operations";

/// Both sides and what lies between them.
pub(crate) struct Room {
    /// Ticks of the probe; those of the board follow from them.
    probe: u64,
    /// The board's newest look at its timer.
    board: u64,
    head: Head,
    flash: [[u8; RECORD]; 2],
    status: HeadStatus,
    touched: bool,
    receiver: Receiver,
    records: [[u8; RECORD]; 2],
    outputs: Outputs,
    pins: Pins,
    wire: bool,
    silent_until: u64,
    newest: (Instant, [u8; FRAME]),
    clock: Clock,
    slot: u64,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        let probe = draw.sized64() >> 24;
        let mut flash = [Waking::paired(&HEAD); 2];
        let records = [Mark::default().record(ID); 2];
        let now = Instant::from_ticks(probe);
        Self {
            probe,
            board: on_board(probe),
            head: waken(&mut flash, now, false),
            flash,
            status: HeadStatus::default(),
            touched: false,
            receiver: receiver(&records),
            records,
            outputs: Outputs::new(),
            pins: Pins::default(),
            wire: false,
            silent_until: 0,
            newest: (now, [0; FRAME]),
            clock: Clock::start(&CLOCK, 0, now),
            slot: 0,
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        match draw.below(64) {
            0 => self.seldom(draw, told),
            1 => self.status(draw),
            2..=3 => self.touch(draw, told),
            4 => self.rearm(draw, told),
            5..=6 => self.foreign(draw, told),
            7..=9 => self.clock(draw, told),
            10..=26 => self.pass(draw, told),
            _ => self.slot(draw, told),
        }
        self.write();
    }

    fn now(&self) -> Instant {
        Instant::from_ticks(self.board)
    }

    /// The probe sleeps until its next frame, which goes over the air; then the board passes.
    fn slot(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let wake = self.head.wake(&HEAD, Instant::from_ticks(self.probe), LEAD);
        self.probe = wake.ticks().max(self.probe);
        let sent = self.head.make(&HEAD, wake, LEAD);
        tell!(told, sent);
        if let Some((begin, frame)) = sent {
            let arrival = on_board(begin.ticks()) + u64::from(draw.below(5));
            self.newest = (Instant::from_ticks(arrival), frame);
            self.air(draw, told, frame);
        }
        self.pass(draw, told);
    }

    fn air(&mut self, draw: &mut Draw, told: &mut impl Write, mut frame: [u8; FRAME]) {
        let arrival = self.newest.0;
        if draw.one_in(32) || arrival.ticks() < self.silent_until {
            return;
        }
        if draw.one_in(48) {
            let at = draw.below(FRAME as u32) as usize;
            if let Some(byte) = frame.get_mut(at) {
                *byte ^= 1 << draw.below(8);
            }
        }
        self.hear(told, arrival, &frame);
        if draw.one_in(48) {
            self.hear(told, arrival, &frame);
        }
    }

    fn hear(&mut self, told: &mut impl Write, arrival: Instant, frame: &[u8; FRAME]) {
        // Handed over when it is complete, half a millisecond later.
        self.board = self.board.max(arrival.ticks() + MS / 2);
        tell!(told, self.receiver.frame(&LINK, self.now(), arrival, frame));
    }

    fn foreign(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let mut frame: [u8; FRAME] = draw.bytes();
        match draw.below(4) {
            0 => {}
            1 => frame[..2].copy_from_slice(&ID.to_be_bytes()),
            // Whole, and of whatever probe.
            2 => {
                let said = frame.split_at_mut(FRAME - 2);
                said.1.copy_from_slice(&crc16(said.0).to_be_bytes());
            }
            // Heard again later.
            _ if draw.one_in(64) => frame = self.newest.1,
            _ => return,
        }
        tell!(told, Sealed::parse(&frame).is_ok());
        let arrival = Instant::from_ticks(self.board.saturating_sub(MS / 2));
        self.hear(told, arrival, &frame);
    }

    /// A pass of the board's loop, some of them late.
    fn pass(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let due = self.receiver.deadline(&LINK).map_or(0, Instant::ticks);
        let ahead = on_board(self.probe);
        let next = match draw.below(4) {
            0 if due > self.board => due.min(ahead),
            1 => self.board + u64::from(draw.below(MS as u32 / 10)),
            _ => self.board,
        };
        self.board = self.board.max(next.min(ahead + MS));
        let now = self.now();
        while let Some(edge) = self.receiver.poll(&LINK, now) {
            tell!(told, edge);
        }
        let seen = if draw.one_in(2_000) {
            Pins::default()
        } else {
            self.pins
        };
        if let Some(cause) = self.outputs.read_back(&OUTPUTS, seen, now) {
            self.receiver.latch(cause);
        }
        let vitals = self.receiver.vitals(&LINK, now);
        let health = Health::of(self.receiver.causes(), draw.one_in(2_000)).link(&vitals);
        let hours = if draw.one_in(500) { 1 } else { 20 };
        let cells = BatteryState {
            lasts_s: (hours * 3_600, 40 * 3_600),
            ..CELLS
        };
        let health = health.battery(&cells, 8 * 3_600);
        let decision = health.gate(self.receiver.lines(&LINK, now));
        let set = self.outputs.set(&OUTPUTS, decision, now);
        self.pins = set.pins;
        tell!(told, decision, set, self.receiver.deadline(&LINK));
        if draw.one_in(64) {
            tell!(told, vitals, health, self.receiver.counts());
            tell!(told, self.receiver.newest(), self.receiver.grade());
            tell!(told, self.receiver.falls_per_1000_h(&LINK));
        }
    }

    fn touch(&mut self, draw: &mut Draw, told: &mut impl Write) {
        // Mostly as far apart as a probe must keep them.
        let apart = draw.of([0_u64, 14_000, 40_000, 400_000]);
        self.probe += apart;
        let onset = self.probe.saturating_sub(u64::from(draw.below(9_000)));
        self.touched = self.touched == draw.one_in(32);
        let quality = draw.of([Quality::Clean, Quality::Bounced, Quality::Doubtful]);
        let onset = Instant::from_ticks(onset);
        let taken = self.head.edge(&HEAD, onset, self.touched, quality);
        tell!(told, taken, self.head.touched());
        self.status.fault = self.head.touched() != self.touched;
        self.head.set_status(self.status);
    }

    fn status(&mut self, draw: &mut Draw) {
        self.status.signs.measuring = !draw.one_in(64);
        self.status.between = draw.one_in(8);
        self.status.fault = draw.one_in(64);
        self.head.set_status(self.status);
        self.head.set_slow(match draw.below(3) {
            0 => SlowValue::RestMillivolts(draw.below(4_000) as u16),
            1 => SlowValue::LoadedMillivolts(draw.below(4_000) as u16),
            _ => SlowValue::Other(draw.below(16) as u8, draw.any32() as u16),
        });
    }

    fn rearm(&mut self, draw: &mut Draw, told: &mut impl Write) {
        self.wire = !self.wire;
        tell!(
            told,
            self.receiver.rearm(&LINK, self.now(), self.wire.into())
        );
        if draw.one_in(512) {
            self.receiver
                .latch(draw.of([Causes::READ_BACK, Causes::TIME]));
            tell!(told, self.receiver.causes());
        }
    }

    fn seldom(&mut self, draw: &mut Draw, told: &mut impl Write) {
        match draw.below(512) {
            // An outage.
            0..=40 => self.silent_until = on_board(self.probe) + MS * u64::from(draw.below(300)),
            // The probe starts anew, its battery changed.
            41..=50 => {
                self.probe += u64::from(draw.below(PROBE_HZ));
                let now = Instant::from_ticks(self.probe);
                self.head = waken(&mut self.flash, now, self.touched);
                tell!(told, self.head.boot());
            }
            // The board does, with what it has stored.
            51 => {
                if draw.yes() {
                    let write = self.receiver.close(&LINK);
                    tell!(told, write.is_some());
                }
                self.write();
                self.receiver = receiver(&self.records);
                self.outputs = Outputs::new();
                self.pins = Pins::default();
            }
            // A rest of seconds.
            52..=59 => self.probe += u64::from(draw.below(PROBE_HZ)) * 4,
            _ => tell!(told, self.receiver.state(), self.receiver.causes()),
        }
    }

    /// What the board wants to be durable becomes so.
    fn write(&mut self) {
        if let Some(write) = self.receiver.want() {
            let record = write.mark.record(ID);
            if let Some(place) = self.records.get_mut(usize::from(write.place)) {
                *place = record;
            }
            if write.both {
                self.records = [record; 2];
            }
            self.receiver.stored(write.mark);
        }
    }

    /// A clock of its own, that sees what no receiver would let through.
    fn clock(&mut self, draw: &mut Draw, told: &mut impl Write) {
        self.slot += draw.of([1_u64, 1, 5, 5, 5, 700]);
        let off = if draw.one_in(64) {
            draw.about(90_000)
        } else {
            draw.about(6)
        };
        // The probe's crystal is 30 ppm slow.
        let true_begin = self.slot * 16_000 + self.slot * 480 / 1_000;
        let arrival = Instant::from_ticks(true_begin.saturating_add_signed(off));
        tell!(told, self.clock.update(&CLOCK, self.slot, arrival));
        let ahead = self.slot + u64::from(draw.below(50));
        tell!(
            told,
            self.clock.predict(&CLOCK, ahead),
            self.clock.rate_ppb(&CLOCK)
        );
        tell!(
            told,
            self.clock.slack(&CLOCK, ahead),
            self.clock.gate(&CLOCK, ahead)
        );
        tell!(
            told,
            self.clock.nearest(ahead as u16, arrival),
            self.clock.begins(ahead)
        );
        if draw.one_in(2_000) {
            tell!(
                told,
                self.clock.out_of_tolerance(&CLOCK),
                self.clock.locked(&CLOCK)
            );
            let source = CLOCK.presuming(Source::Minima);
            let begin = Instant::from_ticks(self.slot * 16_000);
            self.clock = Clock::start(&source, self.slot, begin);
        }
    }
}

/// The board's tick at a tick of the probe, whose crystal is 18 ppm fast.
fn on_board(probe: u64) -> u64 {
    probe.saturating_mul(2) - probe / 1_000_000 * 36
}

fn receiver(records: &[[u8; RECORD]; 2]) -> Receiver {
    let [one, other] = records;
    let stored = Stored::read(&LINK, [one, other], ID);
    Receiver::new(&PROBE, key(), stored)
}

fn key() -> Key {
    const MADE: Key = checked!(Key::new(KEY));
    MADE
}

/// The number of this start is made durable first; a new pairing follows where none is left.
fn waken(flash: &mut [[u8; RECORD]; 2], now: Instant, touched: bool) -> Head {
    loop {
        let [one, other] = &*flash;
        if let Some(waking) = Waking::read(&HEAD, [one, other]) {
            let (place, record) = waking.write();
            if let Some(place) = flash.get_mut(usize::from(place)) {
                *place = record;
            }
            let [one, other] = &*flash;
            if let Ok(counted) = waking.stored([one, other]) {
                return counted.head(key(), now, touched);
            }
        }
        *flash = [Waking::paired(&HEAD); 2];
    }
}
