extern crate std;

use super::*;
use crate::drawn::numbers;
use std::vec::Vec;

/// 00 01 .. 0f, the key of the paper's test vectors.
fn key() -> Key {
    Key::new([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]).unwrap_or_else(|_| panic!())
}

/// Any report, as a probe may make it.
fn report(next: &mut impl FnMut() -> u64) -> Report {
    let kind = match next() % 3 {
        0 => Kind::Normal,
        1 => Kind::Older,
        _ => Kind::Hello,
    };
    let hello = kind == Kind::Hello;
    let age = (next() as u32) % (AGE_STEPS + 1);
    let (quality, slow) = (Quality::of(next()), SlowValue::of(next() as u16));
    Report {
        kind,
        contact: Contact::of(next()),
        signs: Signs {
            measuring: next() % 2 == 0,
            look: next() % 2 == 0,
            self_test_failed: next() % 2 == 0,
        },
        number: next() as u8 & 31,
        quality: if hello { Quality::Clean } else { quality },
        age_125ns: (!hello && age < AGE_STEPS).then_some(age),
        slow: (!hello).then_some(slow),
    }
}

fn mark(next: &mut impl FnMut() -> u64) -> Mark {
    Mark {
        boot: next() as u32 & 0xFF_FFFF,
        slot: next() & Mark::LAST_SLOT,
    }
}

#[test]
fn what_is_sealed_opens_for_its_key_and_place_alone() {
    let mut next = numbers(1);
    let other = Key::new([7, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]);
    let other = other.unwrap_or_else(|_| panic!());
    for _ in 0..20_000 {
        let (report, who, id) = (report(&mut next), mark(&mut next), next() as u16 & 0xFFF);
        let bytes = report.seal(&key(), id, who);
        let sealed = Sealed::parse(&bytes).unwrap();
        assert_eq!(sealed.id(), id);
        assert_eq!(u64::from(sealed.slot_low()), who.slot & 0xFFFF);
        assert_eq!(sealed.open(&key(), who), Some(Opened::Report(report)));
        let slot = who.slot ^ 1 << (next() % 40);
        assert_eq!(sealed.open(&key(), Mark { slot, ..who }), None);
        let boot = who.boot ^ 1 << (next() % 24);
        assert_eq!(sealed.open(&key(), Mark { boot, ..who }), None);
        assert_eq!(sealed.open(&other, who), None);
        let claim = sealed.claim(who.boot);
        assert_eq!(claim, (report.kind == Kind::Hello).then_some(who));
        // Every single wrong bit is found.
        let bit = (next() % 128) as usize;
        let mut wrong = bytes;
        wrong[bit / 8] ^= 0x80 >> (bit % 8);
        assert_eq!(Sealed::parse(&wrong), Err(FrameError::Crc));
    }
}

/// An age beyond its field is none, a slow value beyond its field the greatest.
#[test]
fn what_does_not_fit_is_never_another_value() {
    let mut next = numbers(2);
    let who = mark(&mut next);
    for age in [AGE_STEPS, AGE_STEPS + 1, u32::MAX] {
        let sent = Report {
            kind: Kind::Normal,
            age_125ns: Some(age),
            slow: Some(SlowValue::RestMillivolts(u16::MAX)),
            ..report(&mut next)
        };
        let sealed = Sealed::parse(&sent.seal(&key(), 0xFFFF, who)).unwrap();
        let Some(Opened::Report(got)) = sealed.open(&key(), who) else {
            panic!("not opened");
        };
        assert_eq!(got.age_125ns, None);
        assert_eq!(got.slow, Some(SlowValue::RestMillivolts(4095)));
    }
}

#[test]
fn any_bytes_get_an_answer() {
    let mut next = numbers(3);
    for _ in 0..20_000 {
        let mut bytes = [0; 16];
        bytes[..8].copy_from_slice(&next().to_be_bytes());
        bytes[8..].copy_from_slice(&next().to_be_bytes());
        let _ = Sealed::parse(&bytes);
        let [o, p] = crc16(&bytes[..14]).to_be_bytes();
        (bytes[14], bytes[15]) = (o, p);
        let sealed = Sealed::parse(&bytes).unwrap();
        // A random tag is not that of a random place: 20 000 of 2^32.
        assert_eq!(sealed.open(&key(), mark(&mut next)), None);
        let _ = sealed.claim(next() as u32);
    }
}

