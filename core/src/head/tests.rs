extern crate std;

use super::*;
use crate::frame::{Opened, Sealed};
use crate::link::{LinkPlan, RECORD};
use crate::time::TickRate;
use std::vec::Vec;

fn key() -> Key {
    Key::new([9; 16].map({
        let mut k = 0;
        move |byte: u8| {
            k += 1;
            byte + k
        }
    }))
    .unwrap_or_else(|_| panic!())
}

fn config() -> HeadConfig {
    let rate = TickRate::from_hz(8_000_000).unwrap();
    HeadConfig::new(rate, 77, &LinkPlan::INFRARED).unwrap()
}

fn at(us: u64) -> Instant {
    Instant::from_ticks(us * 8)
}

fn head() -> Head {
    let config = config();
    let paired = Waking::paired(&config);
    let waking = Waking::read(&config, [&paired, &paired]).unwrap();
    let (_, record) = waking.write();
    let mut head = started(waking, [&record, &record], at(1_000)).unwrap();
    let mut status = HeadStatus::default();
    status.signs.measuring = true;
    head.set_status(status);
    head
}

fn started(waking: Waking, records: [&[u8; RECORD]; 2], now: Instant) -> Option<Head> {
    Some(waking.stored(records).ok()?.head(key(), now, false))
}

fn said(head: &Head, slot: u64) -> Report {
    let who = Mark {
        boot: head.boot(),
        slot,
    };
    let sealed = Sealed::parse(&head.frame(&config(), slot)).unwrap();
    match sealed.open(&key(), who) {
        Some(Opened::Report(report)) => report,
        other => panic!("{other:?}"),
    }
}

/// Slots with frames from `from` on.
fn slots(head: &Head, from: u64, count: usize) -> Vec<u64> {
    let mut slot = from;
    (0..count)
        .map(|_| {
            slot = head.next(&config(), slot);
            slot
        })
        .collect()
}

#[test]
fn it_is_silent_first_and_beats_then_with_every_fourth_a_hello() {
    let head = head();
    let all = slots(&head, 0, 9);
    assert_eq!(all[..3], [250, 255, 260]);
    let kinds: Vec<_> = all.iter().map(|slot| said(&head, *slot).kind).collect();
    let hellos = kinds.iter().filter(|kind| **kind == Kind::Hello).count();
    assert!(hellos == 2 || hellos == 3, "{kinds:?}");
    assert_eq!(
        (kinds[0], kinds[1], kinds[4]),
        (Kind::Hello, Kind::Normal, Kind::Hello)
    );
    assert_eq!(head.begin(&config(), 250), at(251_000));
}

#[test]
fn an_edge_is_told_in_every_slot_until_it_has_left() {
    let mut head = head();
    // 0.3 ms after slot 300 began.
    head.edge(&config(), at(301_300), true, Quality::Bounced)
        .unwrap();
    let all = slots(&head, 300, 60);
    assert_eq!(all[..49], (301..350).collect::<Vec<_>>()[..]);
    assert_eq!(all[49..51], [350, 355]);
    let first = said(&head, 301);
    assert_eq!((first.number, first.kind), (1, Kind::Normal));
    assert_eq!(first.contact, Contact::Touched);
    assert_eq!(first.quality, Quality::Bounced);
    // 0.7 ms.
    assert_eq!(first.age_125ns, Some(5_600));
    assert_eq!(said(&head, 349).age_125ns, Some(5_600 + 48 * 8_000));
    // A frame of the slot before cannot know of it.
    assert_eq!(said(&head, 300).number, 0);
    head.edge(&config(), at(303_800), false, Quality::Clean)
        .unwrap();
    let older = said(&head, 307);
    assert_eq!((older.kind, older.number), (Kind::Older, 2));
    assert_eq!(older.age_125ns, Some(5_600 + 6 * 8_000));
    assert_eq!(said(&head, 306).kind, Kind::Normal);
    assert_eq!(said(&head, 306).age_125ns, Some(3_200 * 8));
}

#[test]
fn edges_that_are_none_or_too_close_are_refused() {
    let mut head = head();
    let config = config();
    let mut edge = |us, touched| head.edge(&config, at(us), touched, Quality::Clean);
    assert_eq!(edge(300_000, false), Err(EdgeRefused::SameLevel));
    assert_eq!(edge(300_000, true), Ok(()));
    assert_eq!(edge(301_500, false), Ok(()));
    assert_eq!(edge(302_999, true), Err(EdgeRefused::TooClose));
    assert_eq!(edge(1, true), Err(EdgeRefused::TooClose));
    assert_eq!(edge(303_000, true), Ok(()));
}

