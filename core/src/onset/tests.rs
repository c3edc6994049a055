//! Behaviour of a line on small hand-made edge streams.

use super::*;
use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::time::{Instant, TickRate};

const HOLD: u64 = 1_000;

fn at(ticks: u64) -> Instant {
    Instant::from_ticks(ticks)
}

/// One tick a nanosecond, hold 1 µs, stamps exact.
fn config(touched: Touched) -> Config {
    Config::new(TickRate::NANOSECONDS, HOLD)
        .and_then(|config| config.capture(Truncation::Nearest, 256))
        .unwrap()
        .touched(touched)
}

fn level(touched: Touched, contact: bool) -> Level {
    if (touched == Touched::High) == contact {
        Level::High
    } else {
        Level::Low
    }
}

/// Feeds alternating edges that start with a touch, and polls at the end.
fn run(touched: Touched, line: &mut Line, edges: &[u64], end: u64) -> [Option<Event>; 8] {
    let config = config(touched);
    let mut events = [None; 8];
    let mut slots = events.iter_mut();
    let mut note = |event: Option<Event>| {
        if event.is_some() {
            *slots.next().unwrap() = event;
        }
    };
    for (i, at) in edges.iter().enumerate() {
        let edge = Edge::new(Instant::from_ticks(*at), level(touched, i % 2 == 0));
        note(line.edge(&config, edge));
    }
    note(line.poll(&config, Instant::from_ticks(end)));
    events
}

fn open_line(touched: Touched) -> Line {
    Line::new(
        &config(touched),
        level(touched, false),
        Instant::from_ticks(0),
    )
}

#[test]
fn chatter_beyond_32_bits_keeps_its_causal_estimate_and_states_no_doubt() {
    let config = Config::new(TickRate::NANOSECONDS, 1_000_000).unwrap();
    let mut line = Line::new(&config, Level::Low, at(0));
    let mut now = 2_000_000;
    // Ten seconds, as much away as home: the sum never grows.
    for _ in 0..10_000 {
        for level in [Level::High, Level::Low] {
            assert_eq!(line.edge(&config, Edge::new(at(now), level)), None);
            now += 500_000;
        }
    }
    assert_eq!(line.edge(&config, Edge::new(at(now), Level::High)), None);
    assert_eq!(line.causal(&config, at(now + 400_000)), None);
    let Some(Event::Touch(touch)) = line.poll(&config, at(now + 1_000_000)) else {
        panic!("no touch");
    };
    assert_eq!(touch.causal.whole(), at(now));
    assert_eq!(touch.doubt, None);
    assert_eq!(touch.kind, DoubtKind::Rough);
    assert!(touch.flags.contains(Flags::ROUGH) && !touch.flags.contains(Flags::UPPER));
}

#[test]
fn balance_point_by_hand_in_both_polarities() {
    for touched in [Touched::High, Touched::Low] {
        let mut line = open_line(touched);
        // Away 10, home 30, away 20, home 40, then steady: 100 + 30 + 40.
        let events = run(touched, &mut line, &[100, 110, 140, 160, 200], 1_200);
        let Some(Event::Touch(touch)) = events[0] else {
            panic!("{events:?}");
        };
        assert_eq!(touch.balance.whole().ticks(), 170);
        assert_eq!(touch.causal.whole().ticks(), 200);
        assert_eq!(touch.first_edge.ticks(), 100);
        assert_eq!(touch.last_edge.ticks(), 200);
        assert_eq!(touch.confirmed.ticks(), 1_200);
        assert_eq!(touch.edges, 5);
        assert!(events[1].is_none());
        assert!(line.in_contact());
        assert_eq!(line.tally().touches, 5);
    }
}

#[test]
fn nothing_happens_before_the_hold_is_over() {
    let mut line = open_line(Touched::High);
    let events = run(Touched::High, &mut line, &[100, 110, 140], 1_139);
    assert!(events[0].is_none());
    assert_eq!(line.tally().pending, 3);
    let deadline = line.deadline();
    assert_eq!(deadline, Some(Instant::from_ticks(1_140)));
}

