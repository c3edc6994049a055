//! Messages of the service cable: any bytes get an answer, what is read seals to the very same bytes, and both sides
//! take any messages in any order. The first byte chooses how often a good check sum is put in.
#![no_main]

use libfuzzer_sys::fuzz_target;
use trueonset::frame::crc16;
use trueonset::pairing::{
    Board, KeyWrite, Message, OscillatorKind, PairingConfig, Probe, Terms, CONFIRMATION_AT, DRAW,
    KEY_RECORD, MESSAGE,
};
use trueonset::playout::{EdgeRemarks, PlayedEdge};
use trueonset::time::{Instant, TickRate};

type Memory = [[u8; KEY_RECORD]; 2];

const ERASED: [u8; KEY_RECORD] = [0xFF; KEY_RECORD];

fn store(memory: &mut Memory, write: &KeyWrite) {
    match write {
        KeyWrite::Store { place, record } => memory[usize::from(*place)] = *record.bytes(),
        KeyWrite::Confirm { place, word } => {
            memory[usize::from(*place)][CONFIRMATION_AT..].copy_from_slice(word);
        }
        KeyWrite::Erase { place } => memory[usize::from(*place)] = ERASED,
    }
}

const TERMS: Terms = Terms {
    slot_ns: 1_000_000,
    beat_slots: 5,
    oscillator: OscillatorKind::Crystal,
    plan_check: 0x1234,
};

fuzz_target!(|data: &[u8]| {
    let Some((&choice, rest)) = data.split_first() else {
        return;
    };
    let rate = TickRate::from_hz(1_000).expect("not 0");
    let config = PairingConfig::new(rate).expect("fast enough");
    let (mut boards, mut probes): (Memory, Memory) = ([ERASED; 2], [ERASED; 2]);
    let mut board = Board::start([&boards[0], &boards[1]]);
    let mut probe = Probe::start(7, [&probes[0], &probes[1]]);
    probe.booted(1);
    let mut now = 0;
    for chunk in rest.chunks_exact(MESSAGE + 2) {
        let (how, bytes) = chunk.split_at(2);
        let mut bytes: [u8; MESSAGE] = bytes.try_into().expect("as long");
        if choice & 1 == 0 {
            bytes[0] = 0x10 | bytes[0] & 7;
            let crc = crc16(&bytes[..MESSAGE - 2]).to_be_bytes();
            bytes[MESSAGE - 2..].copy_from_slice(&crc);
        }
        if let Ok(again) = Message::again(&bytes) {
            assert_eq!(again.bytes(), &bytes);
        }
        now += u64::from(how[1]) * 50;
        let at = Instant::from_ticks(now);
        match how[0] % 8 {
            0 => board.button(&config, at, how[0] & 8 == 0),
            1 => board.cable(&config, at, how[0] & 8 == 0),
            2 => probe.cable(how[0] & 8 == 0),
            3 => probe.edge(&config, at, how[0] & 8 == 0),
            4 => {
                let edge = PlayedEdge {
                    number: how[1],
                    touched: how[0] & 8 == 0,
                    onset: (how[0] & 16 == 0).then_some(at),
                    bound: 0,
                    remarks: EdgeRemarks::NONE,
                };
                board.edge(&config, at, how[0] >> 7, &edge);
            }
            _ => {}
        }
        let offered = probe.hear(&bytes).unwrap_or_default();
        if let Some(write) = offered.or_else(|| probe.want()) {
            store(&mut probes, &write);
            probe.written([&probes[0], &probes[1]]);
        }
        if let Some(answer) = probe.say() {
            board.hear(&config, at, answer.bytes()).expect("of a probe");
        }
        let _ = board.hear(&config, at, &bytes);
        let mut random = [0; DRAW];
        random.copy_from_slice(&bytes[..DRAW]);
        if let Some(write) = board
            .draw(&random, TERMS, |_| true)
            .ok()
            .or_else(|| board.want())
        {
            store(&mut boards, &write);
            board.written(&config, at, [&boards[0], &boards[1]]);
        }
        if let Some(said) = board.say(&config, at, [&boards[0], &boards[1]]) {
            let again = Message::again(said.bytes()).expect("of a board");
            assert_eq!(again.bytes(), said.bytes());
        }
    }
});
