//! Laws that hold for every edge stream, checked on random ones.
//!
//! The laws of time itself are in `laws_time.rs`.

mod common;

use common::{at, cases};
use proptest::prelude::*;
use trueonset::edge::{Edge, Level};
use trueonset::flags::Flags;
use trueonset::onset::{Config, Contact, Event, FeedClass, Line, Tally, Touched, Truncation};
use trueonset::time::{FineInstant, Instant, TickRate};

const HOLD: u64 = 1_000;
const RELEASE_HOLD: u64 = 700;
const START: u64 = 5_000_000;

fn config(touched: Touched) -> Config {
    Config::new(TickRate::NANOSECONDS, HOLD)
        .and_then(|config| config.release_hold(RELEASE_HOLD))
        .and_then(|config| config.capture(Truncation::Nearest, 256))
        .unwrap()
        .touched(touched)
}

fn opposite(level: Level) -> Level {
    match level {
        Level::Low => Level::High,
        Level::High => Level::Low,
        Level::Unknown => Level::Unknown,
    }
}

/// The events of a stream, polled once at `end`.
fn events_of(config: &Config, initial: Level, start: u64, edges: &[Edge], end: u64) -> Vec<Event> {
    let mut line = Line::new(config, initial, at(start));
    let mut events: Vec<_> = edges
        .iter()
        .filter_map(|edge| line.edge(config, *edge))
        .collect();
    events.extend(line.poll(config, at(end)));
    events
}

fn total(tally: Tally) -> u64 {
    [
        tally.touches,
        tally.releases,
        tally.glitches,
        tally.initial,
        tally.refused,
        tally.pending,
    ]
    .iter()
    .map(|part| u64::from(*part))
    .sum()
}

fn contact_of(event: &Event) -> Option<&Contact> {
    match event {
        Event::Touch(contact) | Event::Release(contact) => Some(contact),
        _ => None,
    }
}

/// Ticks from one edge to the next: chatter, the brim of the holds, deep rest.
fn gap() -> impl Strategy<Value = u64> {
    prop_oneof![
        8 => 1_u64..120,
        3 => 120_u64..RELEASE_HOLD,
        1 => (RELEASE_HOLD - 1)..=(RELEASE_HOLD + 1),
        1 => (HOLD - 1)..=(HOLD + 1),
        2 => HOLD..20 * HOLD,
        1 => Just(0),
    ]
}

/// Edges that alternate, in the order of time, from a low line.
fn clean() -> impl Strategy<Value = Vec<Edge>> {
    prop::collection::vec(gap(), 1..120).prop_map(|gaps| {
        let mut now = START;
        let mut level = Level::Low;
        gaps.into_iter()
            .map(|gap| {
                now += gap;
                level = opposite(level);
                Edge::new(at(now), level)
            })
            .collect()
    })
}

fn any_level() -> impl Strategy<Value = Level> {
    prop_oneof![5 => Just(Level::Low), 5 => Just(Level::High), 1 => Just(Level::Unknown)]
}

fn any_faults() -> impl Strategy<Value = Flags> {
    prop_oneof![8 => Just(Flags::NONE), 1 => Just(Flags::OVERCAPTURE), 1 => Just(Flags::TIME_BACK)]
}

/// Edges with every fault: any level, over-captures, steps back in time, small and large.
fn faulty() -> impl Strategy<Value = Vec<Edge>> {
    let step = prop_oneof![
        9 => gap().prop_map(|gap| i64::try_from(gap).unwrap()),
        1 => -300_i64..0,
        1 => -5_000_i64..-300,
    ];
    prop::collection::vec((step, any_level(), any_faults()), 1..120).prop_map(|steps| {
        let mut now = START;
        steps
            .into_iter()
            .map(|(step, level, faults)| {
                now = now.saturating_add_signed(step);
                Edge::new(at(now), level).with_faults(faults)
            })
            .collect()
    })
}