#[test]
fn an_edge_too_old_to_tell_has_no_time() {
    let mut head = head();
    head.edge(&config(), at(306_000), true, Quality::Clean)
        .unwrap();
    // Slot 305 begins at 306 000 µs; 131.071 625 ms is the last age there is.
    assert_eq!(said(&head, 436).age_125ns, Some(131 * 8_000));
    assert_eq!(said(&head, 437).age_125ns, None);
    assert_eq!(said(&head, u64::MAX >> 24).age_125ns, None);
}

#[test]
fn every_start_has_a_number_of_its_own_whatever_power_does_to_the_records() {
    let config = config();
    let torn = [0xFF; RECORD];
    assert!(Waking::read(&config, [&torn, &torn]).is_none());
    let mut records = [Waking::paired(&config), torn];
    let mut used = 0;
    for start in 0..60_u32 {
        let waking = Waking::read(&config, [&records[0], &records[1]]).unwrap();
        let (place, record) = waking.write();
        if start % 3 == 1 {
            // Power fails in the middle of the write: no frame was sent.
            records[usize::from(place)][6..].fill(0xFF);
            continue;
        }
        records[usize::from(place)] = record;
        let head = started(waking, [&records[0], &records[1]], at(0)).unwrap();
        assert!(head.boot() > used, "{} after {used}", head.boot());
        used = head.boot();
    }
    // A worn record: the other alone, with room for what the worn one may have held.
    records[1].fill(0);
    records[0] = Mark { boot: 500, slot: 0 }.record(77);
    let waking = Waking::read(&config, [&records[0], &records[1]]).unwrap();
    let (_, record) = waking.write();
    let head = started(waking, [&records[0], &record], at(0)).unwrap();
    assert_eq!(head.boot(), 502);
    let last = Mark {
        boot: Mark::LAST_BOOT,
        slot: 0,
    }
    .record(77);
    assert!(Waking::read(&config, [&last, &last]).is_none());
}

/// One place of two keeps nothing any more: numbers go on in the other, each used once. With none
/// left no frame is sent.
#[test]
fn a_worn_place_is_found_out_and_the_other_counts_alone() {
    let config = config();
    for worn in [0, 1] {
        let mut records = [Waking::paired(&config), Waking::paired(&config)];
        records[worn] = [0xFF; RECORD];
        let mut boots = std::vec::Vec::new();
        for _ in 0..5 {
            let mut waking = Waking::read(&config, [&records[0], &records[1]]).unwrap();
            let boot = loop {
                let (place, record) = waking.write();
                if usize::from(place) != worn {
                    records[usize::from(place)] = record;
                }
                match waking.stored([&records[0], &records[1]]) {
                    Ok(counted) => break counted.head(key(), at(0), false).boot(),
                    Err(again) => waking = again.unwrap(),
                }
            };
            boots.push(boot);
        }
        assert!(boots.windows(2).all(|pair| pair[0] < pair[1]), "{boots:?}");
        // Now the other one wears out as well.
        let waking = Waking::read(&config, [&records[0], &records[1]]).unwrap();
        let Err(Some(again)) = waking.stored([&records[0], &records[1]]) else {
            panic!()
        };
        assert!(matches!(
            again.stored([&records[0], &records[1]]),
            Err(None)
        ));
    }
}

/// A release that comes too soon is told later, never dropped: what the probe says and what it sees
/// agree again.
#[test]
fn a_contact_shorter_than_edges_may_be_apart_is_lengthened() {
    let config = config();
    let mut head = head();
    head.edge(&config, at(500_000), true, Quality::Clean)
        .unwrap();
    head.edge(&config, at(500_200), false, Quality::Clean)
        .unwrap();
    assert!(!head.touched());
    // 1.5 ms apart, in the slot that begins at 502 000.
    assert_eq!(said(&head, 501).age_125ns, Some(4_000));
    let soon = head.edge(&config, at(501_600), true, Quality::Clean);
    assert_eq!(soon, Err(EdgeRefused::TooClose));
}

#[test]
fn the_first_frame_of_a_start_is_a_hello() {
    for plan in [LinkPlan::INFRARED, LinkPlan::RADIO] {
        let rate = TickRate::from_hz(8_000_000).unwrap();
        let config = HeadConfig::new(rate, 77, &plan).unwrap();
        for measuring in [true, false] {
            let mut head = head();
            let mut status = HeadStatus::default();
            status.signs.measuring = measuring;
            head.set_status(status);
            let first = head.next(&config, 0);
            assert_eq!(head.frame(&config, first)[0] >> 4, Kind::Hello as u8);
        }
    }
}

