//! Messages there and back, what damage does to them, and a device that meets all of it.

extern crate std;

use std::vec::Vec;

use trueonset::edge::Level;
use trueonset::onset::{Touched, Truncation};
use trueonset::time::Instant;

use super::frame::check;
use super::*;

const SETTINGS: Settings = Settings {
    tick_hz: 1_000_000_000,
    hold_ns: 1_000_000,
    bandwidth_hz: 100_000,
    side: Truncation::Nearest,
    step_256: 256,
};

/// Splitmix64 (Steele, Lea, Flood 2014).
fn drawn(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut mixed = *state;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

fn item(line: u8, at: u64, what: What) -> Item {
    Item {
        at: Instant::from_ticks(at),
        line,
        what,
    }
}

/// What a device says to a body.
fn said(device: &mut Device, body: &[u8]) -> Vec<u8> {
    let mut answer = Vec::new();
    for byte in Frame::of(body).bytes() {
        if let Some(bytes) = device.byte(*byte) {
            answer = opened(bytes);
        }
    }
    answer
}

fn opened(frame: &[u8]) -> Vec<u8> {
    let mut collector = Collector::new();
    let mut bodies = Vec::new();
    for byte in frame {
        if let Some(body) = collector.byte(*byte) {
            bodies.push(body.unwrap().to_vec());
        }
    }
    assert_eq!(bodies.len(), 1);
    bodies.remove(0)
}

fn started() -> Device {
    let mut device = Device::new();
    let hello = Request::Hello {
        version: VERSION,
        run: 7,
    };
    said(&mut device, hello.body().all());
    let settings = Request::Settings(SETTINGS).body();
    assert_eq!(said(&mut device, settings.all()), [0x82]);
    device
}

fn edges(from: u32, items: &[Item]) -> Bytes {
    let base = Instant::from_ticks(1 << 63);
    let mut block = Block::from(base);
    let request = Request::Edges {
        from,
        base,
        items: &[],
    };
    let mut body = request.body();
    for item in items {
        assert!(block.push(item, &mut body));
    }
    body
}

/// A touch of 10 ms on line 0, with a glitch before it.
fn touch() -> Vec<Item> {
    let zero = 1 << 63;
    let mut items = Vec::new();
    items.push(item(0, zero, What::Start(Level::Low, Touched::High)));
    for (at, high) in [
        (5_000_000, true),
        (5_001_000, false),
        (15_000_000, true),
        (15_000_100, false),
        (15_000_300, true),
    ] {
        items.push(item(0, zero + at, What::Edge(high.into())));
    }
    items.push(item(0, zero + 25_000_000, What::Edge(Level::Low)));
    items.push(item(0, zero + 45_000_000, What::Passed));
    items
}

/// The bytes as the crate's page has them, written out by hand.
#[test]
fn the_bytes_are_those_of_the_page() {
    let hello = Request::Hello {
        version: 1,
        run: 0x0403_0201,
    };
    assert_eq!(hello.body().all(), [1, 1, 1, 2, 3, 4]);
    let settings = Request::Settings(SETTINGS).body();
    let mut by_hand = std::vec![2, 0x00, 0xca, 0x9a, 0x3b, 0x40, 0x42, 0x0f, 0, 0, 0, 0, 0];
    by_hand.extend([0xa0, 0x86, 0x01, 0, 1, 0, 1, 0, 0]);
    assert_eq!(settings.all(), by_hand);
    let base = 1 << 63;
    let items = [
        item(1, base - 1, What::Start(Level::Unknown, Touched::Low)),
        item(0, base + 63, What::Edge(Level::High)),
        item(15, base + 191, What::Passed),
    ];
    assert_eq!(
        edges(258, &items).all(),
        [3, 2, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x80, 0x91, 1, 0x60, 0x80, 1, 0x3f, 0x80, 2]
    );
    // COBS of one zero between two other bytes: a count, 11, a count, the check sum.
    let [a, b, c, d] = check(&[0x11, 0x00]);
    assert!(![a, b, c, d].contains(&0));
    assert_eq!(
        Frame::of(&[0x11, 0x00]).bytes(),
        [0, 2, 0x11, 5, a, b, c, d, 0]
    );
}

#[test]
fn items_and_times_come_back_over_the_whole_range() {
    let mut state = 1;
    for _ in 0..10_000 {
        let what = [
            What::Start(Level::Unknown, Touched::Low),
            What::Edge(Level::Low),
            What::Edge(Level::High),
            What::Passed,
        ];
        let all: Vec<_> = (0..8)
            .map(|_| {
                let at = drawn(&mut state) >> (drawn(&mut state) % 64);
                let what = what[drawn(&mut state) as usize % 4];
                item(drawn(&mut state) as u8 & 15, at, what)
            })
            .collect();
        let body = edges(9, &all);
        let Some(Request::Edges {
            from: 9,
            base,
            items,
        }) = Request::parse(body.all())
        else {
            panic!("no edges");
        };
        let back: Option<Vec<_>> = Items::new(base, items).collect();
        assert_eq!(back.unwrap(), all);
    }
}

/// Up to five bits wrong in the longest frame are always found: no one, two or four cancel, and an
/// odd number never does.
#[test]
fn the_check_sum_finds_few_wrong_bits_in_the_longest_body() {
    assert_eq!(check(b"123456789"), 0xE306_9283_u32.to_le_bytes());
    // The rule is linear but for a constant: what each wrong bit alone changes is all there is.
    let zero = u32::from_le_bytes(check(&[0; BODY]));
    let in_body = (0..BODY * 8).map(|bit| {
        let mut one = [0; BODY];
        one[bit / 8] = 1 << (bit % 8);
        u32::from_le_bytes(check(&one)) ^ zero
    });
    let changes: Vec<u32> = in_body.chain((0..32).map(|bit| 1 << bit)).collect();
    let mut pairs = Vec::new();
    for (k, one) in changes.iter().enumerate() {
        pairs.extend(changes[..k].iter().map(|other| one ^ other));
    }
    pairs.sort_unstable();
    assert_ne!(pairs[0], 0, "two wrong bits cancel");
    assert!(
        pairs.windows(2).all(|pair| pair[0] != pair[1]),
        "four cancel"
    );
    // A polynomial divisible by x + 1: each wrong bit changes an odd number of bits, three or five then too.
    assert!(changes.iter().all(|change| change.count_ones() % 2 == 1));
}

#[test]
fn a_device_says_what_the_machine_says() {
    let mut device = started();
    let mut machine = Machine::new(&SETTINGS).unwrap();
    let all = touch();
    let mut bytes = Bytes::new();
    for (at, item) in (0..).zip(&all) {
        if let Some(event) = machine.take(item).unwrap() {
            assert!(report::push(at, item.line, &event, &mut bytes));
        }
    }
    let answer = said(&mut device, edges(0, &all).all());
    let Some(Answer::Took {
        from: 0,
        taken: 8,
        reports,
    }) = Answer::parse(&answer)
    else {
        panic!("{answer:?}");
    };
    assert_eq!(reports, bytes.all());
    let reports: Option<Vec<_>> = Reports::new(reports).collect();
    let reports = reports.unwrap();
    let kinds: Vec<_> = reports.iter().map(|report| report.kind).collect();
    assert_eq!(kinds, [Kind::Glitch, Kind::Touch, Kind::Release]);
    assert_eq!(reports[0].value("width"), 1_000);
    // 100 ns at rest inside the chatter, 200 ns of it: the contact is 200 ns after its first edge.
    assert_eq!(reports[1].value("onset") - (1 << 63), 15_000_200);
    assert_eq!(reports[1].value("edges"), 3);
    // The same again is answered alike and taken once.
    assert_eq!(said(&mut device, edges(0, &all).all()), answer);
    let end = said(&mut device, Request::End { items: 8 }.body().all());
    let Some(Answer::End {
        items: 8, tallies, ..
    }) = Answer::parse(&end)
    else {
        panic!("{end:?}");
    };
    assert_eq!(tallies[0], [3, 1, 2, 0, 0, 0]);
}

/// More reports than an answer holds: the rest of the block is left for the next request.
#[test]
fn a_device_takes_what_its_answer_can_tell() {
    let mut device = started();
    let zero = 1 << 63;
    let mut all = std::vec![item(0, zero, What::Start(Level::Low, Touched::High))];
    for k in 1..=10 {
        let at = zero + k * 10_000_000;
        all.push(item(0, at, What::Edge((k % 2 == 1).into())));
        all.push(item(0, at + 2_000_000, What::Passed));
    }
    let (mut done, mut reports) = (0, 0);
    while done < all.len() {
        let answer = said(&mut device, edges(done as u32, &all[done..]).all());
        let Some(Answer::Took {
            taken,
            reports: bytes,
            ..
        }) = Answer::parse(&answer)
        else {
            panic!("{answer:?}");
        };
        assert!(taken > 0);
        done += usize::from(taken);
        reports += Reports::new(bytes).map(Option::unwrap).count();
    }
    assert_eq!(reports, 10);
}

#[test]
fn each_refusal_says_why_and_where() {
    let refusal = |device: &mut Device, body: &Bytes| match Answer::parse(&said(device, body.all()))
    {
        Some(Answer::Refused { why, item, detail }) => (why, item, detail),
        other => panic!("{other:?}"),
    };
    let mut device = Device::new();
    let first = edges(0, &touch());
    assert_eq!(refusal(&mut device, &first), (Refusal::NotStarted, 0, 0));
    let end = Request::End { items: 3 }.body();
    assert_eq!(refusal(&mut device, &end), (Refusal::NotStarted, 3, 0));
    let bad = |settings| Request::Settings(settings).body();
    for (settings, detail) in [
        (
            Settings {
                tick_hz: 0,
                ..SETTINGS
            },
            1,
        ),
        (
            Settings {
                hold_ns: 0,
                ..SETTINGS
            },
            2,
        ),
        (
            Settings {
                step_256: 0,
                ..SETTINGS
            },
            3,
        ),
    ] {
        assert_eq!(
            refusal(&mut device, &bad(settings)),
            (Refusal::Settings, 0, detail)
        );
    }
    let mut device = started();
    assert_eq!(
        refusal(&mut device, &edges(5, &touch())),
        (Refusal::OutOfStep, 0, 0)
    );
    assert_eq!(refusal(&mut device, &end), (Refusal::OutOfStep, 0, 0));
    // The third item is on a line that has not started: two are taken, then it is named.
    let mut items = touch();
    items[2].line = 1;
    let took = said(&mut device, edges(0, &items).all());
    assert!(matches!(
        Answer::parse(&took),
        Some(Answer::Took { taken: 2, .. })
    ));
    assert_eq!(
        refusal(&mut device, &edges(2, &items[2..])),
        (Refusal::Item, 2, 0)
    );
    let mut unknown = Bytes::new();
    unknown.push(&[0x44, 1]);
    assert_eq!(refusal(&mut device, &unknown), (Refusal::Unknown, 0, 0x44));
}

/// Over a loop a device hears each of its answers: it says nothing to them, and refuses what comes
/// next for as long as the loop is there.
#[test]
fn a_device_that_hears_itself_is_silent_and_says_so() {
    let mut device = Device::new();
    let mut ask = |body: &Bytes, looped: bool| {
        let mut answer = Vec::new();
        for byte in Frame::of(body.all()).bytes() {
            answer.extend(device.byte(*byte).unwrap_or_default());
        }
        for byte in answer.iter().filter(|_| looped) {
            assert_eq!(device.byte(*byte), None);
        }
        opened(&answer)
    };
    let hello = Request::Hello {
        version: VERSION,
        run: 7,
    };
    let (hello, settings) = (hello.body(), Request::Settings(SETTINGS).body());
    let refused = |body: &[u8]| {
        let answer = Answer::parse(body);
        matches!(answer, Some(Answer::Refused { why, .. }) if why == Refusal::Looped)
    };
    assert_eq!(ask(&hello, true)[0], 0x81);
    for _ in 0..3 {
        assert!(refused(&ask(&settings, true)));
    }
    // The loop is gone, which the device does not know before it was asked once more.
    assert!(refused(&ask(&settings, false)));
    assert_eq!(ask(&settings, true), [0x82]);
    assert!(refused(&ask(&edges(0, &touch()), true)));
    assert_eq!(ask(&hello, false)[0], 0x81);
    assert_eq!(ask(&settings, false), [0x82]);
    let took = ask(&edges(0, &touch()), false);
    assert!(matches!(
        Answer::parse(&took),
        Some(Answer::Took { taken: 8, .. })
    ));
}

/// Any bytes at all: no panic, and the next whole message is understood.
#[test]
fn garbage_never_keeps_a_device_from_the_next_message() {
    let mut state = 2;
    let mut device = started();
    for round in 0..2_000_u32 {
        for _ in 0..drawn(&mut state) % 700 {
            let byte = drawn(&mut state) as u8;
            // Many zeros, so that much of it is taken for frames.
            let _ = device.byte(if byte < 20 { 0 } else { byte });
        }
        let mut answers = Vec::new();
        let hello = Request::Hello {
            version: VERSION,
            run: round,
        };
        for byte in Frame::of(hello.body().all()).bytes() {
            answers.extend(device.byte(*byte).map(<[u8]>::to_vec));
        }
        let last = opened(answers.last().unwrap());
        assert!(matches!(Answer::parse(&last), Some(Answer::Hello { run, .. }) if run == round));
        // Where the garbage did not end with a zero, its tail is told to be damaged first.
        assert!(answers.len() <= 2);
    }
}

/// Any body at all is parsed or refused.
#[test]
fn any_body_is_parsed_without_a_panic() {
    let mut state = 3;
    for _ in 0..200_000 {
        let len = drawn(&mut state) as usize % 90;
        let mut body: Vec<u8> = (0..len).map(|_| drawn(&mut state) as u8).collect();
        if let Some(first) = body.first_mut() {
            *first = [1, 2, 3, 4, 0x81, 0x82, 0x83, 0x84, 0x90, 0x91][*first as usize % 10];
        }
        if let Some(Request::Edges { base, items, .. }) = Request::parse(&body) {
            Items::new(base, items).for_each(drop);
        }
        if let Some(Answer::Took { reports, .. }) = Answer::parse(&body) {
            for report in Reports::new(reports).flatten() {
                report.values().for_each(drop);
            }
        }
    }
}
