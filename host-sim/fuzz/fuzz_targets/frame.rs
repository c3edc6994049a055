//! Frames of the link: any bytes get an answer, and whatever opens seals to the very same bytes. The first byte chooses
//! what is put right before: nothing, the check sum, the tag as well, or also the slot that the frame names.
#![no_main]

use std::hash::Hasher;

use libfuzzer_sys::fuzz_target;
use trueonset::frame::{crc16, Key, Mark, Opened, Sealed, FRAME};

const KEY: [u8; 16] = *b"key of this fuzz";

/// The tag, by the SipHash-2-4 of the standard library.
#[allow(deprecated)]
fn tag(who: Mark, payload: &[u8]) -> [u8; 4] {
    let word = |at: usize| u64::from_le_bytes(KEY[at..at + 8].try_into().expect("eight"));
    let mut hash = std::hash::SipHasher::new_with_keys(word(0), word(8));
    hash.write(&(u64::from(who.boot) << 40 | who.slot).to_be_bytes());
    hash.write(payload);
    (hash.finish() as u32).to_be_bytes()
}

fuzz_target!(|data: &[u8]| {
    let Some((&choice, rest)) = data.split_first() else {
        return;
    };
    let Some((bytes, place)) = rest.split_first_chunk::<FRAME>() else {
        return;
    };
    let Some(place) = place.first_chunk::<8>() else {
        return;
    };
    let place = u64::from_be_bytes(*place);
    let mut who = Mark {
        boot: (place >> 40) as u32,
        slot: place & Mark::LAST_SLOT,
    };
    let mut bytes = *bytes;
    if choice & 3 == 3 {
        bytes[2..4].copy_from_slice(&(who.slot as u16).to_be_bytes());
        let named = u64::from_be_bytes(bytes[..8].try_into().expect("eight"));
        let low = u16::from_be_bytes([bytes[8], bytes[9]]);
        if named >> 60 == 2 {
            let slot_hi = (named & 0x3F_FFFF) << 2 | u64::from(low >> 14);
            who.slot = who.slot & 0xFFFF | slot_hi << 16;
            who.boot = who.boot & !0x3FFF | u32::from(low & 0x3FFF);
        }
    }
    if choice & 3 >= 2 {
        let tag = tag(who, &bytes[..10]);
        bytes[10..14].copy_from_slice(&tag);
    }
    if choice & 3 >= 1 {
        let crc = crc16(&bytes[..14]).to_be_bytes();
        bytes[14..].copy_from_slice(&crc);
    }
    let key = Key::new(KEY).unwrap_or_else(|why| panic!("{why}"));
    let Ok(sealed) = Sealed::parse(&bytes) else {
        assert!(choice & 3 == 0, "a good check sum is refused");
        return;
    };
    let _ = sealed.claim(who.boot);
    match sealed.open(&key, who) {
        Some(Opened::Report(report)) => {
            assert_eq!(report.seal(&key, sealed.id(), who), bytes);
        }
        Some(Opened::Unknown(kind)) => assert!(kind > 2),
        None => assert!(choice & 3 < 3, "a right tag is refused"),
    }
});
