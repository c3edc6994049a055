//! Both sides of a pairing, every entry, with arguments that nobody knows.

use core::fmt::Write;
use core::hint::black_box;

use trueonset::link::Outcome;
use trueonset::pairing::{
    Board, KeyWrite, Lamp, OscillatorKind, Paired, PairingConfig, Probe, Terms, KEY_RECORD,
};
use trueonset::playout::{EdgeRemarks, PlayedEdge};
use trueonset::receiver::Taken;

use super::link::bytes;
use super::{any, any64, instant, rate, yes, Nowhere};

/// What a memory may read, and the lamp at any time.
struct Memory([[u8; KEY_RECORD]; 2]);

impl Memory {
    fn any() -> Self {
        Self([bytes(), bytes()])
    }

    fn records(&self) -> [&[u8; KEY_RECORD]; 2] {
        let [one, other] = &self.0;
        [one, other]
    }
}

fn terms() -> Terms {
    let oscillator = if yes() {
        OscillatorKind::Crystal
    } else {
        OscillatorKind::Rc
    };
    if yes() {
        return Terms::of_plan(&super::link::plan(), oscillator);
    }
    Terms {
        slot_ns: any(),
        beat_slots: any() as u16,
        oscillator,
        plan_check: any() as u16,
    }
}

fn look(write: Option<&KeyWrite>) {
    match write {
        Some(KeyWrite::Store { place, record }) => {
            black_box((place, record.bytes()));
        }
        Some(KeyWrite::Confirm { place, word }) => {
            black_box((place, word));
        }
        Some(KeyWrite::Erase { place }) => {
            black_box(place);
        }
        None => {}
    }
}

/// All of it.
pub(crate) fn all() {
    match PairingConfig::new(rate()) {
        Ok(config) => {
            board(&config);
            probe(&config);
        }
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
    if let Some(paired) = Paired::of_record(&bytes()) {
        black_box((paired.id, paired.terms.oscillator.oscillator()));
    }
    let lamps = [
        Lamp::Off,
        Lamp::Slow,
        Lamp::Fast,
        Lamp::Steady,
        Lamp::Unfinished,
        Lamp::Fault,
    ];
    black_box(lamps[any() as usize % 6].is_lit(any64()));
}

fn board(config: &PairingConfig) {
    let mut board = Board::start(Memory::any().records());
    while any() != 0 {
        board.poll(config, instant());
        board.button(config, instant(), yes());
        board.cable(config, instant(), yes());
        if let Some(message) = board.say(config, instant(), Memory::any().records()) {
            black_box(message.bytes());
        }
        if let Err(why) = board.hear(config, instant(), &bytes()) {
            let _ = write!(Nowhere, "{why}");
        }
        black_box(terms().fits(&trueonset::link::LinkPlan::INFRARED));
        match board.draw(&bytes(), terms(), |id| u32::from(id) == any()) {
            Ok(write) => look(Some(&write)),
            Err(why) => {
                let _ = write!(Nowhere, "{why}");
            }
        }
        look(board.want().as_ref());
        board.written(config, instant(), Memory::any().records());
        let outcome = if yes() {
            Taken::Genuine(Outcome::Joining)
        } else {
            Taken::Damaged
        };
        board.frame(config, instant(), any() as u8, outcome);
        let edge = PlayedEdge {
            number: any() as u8,
            touched: yes(),
            onset: yes().then(instant),
            bound: any(),
            remarks: EdgeRemarks::NONE,
        };
        board.edge(config, instant(), any() as u8, &edge);
        black_box((board.place(), board.trial(), board.is_stop(), board.lamp()));
        black_box((board.ended(), board.wants_draw(), board.deadline(config)));
    }
}

fn probe(config: &PairingConfig) {
    let mut probe = Probe::start(any64(), Memory::any().records());
    while any() != 0 {
        probe.booted(any());
        probe.cable(yes());
        match probe.hear(&bytes()) {
            Ok(write) => look(write.as_ref()),
            Err(why) => {
                let _ = write!(Nowhere, "{why}");
            }
        }
        look(probe.want().as_ref());
        probe.written(Memory::any().records());
        if let Some(message) = probe.say() {
            black_box(message.bytes());
        }
        probe.edge(config, instant(), yes());
        black_box((probe.place(), probe.may_send(), probe.must_restart()));
    }
}