#[test]
fn no_phantom_touch_at_either_initial_level() {
    for touched in [Touched::High, Touched::Low] {
        let config = config(touched);
        for contact in [false, true] {
            let mut line = Line::new(&config, level(touched, contact), Instant::from_ticks(0));
            assert_eq!(line.poll(&config, Instant::from_ticks(1 << 40)), None);
            assert_eq!(line.in_contact(), contact);
        }
    }
}

#[test]
fn a_late_edge_reports_what_was_due_before_it() {
    let mut line = open_line(Touched::High);
    let events = run(Touched::High, &mut line, &[100, 9_000], 20_000);
    assert!(matches!(events[0], Some(Event::Touch(t)) if t.confirmed.ticks() == 1_100));
    assert!(matches!(events[1], Some(Event::Release(r)) if r.onset.whole().ticks() == 9_000));
    assert!(!line.in_contact());
}

#[test]
fn a_glitch_is_counted_with_its_width_and_moves_nothing() {
    let mut line = open_line(Touched::High);
    let events = run(Touched::High, &mut line, &[100, 130, 5_000], 9_000);
    let Some(Event::Glitch(glitch)) = events[0] else {
        panic!("{events:?}");
    };
    assert_eq!((glitch.width.ticks(), glitch.edges), (30, 2));
    assert!(matches!(events[1], Some(Event::Touch(t)) if t.onset.whole().ticks() == 5_000));
}

#[test]
fn release_is_mirrored_and_shallow_without_deep_contact() {
    for (rest, shallow) in [(20_000, false), (3_000, true)] {
        let mut line = open_line(Touched::High);
        let off = 100 + rest;
        let events = run(
            Touched::High,
            &mut line,
            &[100, off, off + 40, off + 90],
            off + 5_000,
        );
        let Some(Event::Release(release)) = events[1] else {
            panic!("{events:?}");
        };
        assert_eq!(release.balance.whole().ticks(), off + 50);
        assert_eq!(release.flags.contains(Flags::SHALLOW), shallow);
        assert_eq!(release.doubt.is_none(), shallow);
    }
}

#[test]
fn half_a_step_of_truncation_is_given_back() {
    for (side, whole, part) in [
        (Truncation::Before, 100, 128),
        (Truncation::Nearest, 100, 0),
        (Truncation::After, 99, 128),
    ] {
        let config = Config::new(TickRate::NANOSECONDS, HOLD)
            .and_then(|config| config.capture(side, 256))
            .unwrap();
        let mut line = Line::new(&config, Level::Low, Instant::from_ticks(0));
        let _ = line.edge(&config, Edge::new(Instant::from_ticks(100), Level::High));
        let event = line.poll(&config, Instant::from_ticks(5_000));
        let Some(Event::Touch(touch)) = event else {
            panic!("{event:?}");
        };
        let onset = touch.onset;
        assert_eq!((onset.whole().ticks(), onset.part_256()), (whole, part));
    }
}

#[test]
fn an_off_run_of_hours_is_forgotten() {
    let hours = 5 * 3_600 * 1_000_000_000;
    let mut line = open_line(Touched::High);
    let events = run(Touched::High, &mut line, &[100, 150, hours], hours + 2_000);
    assert!(matches!(events[1], Some(Event::Touch(t)) if t.causal.whole().ticks() == hours));
}

#[test]
fn the_state_of_a_line_is_small() {
    assert!(size_of::<Line>() <= 128, "{}", size_of::<Line>());
}

fn one_fault(edges: &[Edge], end: u64) -> (Option<Event>, Tally) {
    let config = config(Touched::High);
    let mut line = open_line(Touched::High);
    let mut first = None;
    for edge in edges {
        first = first.or(line.edge(&config, *edge));
    }
    let event = first.or(line.poll(&config, Instant::from_ticks(end)));
    (event, line.tally())
}

fn edge(at: u64, level: Level) -> Edge {
    Edge::new(Instant::from_ticks(at), level)
}

