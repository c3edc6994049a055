//! The procedure with both sides of the link as they are shipped: records, marks, frames, edges.

use super::super::*;
use super::bench::{keys, random, store, Memory, ERASED, TERMS, UNIT};
use crate::clock::ClockConfig;
use crate::frame::{Key, Mark, Quality};
use crate::head::{Head, HeadConfig, HeadStatus, Waking};
use crate::link::{LinkConfig, LinkPlan, Stored, RECORD};
use crate::receiver::{Receiver, ReceiverConfig};
use crate::time::{Instant, TickRate};

const MS: u64 = 8_000;

fn rate() -> TickRate {
    TickRate::from_hz(8_000_000).unwrap()
}

/// Records of marks or starts, two to each place of a key.
type Marks = [[[u8; RECORD]; 2]; 2];

/// A board with its receivers, and a probe with its head.
struct Whole {
    config: PairingConfig,
    link: LinkConfig,
    board: Board,
    probe: Probe,
    keys: (Memory, Memory),
    marks: Marks,
    starts: Marks,
    head: Option<(Head, HeadConfig)>,
    /// The receiver, and the place of its key.
    receiver: Option<(Receiver, u8)>,
    now: u64,
    slot: u64,
    /// What the lines said at the end of the last pass.
    ready: bool,
}

impl Whole {
    fn new() -> Self {
        let memory = [ERASED; 2];
        Self {
            config: PairingConfig::new(rate()).unwrap(),
            link: LinkConfig::new(rate(), LinkPlan::INFRARED).unwrap(),
            board: Board::start([&memory[0], &memory[1]]),
            probe: Probe::start(UNIT, [&memory[0], &memory[1]]),
            keys: (memory, memory),
            marks: [[[0xFF; RECORD]; 2]; 2],
            starts: [[[0xFF; RECORD]; 2]; 2],
            head: None,
            receiver: None,
            now: 1_000 * MS,
            slot: 0,
            ready: false,
        }
    }

    fn at(&self) -> Instant {
        Instant::from_ticks(self.now)
    }

    /// The probe starts, as its firmware does.
    fn start_probe(&mut self) {
        let memory = self.keys.1;
        self.probe = Probe::start(UNIT, [&memory[0], &memory[1]]);
        self.head = None;
        let Some(place) = self.probe.place().map(usize::from) else {
            return;
        };
        let Paired { key, id, terms } = Paired::of_record(&memory[place]).unwrap();
        let plan = LinkPlan {
            slot_ns: terms.slot_ns,
            beat_slots: terms.beat_slots,
            ..LinkPlan::INFRARED
        };
        let config = HeadConfig::new(rate(), id, &plan).unwrap();
        let [one, other] = &self.starts[place];
        let waking = Waking::read(&config, [one, other]).unwrap();
        let (at, record) = waking.write();
        self.starts[place][usize::from(at)] = record;
        let (_, record) = waking.write();
        let Ok(counted) = waking.stored([&record, &record]) else {
            panic!()
        };
        let mut head = counted.head(key, self.at(), false);
        let mut status = HeadStatus::default();
        status.signs.measuring = true;
        head.set_status(status);
        self.probe.booted(head.boot());
        self.head = Some((head, config));
        self.slot = 0;
    }

    fn write_probe(&mut self, write: &KeyWrite) {
        if let KeyWrite::Store { place, record } = write {
            let id = Paired::of_record(record.bytes()).unwrap().id;
            let config = HeadConfig::new(rate(), id, &LinkPlan::INFRARED).unwrap();
            self.starts[usize::from(*place)] = [Waking::paired(&config); 2];
        }
        store(&mut self.keys.1, write);
        let memory = self.keys.1;
        self.probe.written([&memory[0], &memory[1]]);
    }

    fn write_board(&mut self, write: &KeyWrite) {
        store(&mut self.keys.0, write);
        let (memory, at) = (self.keys.0, self.at());
        self.board
            .written(&self.config, at, [&memory[0], &memory[1]]);
    }

    /// The receiver of the key on trial, or of the one in use.
    fn listen(&mut self) {
        let trial = self.board.trial();
        let wanted = trial.map(|trial| trial.place).or(self.board.place());
        if self.receiver.as_ref().map(|(_, place)| *place) == wanted {
            return;
        }
        self.receiver = None;
        let Some(place) = wanted else {
            return;
        };
        let Paired { key, id, terms } =
            Paired::of_record(&self.keys.0[usize::from(place)]).unwrap();
        let marks = &mut self.marks[usize::from(place)];
        if let Some(trial) = trial {
            *marks = [trial.since.record(id); 2];
        }
        let stored = Stored::read(&self.link, [&marks[0], &marks[1]], id);
        let oscillator = terms.oscillator.oscillator();
        let clock = ClockConfig::new(rate(), terms.slot_ns, oscillator).unwrap();
        let probe = ReceiverConfig::new(&self.link, id, clock).unwrap();
        self.receiver = Some((Receiver::new(&probe, key, stored), place));
    }