/// Edges at any times at all.
fn wild() -> impl Strategy<Value = Vec<Edge>> {
    let time = prop_oneof![
        any::<u64>(),
        0_u64..5_000,
        (u64::MAX - 5_000)..=u64::MAX,
        Just(u64::MAX),
        Just(0)
    ];
    prop::collection::vec((time, any_level(), any_faults()), 1..40).prop_map(|edges| {
        edges
            .into_iter()
            .map(|(time, level, faults)| Edge::new(at(time), level).with_faults(faults))
            .collect()
    })
}

fn end_of(edges: &[Edge]) -> u64 {
    edges
        .iter()
        .map(|edge| edge.at.ticks())
        .max()
        .unwrap_or(START)
        + 50 * HOLD
}

fn moved(at: Instant, by: u64) -> Instant {
    Instant::from_ticks(at.ticks() + by)
}

fn moved_event(event: &Event, by: u64) -> Event {
    let fine = |f: FineInstant| FineInstant::new(moved(f.whole(), by), i32::from(f.part_256()));
    let contact = |contact: &Contact| {
        let mut contact = *contact;
        contact.onset = fine(contact.onset);
        contact.balance = fine(contact.balance);
        contact.causal = fine(contact.causal);
        contact.first_edge = moved(contact.first_edge, by);
        contact.last_edge = moved(contact.last_edge, by);
        contact.confirmed = moved(contact.confirmed, by);
        contact
    };
    match event {
        Event::Touch(touch) => Event::Touch(contact(touch)),
        Event::Release(release) => Event::Release(contact(release)),
        Event::Glitch(glitch) => {
            let mut glitch = *glitch;
            glitch.first_edge = moved(glitch.first_edge, by);
            glitch.last_edge = moved(glitch.last_edge, by);
            Event::Glitch(glitch)
        }
        other => panic!("{other:?}"),
    }
}

/// What every contact and glitch must satisfy by itself.
fn assert_ordered(event: &Event, hold: impl Fn(bool) -> u64) {
    if let Event::Glitch(glitch) = event {
        assert!(glitch.first_edge <= glitch.last_edge, "{event:?}");
        let whole = glitch.last_edge.since(glitch.first_edge);
        assert!(glitch.width <= whole && glitch.edges >= 2, "{event:?}");
    }
    if let Some(contact) = contact_of(event) {
        let release = matches!(event, Event::Release(_));
        assert!(contact.first_edge <= contact.last_edge, "{event:?}");
        for estimate in [contact.onset, contact.balance, contact.causal] {
            assert!(estimate.whole() >= contact.first_edge, "{event:?}");
            assert!(estimate.whole() <= contact.last_edge, "{event:?}");
        }
        let confirmed = contact.last_edge.ticks().saturating_add(hold(release));
        assert_eq!(contact.confirmed.ticks(), confirmed, "{event:?}");
        assert!(contact.edges % 2 == 1, "{event:?}");
    }
}

/// Touch, release, touch, ...: a contact that begins must have ended before.
fn assert_alternating(in_contact: bool, events: &[Event]) {
    let mut now = in_contact;
    for event in events {
        match event {
            Event::Touch(_) => assert!(!std::mem::replace(&mut now, true), "{events:?}"),
            Event::Release(_) => assert!(std::mem::replace(&mut now, false), "{events:?}"),
            _ => {}
        }
    }
}

fn hold_of(release: bool) -> u64 {
    if release {
        RELEASE_HOLD
    } else {
        HOLD
    }
}