/// Any payload with the tag that its key makes for any place: what opens seals to the very same
/// bytes, and names the place that it was opened for.
#[test]
fn whatever_opens_seals_to_the_very_same_bytes() {
    let mut next = numbers(6);
    let mut opened = [0; 3];
    for _ in 0..200_000 {
        let mut who = mark(&mut next);
        let mut head = next() >> 4 | (next() % 4) << 60;
        let tail = next() as u16;
        if next() % 4 > 0 {
            // What it names is where it is.
            head = head & !(0xFFFF << 32) | (who.slot & 0xFFFF) << 32;
            if head >> 60 == 2 {
                let slot_hi = (head & 0x3F_FFFF) << 2 | u64::from(tail >> 14);
                who.slot = who.slot & 0xFFFF | slot_hi << 16;
                who.boot = who.boot & !0x3FFF | u32::from(tail & 0x3FFF);
            }
        }
        let mut body = [0; 14];
        body[..8].copy_from_slice(&head.to_be_bytes());
        body[8..10].copy_from_slice(&tail.to_be_bytes());
        let place = u64::from(who.boot) << 40 | who.slot;
        let hash = key().hash([place.swap_bytes(), head.swap_bytes()], tail.to_be_bytes());
        body[10..].copy_from_slice(&(hash as u32).to_be_bytes());
        let mut bytes = [0; 16];
        bytes[..14].copy_from_slice(&body);
        bytes[14..].copy_from_slice(&crc16(&body).to_be_bytes());
        let sealed = Sealed::parse(&bytes).unwrap();
        if let Some(Opened::Report(report)) = sealed.open(&key(), who) {
            assert_eq!(report.seal(&key(), sealed.id(), who), bytes);
            opened[report.kind as usize] += 1;
        }
    }
    assert!(opened.iter().all(|count| *count > 30_000), "{opened:?}");
}

#[test]
fn a_claimed_boot_is_the_next_with_its_low_bits() {
    let mut next = numbers(4);
    for known in (0..1 << 24).step_by(9_973).chain([0xFF_FFFF, 0xFF_C000]) {
        let sent = Report {
            kind: Kind::Hello,
            ..report(&mut next)
        };
        let low = next() as u32 & 0x3FFF;
        let who = Mark {
            boot: low,
            slot: 0xAB_CDEF_1234,
        };
        let claim = Sealed::parse(&sent.seal(&key(), 1, who))
            .unwrap()
            .claim(known);
        let meant = (known..1 << 24).find(|boot| boot & 0x3FFF == low);
        assert_eq!(claim, meant.map(|boot| Mark { boot, ..who }));
    }
}

/// Key 00 01 .. 0f, message 00 01 .. 11 (18 bytes): row 18 of the vectors published with
/// SipHash-2-4 by its authors (vectors.h of the reference implementation), bytes in order.
#[test]
fn the_tag_is_that_of_the_published_vector() {
    let words = [
        u64::from_le_bytes([0, 1, 2, 3, 4, 5, 6, 7]),
        u64::from_le_bytes([8, 9, 10, 11, 12, 13, 14, 15]),
    ];
    let hash = key().hash(words, [16, 17]);
    let published = [0x9c, 0xd3, 0x8d, 0x96, 0xf0, 0xb3, 0xc1, 0x4b];
    assert_eq!(hash.to_le_bytes(), published);
}