fn touch_of(event: Option<Event>) -> Contact {
    match event {
        Some(Event::Touch(touch)) => touch,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_same_level_twice_is_refused_flagged_and_restarts_the_hold() {
    let (event, tally) = one_fault(&[edge(100, Level::High), edge(600, Level::High)], 1_599);
    assert_eq!(event, None);
    assert_eq!((tally.pending, tally.refused), (1, 1));
    let (event, _) = one_fault(&[edge(100, Level::High), edge(600, Level::High)], 1_600);
    let touch = touch_of(event);
    assert!(touch.flags.contains(Flags::LOST_EDGE));
    assert_eq!(touch.onset.whole().ticks(), 100);
}

#[test]
fn over_capture_is_used_and_flagged() {
    let spoiled = edge(140, Level::High).with_faults(Flags::OVERCAPTURE);
    let edges = [edge(100, Level::High), edge(110, Level::Low), spoiled];
    let touch = touch_of(one_fault(&edges, 2_000).0);
    assert!(touch.flags.contains(Flags::OVERCAPTURE));
    assert_eq!((touch.edges, touch.balance.whole().ticks()), (3, 130));
}

#[test]
fn a_fault_long_before_a_touch_does_not_spoil_it() {
    let edges = [edge(100, Level::Low), edge(5_000, Level::High)];
    let touch = touch_of(one_fault(&edges, 9_000).0);
    assert!(!touch.flags.contains(Flags::LOST_EDGE));
    let edges = [edge(4_800, Level::Low), edge(5_000, Level::High)];
    let touch = touch_of(one_fault(&edges, 9_000).0);
    assert!(touch.flags.contains(Flags::LOST_EDGE));
}

#[test]
fn a_small_step_back_in_time_is_used_at_its_predecessor() {
    let edges = [
        edge(100, Level::High),
        edge(150, Level::Low),
        edge(140, Level::High),
    ];
    let touch = touch_of(one_fault(&edges, 2_000).0);
    assert!(touch.flags.contains(Flags::TIME_BACK));
    assert_eq!((touch.last_edge.ticks(), touch.edges), (150, 3));
}

#[test]
fn a_restarted_clock_starts_the_line_anew() {
    let edges = [
        edge(50_000, Level::High),
        edge(50_100, Level::Low),
        edge(200, Level::High),
    ];
    let (event, tally) = one_fault(&edges, 9_000);
    let touch = touch_of(event);
    assert_eq!(touch.onset.whole().ticks(), 200);
    assert!(touch.flags.contains(Flags::TIME_BACK));
    assert_eq!((tally.refused, tally.touches), (2, 1));
}

#[test]
fn no_hold_ends_while_the_level_is_unknown() {
    let blind = [edge(100, Level::High), edge(600, Level::Unknown)];
    let (event, tally) = one_fault(&blind, 1 << 40);
    assert_eq!(event, None);
    assert_eq!((tally.pending, tally.refused), (1, 1));
    let back = [blind[0], blind[1], edge(5_000, Level::High)];
    assert_eq!(one_fault(&back, 5_999).0, None);
    let touch = touch_of(one_fault(&back, 6_000).0);
    assert!(touch.flags.contains(Flags::UNKNOWN_LEVEL));
    assert!(!touch.flags.contains(Flags::LOST_EDGE));
}

#[test]
fn a_line_of_unknown_level_takes_its_first_level_as_it_is() {
    let config = config(Touched::High);
    let mut line = Line::new(&config, Level::Unknown, Instant::from_ticks(0));
    assert_eq!(line.edge(&config, edge(100, Level::High)), None);
    assert_eq!(line.poll(&config, Instant::from_ticks(9_000)), None);
    assert!(line.in_contact());
    assert_eq!(line.tally().initial, 1);
}

#[test]
fn the_causal_estimate_comes_before_slow_chatter_is_over() {
    let config = config(Touched::High);
    let mut line = open_line(Touched::High);
    for (at, level) in [(100, Level::High), (900, Level::Low), (950, Level::High)] {
        assert_eq!(line.edge(&config, edge(at, level)), None);
    }
    assert_eq!(line.causal(&config, Instant::from_ticks(1_199)), None);
    let early = line.causal(&config, Instant::from_ticks(1_200)).unwrap();
    assert_eq!(early.whole().ticks(), 100);
    assert_eq!(line.poll(&config, Instant::from_ticks(1_200)), None);
}