proptest! {
    #![proptest_config(cases(1_500))]

    #[test]
    fn shifted_stamps_give_shifted_events(
        edges in prop_oneof![clean(), faulty()],
        by in prop_oneof![0_u64..1 << 40, (1_u64 << 32) - START..1 << 32, (1_u64 << 63) - START..1 << 63],
    ) {
        let config = config(Touched::High);
        let end = end_of(&edges);
        let still = events_of(&config, Level::Low, START, &edges, end);
        let shifted: Vec<_> = edges
            .iter()
            .map(|edge| Edge::new(moved(edge.at, by), edge.level).with_faults(edge.faults))
            .collect();
        let shifted = events_of(&config, Level::Low, START + by, &shifted, end + by);
        let expected: Vec<_> = still.iter().map(|event| moved_event(event, by)).collect();
        prop_assert_eq!(shifted, expected);
    }

    #[test]
    fn swapped_polarity_gives_the_same_events(edges in prop_oneof![clean(), faulty()]) {
        let end = end_of(&edges);
        let swapped: Vec<_> = edges
            .iter()
            .map(|edge| Edge::new(edge.at, opposite(edge.level)).with_faults(edge.faults))
            .collect();
        for initial in [Level::Low, Level::High, Level::Unknown] {
            let high = events_of(&config(Touched::High), initial, START, &edges, end);
            let low = events_of(&config(Touched::Low), opposite(initial), START, &swapped, end);
            prop_assert_eq!(high, low);
        }
    }

    /// Ramps between deep rests, and one lone pulse in the middle of one of the rests.
    #[test]
    fn an_isolated_glitch_moves_nothing(
        ramps in prop::collection::vec(prop::collection::vec(1_u64..200, 0..15), 1..8),
        chosen in any::<prop::sample::Index>(),
        width in 1_u64..RELEASE_HOLD,
    ) {
        let config = config(Touched::High);
        let (mut now, mut level) = (START, Level::Low);
        let (mut plain, mut spoiled) = (Vec::new(), Vec::new());
        let place = chosen.index(ramps.len() + 1);
        for i in 0..=ramps.len() {
            if i == place {
                let middle = now + 20 * HOLD;
                spoiled.push(Edge::new(at(middle), opposite(level)));
                spoiled.push(Edge::new(at(middle + width), level));
            }
            now += 40 * HOLD;
            let Some(ramp) = ramps.get(i) else { break };
            // An odd number of edges changes the contact.
            for gap in ramp.iter().skip(ramp.len() % 2).chain([&0]) {
                level = opposite(level);
                plain.push(Edge::new(at(now), level));
                spoiled.push(Edge::new(at(now), level));
                now += gap;
            }
        }
        let without = events_of(&config, Level::Low, START, &plain, now);
        let mut with = events_of(&config, Level::Low, START, &spoiled, now);
        let lone = with.iter().position(|event| matches!(event, Event::Glitch(_)));
        prop_assert!(lone.is_some(), "{:?}", with);
        let Event::Glitch(lone) = with.remove(lone.unwrap()) else { unreachable!() };
        prop_assert_eq!((lone.edges, lone.width.ticks().unsigned_abs()), (2, width));
        prop_assert_eq!(without.len(), ramps.len());
        prop_assert_eq!(with, without);
    }

    #[test]
    fn every_edge_is_accounted_for_at_every_moment(
        edges in prop_oneof![clean(), faulty(), wild()],
        initial in any_level(),
        polls in prop::collection::vec(any::<u64>(), 120),
    ) {
        let config = config(Touched::High);
        let mut line = Line::new(&config, initial, at(START));
        let mut events = Vec::new();
        for (given, (edge, poll)) in (1_u64..).zip(edges.iter().zip(polls)) {
            events.extend(line.edge(&config, *edge));
            if poll % 8 == 0 {
                events.extend(line.poll(&config, at(poll)));
            }
            prop_assert_eq!(total(line.tally()), given);
            prop_assert_eq!(line.deadline().is_some() && line.tally().pending == 0, false);
            prop_assert_eq!(line.open_since().is_some(), line.tally().pending > 0);
        }
        let sum = |pick: fn(&Event) -> u32| -> u32 { events.iter().map(pick).sum() };
        let touches = sum(|event| if let Event::Touch(c) = event { c.edges } else { 0 });
        let releases = sum(|event| if let Event::Release(c) = event { c.edges } else { 0 });
        let glitches = sum(|event| if let Event::Glitch(g) = event { g.edges } else { 0 });
        let tally = line.tally();
        prop_assert_eq!((touches, releases, glitches), (tally.touches, tally.releases, tally.glitches));
    }

    /// Nothing panics, and whatever is said is ordered in itself.
    #[test]
    fn no_input_breaks_the_order_of_an_event(
        edges in prop_oneof![clean(), faulty(), wild()],
        initial in any_level(),
        start in prop_oneof![Just(START), any::<u64>()],
    ) {
        let config = config(Touched::High);
        let events = events_of(&config, initial, start, &edges, u64::MAX);
        for event in &events {
            assert_ordered(event, hold_of);
        }
        // A line of unknown level starts from whatever comes first.
        if initial != Level::Unknown {
            assert_alternating(initial == Level::High, &events);
        }
    }

    #[test]
    fn polling_more_often_never_changes_the_events(
        edges in prop_oneof![clean(), faulty()],
        parts in prop::collection::vec(0_u64..=1_000, 240),
    ) {
        let config = config(Touched::High);
        let end = end_of(&edges);
        let rare = events_of(&config, Level::Low, START, &edges, end);
        let (mut often, mut punctual) = (Vec::new(), Vec::new());
        let mut line = Line::new(&config, Level::Low, at(START));
        let mut timed = line.clone();
        let mut before = START;
        let stop = Edge::new(at(end), Level::Low);
        let last = edges.len();
        for (i, edge) in edges.iter().chain([&stop]).enumerate() {
            let next = edge.at.ticks();
            // Two moments within the gap, none where time goes back.
            if let Some(gap) = next.checked_sub(before) {
                let mut moments = [before + gap * parts[2 * i % 240] / 1_000, before + gap * parts[(2 * i + 1) % 240] / 1_000];
                moments.sort_unstable();
                for moment in moments {
                    often.extend(line.poll(&config, at(moment)));
                }
            }
            if let Some(deadline) = timed.deadline().filter(|deadline| *deadline <= edge.at) {
                punctual.extend(timed.poll(&config, deadline));
            }
            if i < last {
                often.extend(line.edge(&config, *edge));
                punctual.extend(timed.edge(&config, *edge));
            } else {
                often.extend(line.poll(&config, edge.at));
                punctual.extend(timed.poll(&config, edge.at));
            }
            before = next;
        }
        prop_assert_eq!(&often, &rare);
        prop_assert_eq!(&punctual, &rare);
    }

    #[test]
    fn an_event_comes_at_its_deadline_and_not_a_tick_before(edges in prop_oneof![clean(), faulty()]) {
        let config = config(Touched::High);
        let mut line = Line::new(&config, Level::Low, at(START));
        for edge in &edges {
            let _ = line.edge(&config, *edge);
            match line.deadline() {
                None => prop_assert_eq!(line.clone().poll(&config, at(u64::MAX)), None),
                Some(deadline) => {
                    let early = at(deadline.ticks() - 1);
                    prop_assert_eq!(line.clone().poll(&config, early), None);
                    let event = line.clone().poll(&config, deadline);
                    prop_assert!(event.is_some());
                    if let Some(contact) = event.as_ref().and_then(contact_of) {
                        prop_assert_eq!(contact.confirmed, deadline);
                    }
                }
            }
        }
    }

    /// The causal estimate for a hard output: there from the moment on at which the time away
    /// since some minimum exceeds the time home by a hold, and not a tick earlier.
    #[test]
    fn the_causal_estimate_fires_when_the_sum_reaches_the_hold(edges in clean()) {
        let config = config(Touched::High);
        let mut line = Line::new(&config, Level::Low, at(START));
        let mut runs: Vec<(bool, i64, u64)> = Vec::new();
        for pair in edges.windows(2) {
            let _ = line.edge(&config, pair[0]);
            let opened = line.open_since().unwrap();
            if opened == pair[0].at {
                runs.clear();
            }
            // Sum over the episode, its minimum and where that is.
            let (mut sum, mut least, mut place) = (0, 0, opened.ticks());
            for (away, length, end) in &runs {
                sum += if *away { *length } else { -length };
                if sum <= least && !away {
                    (least, place) = (sum, *end);
                }
            }
            let away = (pair[0].level == Level::High) != line.in_contact();
            let hold = i64::try_from(hold_of(line.in_contact())).unwrap();
            let now = pair[0].at.ticks();
            let missing = hold - (sum - least);
            let expected = FineInstant::new(at(place), 0);
            if missing <= 0 {
                prop_assert_eq!(line.causal(&config, pair[0].at), Some(expected));
            } else if away {
                let moment = now + missing.unsigned_abs();
                prop_assert_eq!(line.causal(&config, at(moment - 1)), None);
                prop_assert_eq!(line.causal(&config, at(moment)), Some(expected));
            } else {
                prop_assert_eq!(line.causal(&config, at(now + 90 * HOLD)), None);
            }
            let length = pair[1].at.ticks() - now;
            runs.push((away, i64::try_from(length).unwrap(), pair[1].at.ticks()));
        }
    }

    /// What was learned, and the feed class, go over to the next line of the same hardware.
    #[test]
    fn a_line_can_be_handed_over_in_a_rest(first in clean(), second in clean()) {
        let config = config(Touched::High);
        let mut whole = Line::new(&config, Level::Low, at(START));
        prop_assert_eq!(whole.exchange_class(Some(FeedClass::new())), None);
        for edge in &first {
            let _ = whole.edge(&config, *edge);
        }
        let rest = end_of(&first);
        let _ = whole.poll(&config, at(rest));
        // In contact the new line would not know how deep the contact has been.
        if whole.in_contact() {
            let _ = whole.edge(&config, Edge::new(at(rest), Level::Low));
        }
        let rest = rest + RELEASE_HOLD;
        let _ = whole.poll(&config, at(rest));
        prop_assert!(!whole.in_contact() && whole.deadline().is_none());
        let mut fresh = Line::new(&config, Level::Low, at(rest)).with_learned(whole.learned());
        let class = whole.exchange_class(None);
        prop_assert!(class.is_some());
        whole.exchange_class(class);
        fresh.exchange_class(class);
        for edge in &second {
            let edge = Edge::new(moved(edge.at, rest + HOLD - START), edge.level);
            prop_assert_eq!(whole.edge(&config, edge), fresh.edge(&config, edge));
        }
        prop_assert_eq!(whole.learned(), fresh.learned());
        prop_assert_eq!(whole.exchange_class(None), fresh.exchange_class(None));
    }
}

/// Half an hour of chatter without a hold: given up, counted, and the line works on.
#[test]
fn an_episode_without_end_is_given_up() {
    let config = config(Touched::High);
    let mut line = Line::new(&config, Level::Low, at(0));
    let (most, mut now) = (1_u64 << 28, 10);
    for i in 0..most + 9 {
        now += 2;
        let level = if i % 2 == 0 { Level::High } else { Level::Low };
        assert_eq!(line.edge(&config, Edge::new(at(now), level)), None);
    }
    let tally = line.tally();
    assert!(
        u64::from(tally.refused) >= most && tally.pending <= 9,
        "{tally:?}"
    );
    assert_eq!(total(tally), most + 9);
    let Some(Event::Touch(touch)) = line.poll(&config, at(now + HOLD)) else {
        panic!("{line:?}");
    };
    assert!(
        touch.first_edge.ticks() + 100 > now && touch.flags.contains(Flags::ROUGH),
        "{touch:?}"
    );
}