    /// Half a millisecond of both main loops.
    fn pass(&mut self) {
        self.now += MS / 2;
        let at = self.at();
        if let Some(write) = self.probe.want() {
            self.write_probe(&write);
        }
        self.board.poll(&self.config, at);
        if self.board.wants_draw() {
            let drawn = self.board.draw(&random(3), TERMS, |_| true).unwrap();
            self.write_board(&drawn);
        }
        if let Some(write) = self.board.want() {
            self.write_board(&write);
        }
        let memory = self.keys.0;
        if let Some(said) = self.board.say(&self.config, at, [&memory[0], &memory[1]]) {
            if let Some(write) = self.probe.hear(said.bytes()).unwrap() {
                self.write_probe(&write);
            }
            if let Some(answer) = self.probe.say() {
                self.board.hear(&self.config, at, answer.bytes()).unwrap();
            }
        }
        self.listen();
        self.air();
        let receiver = self.receiver.as_mut();
        let lines = receiver.map(|(receiver, _)| receiver.lines(&self.link, at));
        self.ready = !self.board.is_stop() && lines.is_some_and(|lines| lines.ready);
    }

    /// What the head sends by now, and what the receiver makes of it.
    fn air(&mut self) {
        let at = self.at();
        let Some((head, config)) = self.head.as_ref().filter(|_| self.probe.may_send()) else {
            return;
        };
        let next = head.next(config, self.slot);
        let begin = head.begin(config, next);
        let frame = (begin <= at).then(|| head.frame(config, next));
        if frame.is_some() {
            self.slot = next;
        }
        let Some((receiver, place)) = &mut self.receiver else {
            return;
        };
        if let Some(bytes) = frame {
            let taken = receiver.frame(&self.link, at, begin, &bytes);
            self.board.frame(&self.config, at, *place, taken);
        }
        if let Some(write) = receiver.want() {
            let id = Paired::of_record(&self.keys.0[usize::from(*place)])
                .unwrap()
                .id;
            let marks = &mut self.marks[usize::from(*place)];
            marks[usize::from(write.place)] = write.mark.record(id);
            if write.both {
                *marks = [write.mark.record(id); 2];
            }
            receiver.stored(write.mark);
        }
        while let Some(edge) = receiver.poll(&self.link, at) {
            self.board.edge(&self.config, at, *place, &edge);
        }
    }

    fn run(&mut self, ms: u64) {
        for _ in 0..2 * ms {
            self.pass();
        }
    }

    fn button(&mut self, down: bool) {
        let at = self.at();
        self.board.button(&self.config, at, down);
    }

    fn cable(&mut self, plugged: bool) {
        let at = self.at();
        self.board.cable(&self.config, at, plugged);
        self.probe.cable(plugged);
        if self.probe.must_restart() {
            self.start_probe();
        }
    }

    fn touch(&mut self, touched: bool) {
        let at = self.at();
        if let Some((head, config)) = &mut self.head {
            head.edge(config, at, touched, Quality::Clean).unwrap();
        }
        self.probe.edge(&self.config, at, touched);
        self.run(400);
    }
}

#[test]
fn a_probe_is_paired_touched_and_ready_and_what_was_sent_before_does_not_count() {
    let mut whole = Whole::new();
    whole.start_probe();
    whole.button(false);
    whole.button(true);
    whole.run(5_001);
    whole.button(false);
    assert_eq!(whole.board.lamp(), Lamp::Slow);
    whole.cable(true);
    whole.run(500);
    let trial = whole.board.trial().unwrap();
    let since = Mark {
        boot: 0,
        slot: Mark::LAST_SLOT,
    };
    assert_eq!((trial.place, trial.since), (0, since));
    whole.cable(false);
    assert_eq!(whole.head.as_ref().map(|(head, _)| head.boot()), Some(1));
    whole.run(600);
    assert_eq!(whole.board.lamp(), Lamp::Fast);
    for touched in [true, false, true] {
        whole.touch(touched);
    }
    assert_eq!(whole.board.lamp(), Lamp::Fast);
    whole.touch(false);
    assert_eq!(whole.board.lamp(), Lamp::Steady);
    assert!(!whole.ready);
    whole.button(true);
    whole.run(2);
    assert_eq!(whole.board.ended(), Some(End::Committed));
    assert!(whole.ready);
    assert_eq!(keys(&whole.keys.0), keys(&whole.keys.1));
    // Both lose their power, and find each other again without any of this.
    let memory = whole.keys.0;
    whole.board = Board::start([&memory[0], &memory[1]]);
    whole.receiver = None;
    whole.run(2);
    assert!(!whole.ready);
    whole.start_probe();
    whole.run(600);
    assert!(whole.ready && whole.board.lamp() == Lamp::Off);
    // A start of the probe from before is not one any more.
    let Paired { key, .. } = Paired::of_record(&whole.keys.0[0]).unwrap();
    assert!(old_hello_is_refused(&mut whole, &key));
}

/// A hello of the first start, sent anew.
fn old_hello_is_refused(whole: &mut Whole, key: &Key) -> bool {
    let id = Paired::of_record(&whole.keys.0[0]).unwrap().id;
    let hello = crate::frame::Report {
        kind: crate::frame::Kind::Hello,
        contact: crate::frame::Contact::Open,
        signs: crate::frame::Signs::default(),
        number: 0,
        quality: Quality::Clean,
        age_125ns: None,
        slow: None,
    };
    let bytes = hello.seal(key, id, Mark { boot: 1, slot: 900 });
    let at = whole.at();
    let before = whole
        .receiver
        .as_ref()
        .map(|(receiver, _)| receiver.counts().accepted);
    if let Some((receiver, _)) = &mut whole.receiver {
        let _ = receiver.frame(&whole.link, at, at, &bytes);
    }
    whole
        .receiver
        .as_ref()
        .map(|(receiver, _)| receiver.counts().accepted)
        == before
}