/// Passes at any times: every slot that is due gets its frame once, before it begins and no sooner
/// than the lead, unless no pass came in time; and who comes at `wake` misses none.
#[test]
fn frames_are_made_once_and_in_time() {
    const LEAD: u32 = 1_600;
    let config = config();
    let mut next = crate::drawn::numbers(5);
    for careful in [true, false] {
        let mut head = head();
        let mut now = head.begin(&config, 0);
        let (mut newest, mut frames, mut edges, mut due) = (0, 0, 0, None);
        while newest < 20_000 {
            if next() % 40 == 0 {
                let touched = !head.touched();
                edges += u32::from(head.edge(&config, now, touched, Quality::Clean).is_ok());
                due = None;
            }
            if let Some((begin, frame)) = head.make(&config, now, LEAD) {
                let slot = (begin.ticks() - head.begin(&config, 0).ticks()) / 8_000;
                assert!(begin > now && begin.ticks() - now.ticks() <= u64::from(LEAD));
                assert!(slot > newest, "slot {slot} was made twice");
                assert_eq!(head.next(&config, slot - 1), slot);
                // Who comes in time misses none; an edge may make the slot before due too late.
                assert!(!careful || due.is_none_or(|due| due == slot));
                assert_eq!(frame, head.frame(&config, slot));
                (newest, frames) = (slot, frames + 1);
                due = Some(head.next(&config, slot));
            }
            let wake = head.wake(&config, now, LEAD);
            assert!(wake.ticks() + u64::from(LEAD) > now.ticks());
            let later = Instant::from_ticks(now.ticks() + 1 + next() % 30_000);
            now = if careful {
                wake.min(later).max(now.plus(1))
            } else {
                later
            };
        }
        let all = frames + edges;
        assert!(
            all > if careful { 5_000 } else { 1_000 },
            "{frames} {edges}"
        );
    }
}

#[test]
fn what_a_line_confirms_is_told_with_its_quality() {
    use crate::edge::{Edge, Level};
    use crate::flags::Flags;
    use crate::onset::{Config, Line};
    let config = config();
    let hold = Config::new(TickRate::from_hz(8_000_000).unwrap(), 2_000_000).unwrap();
    let mut head = head();
    let mut line = Line::new(&hold, Level::Low, at(1_000));
    let late = Edge::new(at(300_000), Level::High).with_faults(Flags::OVERCAPTURE);
    assert_eq!(line.edge(&hold, late), None);
    let event = line.poll(&hold, at(302_000)).unwrap();
    assert!(!head.touched());
    assert_eq!(head.event(&config, &event), Ok(()));
    assert!(head.touched() && line.in_contact());
    assert_eq!(said(&head, 310).quality, Quality::Doubtful);
    assert_eq!(line.edge(&hold, Edge::new(at(340_000), Level::Low)), None);
    let event = line.poll(&hold, at(342_000)).unwrap();
    assert_eq!(head.event(&config, &event), Ok(()));
    assert!(!head.touched());
    assert_eq!(said(&head, 350).quality, Quality::Clean);
    assert_eq!(head.event(&config, &event), Err(EdgeRefused::SameLevel));
}

#[test]
fn edges_are_never_nearer_than_the_plan_has_it() {
    let plan = LinkPlan {
        apart_ns: 1_500_100,
        ..LinkPlan::INFRARED
    };
    let config = HeadConfig::new(TickRate::from_hz(3_000_000).unwrap(), 5, &plan).unwrap();
    let tick = |ticks: u64| Instant::from_ticks(3_000_000 + ticks);
    // 4500.3 ticks.
    for (ticks, told) in [(4_500, Err(EdgeRefused::TooClose)), (4_501, Ok(()))] {
        let mut head = head();
        head.edge(&config, tick(0), true, Quality::Clean).unwrap();
        head.edge(&config, tick(10_000), false, Quality::Clean)
            .unwrap();
        let again = head.edge(&config, tick(10_000 + ticks), true, Quality::Clean);
        assert_eq!(again, told, "{ticks}");
    }
}

#[test]
fn what_a_probe_cannot_be_is_refused_by_name() {
    use crate::link::LinkConfigError;
    let with = |hz, id, change: fn(&mut LinkPlan)| {
        let mut plan = LinkPlan::INFRARED;
        change(&mut plan);
        HeadConfig::new(TickRate::from_hz(hz).unwrap(), id, &plan).err()
    };
    assert_eq!(with(8_000_000, 0xFFF, |_| {}), None);
    assert_eq!(with(8_000_000, 0x1000, |_| {}), Some(HeadConfigError::Id));
    // A watch crystal has 32.768 ticks in a slot.
    let ticks = Some(HeadConfigError::SlotTicks);
    assert_eq!(with(32_768, 5, |_| {}), ticks);
    let plan = |change| with(8_000_000, 5, change);
    let of_plan = |why| Some(HeadConfigError::Plan(why));
    assert_eq!(
        plan(|plan| plan.apart_ns = 0),
        of_plan(LinkConfigError::EdgesTooClose)
    );
    assert_eq!(
        plan(|plan| plan.beat_slots = 0),
        of_plan(LinkConfigError::Beat)
    );
    assert_eq!(
        plan(|plan| plan.slot_ns = 0),
        of_plan(LinkConfigError::Slot)
    );
}
