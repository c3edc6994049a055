//! Messages of the cable.

use super::super::message::{Known, Said, Status};
use super::super::*;
use super::bench::TERMS;
use crate::drawn::numbers;
use crate::frame::crc16;

fn sealed(mut body: [u8; MESSAGE]) -> [u8; MESSAGE] {
    let crc = crc16(&body[..30]).to_be_bytes();
    body[30..].copy_from_slice(&crc);
    body
}

fn status(next: &mut impl FnMut() -> u64) -> Status {
    let known = |word: u64| Known {
        check: word as u32,
        confirmed: word >> 32 & 1 == 1,
    };
    let newest = (next() % 3 > 0).then(|| known(next()));
    Status {
        unit: next(),
        newest,
        other: newest.and_then(|_| (next() % 2 == 0).then_some(next() as u32)),
        boot: next() as u32 & 0xFF_FFFF,
    }
}

/// Bit by bit as the table of the module has it, by hand.
#[test]
fn the_layout_is_that_of_the_table() {
    let offer = Said::Offer(message::Offer {
        key: *b"sixteen byte key",
        id: 0x0ABC,
        terms: TERMS,
        check: 0,
    });
    let mut bytes = [0; MESSAGE];
    bytes[..2].copy_from_slice(&[0x12, 7]);
    bytes[2..18].copy_from_slice(b"sixteen byte key");
    // 1 000 000 ns are 0x000F4240.
    bytes[18..29].copy_from_slice(&[0x0A, 0xBC, 0x00, 0x0F, 0x42, 0x40, 0, 5, 1, 0x12, 0x34]);
    assert!(offer.message(7).bytes() == &sealed(bytes));
    let mut bytes = [0; MESSAGE];
    bytes[0] = 0x11;
    bytes[1] = 0xFE;
    assert!(Said::Ask.message(0xFE).bytes() == &sealed(bytes));
    let mut bytes = [0; MESSAGE];
    bytes[..6].copy_from_slice(&[0x13, 0, 1, 2, 3, 4]);
    assert!(Said::Drop(0x0102_0304).message(0).bytes() == &sealed(bytes));
    let status = Status {
        unit: 0x1122_3344_5566_7788,
        newest: Some(Known {
            check: 0xAABB_CCDD,
            confirmed: true,
        }),
        other: Some(0xEEFF_0011),
        boot: 0x12_3456,
    };
    let mut bytes = [0; MESSAGE];
    bytes[..2].copy_from_slice(&[0x14, 3]);
    bytes[2..10].copy_from_slice(&[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88]);
    bytes[10] = 0b111;
    bytes[11..22].copy_from_slice(&[
        0xAA, 0xBB, 0xCC, 0xDD, 0xEE, 0xFF, 0x00, 0x11, 0x12, 0x34, 0x56,
    ]);
    assert!(Said::Status(status).message(3).bytes() == &sealed(bytes));
}

#[test]
fn what_is_said_is_what_is_heard() {
    let mut next = numbers(21);
    for _ in 0..20_000 {
        let (turn, status) = (next() as u8, status(&mut next));
        let bytes = *Said::Status(status).message(turn).bytes();
        match Said::parse(&bytes) {
            Ok((heard, Said::Status(same))) => assert_eq!((heard, same), (turn, status)),
            _ => panic!("not a status"),
        }
        // Every single wrong bit, pair and triple of neighbours is found.
        let bit = (next() % 254) as usize;
        for width in 1..=3 {
            let mut wrong = bytes;
            for bit in bit..bit + width {
                if bit < 256 {
                    wrong[bit / 8] ^= 0x80 >> (bit % 8);
                }
            }
            assert_eq!(Said::parse(&wrong).err(), Some(MessageError::Crc));
        }
    }
}

/// Whatever is read seals to the very same bytes; anything else is refused.
#[test]
fn any_bytes_get_an_answer_and_what_is_read_is_sealed_alike() {
    let mut next = numbers(22);
    let mut read = [0; 5];
    for _ in 0..200_000 {
        let mut bytes = [0; MESSAGE];
        let kind = next() % 6;
        bytes[0] = 0x10 | kind as u8;
        bytes[1] = next() as u8;
        let drawn = if next() % 2 == 0 { 30 } else { 22 };
        for byte in &mut bytes[2..drawn] {
            // Often 0, as what is left out must be.
            *byte = if next() % 3 == 0 { next() as u8 } else { 0 };
        }
        if next() % 2 == 0 {
            bytes[10] &= 7;
            bytes[18] &= 15;
            bytes[20..28].copy_from_slice(&[0, 0x0F, 0x42, 0x40, 0, 5, 2, 0]);
        }
        if next() % 3 == 0 {
            bytes[4..30].fill(0);
        }
        let bytes = sealed(bytes);
        if let Ok((turn, said)) = Said::parse(&bytes) {
            assert!(said.message(turn).bytes() == &bytes, "{bytes:?}");
            read[kind as usize] += 1;
        }
    }
    assert!(
        read[0] == 0 && read[1..].iter().all(|count| *count > 500),
        "{read:?}"
    );
}

#[test]
fn each_error_has_its_name() {
    let error = |bytes: [u8; MESSAGE]| Said::parse(&sealed(bytes)).err();
    let mut bytes = [0; MESSAGE];
    assert_eq!(Said::parse(&bytes).err(), Some(MessageError::Crc));
    bytes[0] = 0x21;
    assert_eq!(error(bytes), Some(MessageError::Version));
    bytes[0] = 0x15;
    assert_eq!(error(bytes), Some(MessageError::Kind));
    bytes[0] = 0x11;
    assert_eq!(error(bytes), None);
    bytes[29] = 1;
    assert_eq!(error(bytes), Some(MessageError::Field));
    bytes[0] = 0x12;
    bytes[29] = 0;
    // No key, no number of slots.
    assert_eq!(error(bytes), Some(MessageError::Field));
    bytes[0] = 0x14;
    bytes[10] = 8;
    assert_eq!(error(bytes), Some(MessageError::Field));
    bytes[10] = 4;
    assert_eq!(error(bytes), Some(MessageError::Field));
    // Each side is told only what is for it.
    let memory = [[0xFF; KEY_RECORD]; 2];
    let mut probe = Probe::start(1, [&memory[0], &memory[1]]);
    let mut next = numbers(23);
    let said = Said::Status(status(&mut next)).message(1);
    assert!(matches!(probe.hear(said.bytes()), Err(MessageError::Kind)));
    let mut board = Board::start([&memory[0], &memory[1]]);
    let now = crate::time::Instant::default();
    let ask = Said::Ask.message(1);
    let heard = board.hear(&super::bench::config(), now, ask.bytes());
    assert_eq!(heard, Err(MessageError::Kind));
}