/// Bit by bit as the table of the module has it, by hand.
#[test]
fn the_layout_is_that_of_the_table() {
    let who = Mark {
        boot: 0x12_3456,
        slot: 0x9A_BCDE_F012,
    };
    let report = Report {
        kind: Kind::Older,
        contact: Contact::Between,
        signs: Signs {
            measuring: true,
            look: false,
            self_test_failed: true,
        },
        number: 21,
        quality: Quality::Slow,
        age_125ns: Some(0x6_789A),
        slow: Some(SlowValue::RestLightPermille(0x3E8)),
    };
    // 0001 | 0111 0111 0111 | F012 | 10 | 101 | 10101 | 10 | 0110 0111 1000 1001 1010 | 2 | 3E8
    let bytes = report.seal(&key(), 0x777, who);
    assert_eq!(
        bytes[..10],
        [
            0x17,
            0x77,
            0xF0,
            0x12,
            0b1010_1101,
            0b0110_0110,
            0x78,
            0x9A,
            0x23,
            0xE8
        ]
    );
    let hello = Report {
        kind: Kind::Hello,
        quality: Quality::Clean,
        age_125ns: None,
        slow: None,
        ..report
    };
    let bytes = hello.seal(&key(), 0x777, who);
    // .. | 10101 | slot_hi 1001 1010 1011 1100 1101 1110 | boot_lo 11 0100 0101 0110
    assert_eq!(
        bytes[..10],
        [
            0x27,
            0x77,
            0xF0,
            0x12,
            0b1010_1101,
            0b0110_0110,
            0xAF,
            0x37,
            0xB4,
            0x56
        ]
    );
}

#[test]
fn kinds_of_a_later_version_say_nothing() {
    let who = Mark { boot: 3, slot: 77 };
    for kind in 3..16_u64 {
        let head = kind << 60 | 1 << 48 | 77 << 32;
        // What a later version of the probe would send: the tag is right.
        let mut body = [0; 14];
        body[..8].copy_from_slice(&head.to_be_bytes());
        let place = (3_u64 << 40) + 77;
        let hash = key().hash([place.swap_bytes(), head.swap_bytes()], [0, 0]);
        body[10..].copy_from_slice(&(hash as u32).to_be_bytes());
        let mut bytes = [0; 16];
        bytes[..14].copy_from_slice(&body);
        bytes[14..].copy_from_slice(&crc16(&body).to_be_bytes());
        let sealed = Sealed::parse(&bytes).unwrap();
        assert_eq!(sealed.open(&key(), who), Some(Opened::Unknown(kind as u8)));
        assert_eq!(sealed.claim(0), None);
    }
}

#[test]
fn an_erased_key_is_none() {
    for byte in [0, 0x5A, 0xFF] {
        assert!(matches!(Key::new([byte; 16]), Err(KeyError::AllBytesAlike)));
    }
    let mut nearly = [0xFF; 16];
    nearly[15] = 0xFE;
    assert!(Key::new(nearly).is_ok());
}

/// Every error of up to five bits is found in 128 bits: no sum of so many syndromes is 0. Pairs
/// and triples are compared as sets, which covers sums of up to five.
#[test]
fn five_wrong_bits_are_always_found() {
    let clean = crc16(&[0; 14]);
    let mut syndromes: Vec<u16> = (0..112)
        .map(|bit| {
            let mut body = [0; 14];
            body[bit / 8] = 0x80 >> (bit % 8);
            crc16(&body) ^ clean
        })
        .collect();
    syndromes.extend((0..16).map(|bit| 1 << bit));
    let n = syndromes.len();
    assert_eq!(n, 128);
    // To how many pairs each sum belongs; one and two bits first.
    let mut pairs = std::vec![0_u8; 1 << 16];
    for a in 0..n {
        assert_ne!(syndromes[a], 0);
        for b in 0..a {
            let sum = syndromes[a] ^ syndromes[b];
            assert_ne!(sum, 0, "two bits");
            assert_eq!(pairs[usize::from(sum)], 0, "four bits");
            pairs[usize::from(sum)] += 1;
        }
    }
    for a in 0..n {
        assert_eq!(pairs[usize::from(syndromes[a])], 0, "three bits");
        for b in 0..a {
            for c in 0..b {
                let sum = syndromes[a] ^ syndromes[b] ^ syndromes[c];
                // A pair that shares a bit with the triple is one single bit: excluded above.
                assert_eq!(pairs[usize::from(sum)], 0, "five bits");
            }
        }
    }
}
