//! Key records.

use super::super::record::{Place, Places};
use super::super::*;
use super::bench::{ERASED, TERMS};
use crate::drawn::numbers;

fn record(serial: u8, key: [u8; 16]) -> [u8; KEY_RECORD] {
    *KeyRecord::new(serial, 77, &key, 0x123, TERMS, false).bytes()
}

fn confirmed(mut bytes: [u8; KEY_RECORD]) -> [u8; KEY_RECORD] {
    let Place::Sound(seen) = Places::read([&bytes, &bytes]).at(0) else {
        panic!("not sound");
    };
    bytes[CONFIRMATION_AT..].copy_from_slice(&seen.confirmation());
    bytes
}

fn key(next: &mut impl FnMut() -> u64) -> [u8; 16] {
    core::array::from_fn(|_| next() as u8)
}

#[test]
fn a_record_is_read_as_it_was_made() {
    let mut next = numbers(31);
    for _ in 0..2_000 {
        let (serial, key) = (next() as u8, key(&mut next));
        let bytes = record(serial, key);
        let seen = Places::read([&bytes, &ERASED]).sound(0).unwrap();
        assert_eq!((seen.serial, seen.id, seen.unit), (serial, 0x123, 77));
        assert_eq!((seen.terms, seen.confirmed), (TERMS, false));
        assert!(
            Places::read([&confirmed(bytes), &ERASED])
                .sound(0)
                .unwrap()
                .confirmed
        );
        // One wrong bit in the checked part, and it is none.
        let bit = (next() % 320) as usize;
        let mut wrong = bytes;
        wrong[bit / 8] ^= 0x80 >> (bit % 8);
        assert_eq!(Places::read([&wrong, &ERASED]).at(0), Place::Bad);
        assert!(Paired::of_record(&wrong).is_none());
    }
    assert_eq!(
        Places::read([&ERASED, &[0; KEY_RECORD]]).at(1),
        Place::Blank
    );
}

/// A store over a confirmed record, cut at any byte: never the new key with the old confirmation.
#[test]
fn a_torn_store_is_never_a_confirmed_key() {
    let mut next = numbers(32);
    for _ in 0..200 {
        let old = confirmed(record(1, key(&mut next)));
        let new = record(2, key(&mut next));
        for cut in 0..=KEY_RECORD {
            let mut torn = old;
            torn[..cut].copy_from_slice(&new[..cut]);
            match Places::read([&torn, &ERASED]).at(0) {
                // The version is the same.
                Place::Sound(seen) if seen.serial == 1 => assert!(cut < 2),
                Place::Sound(seen) => assert!(cut >= 40 && !seen.confirmed),
                Place::Bad => assert!((2..40).contains(&cut)),
                Place::Blank => panic!("blank at {cut}"),
            }
        }
    }
}

#[test]
fn a_torn_confirmation_spoils_nothing() {
    let mut next = numbers(33);
    let bytes = record(9, key(&mut next));
    let done = confirmed(bytes);
    for cut in CONFIRMATION_AT..KEY_RECORD {
        let mut torn = bytes;
        torn[..cut].copy_from_slice(&done[..cut]);
        let seen = Places::read([&torn, &ERASED]).sound(0).unwrap();
        assert!(!seen.confirmed && seen.serial == 9);
    }
}

#[test]
fn the_newest_is_the_next_serial_round_256() {
    let mut next = numbers(34);
    for serial in 0..=255_u8 {
        let (old, new) = (
            record(serial, key(&mut next)),
            record(serial.wrapping_add(1), key(&mut next)),
        );
        assert_eq!(Places::read([&old, &new]).newest(), Some(1));
        assert_eq!(Places::read([&new, &old]).newest(), Some(0));
        let places = Places::read([&confirmed(old), &new]);
        assert_eq!(
            (places.newest(), places.newest_confirmed()),
            (Some(1), Some(0))
        );
    }
    assert_eq!(Places::read([&ERASED, &ERASED]).newest(), None);
}
