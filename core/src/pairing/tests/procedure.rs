//! The procedure, step by step, and what may go wrong with it.

extern crate std;

use super::super::*;
use super::bench::*;
use crate::time::{Bits, Counter, Instant};

#[test]
fn a_new_probe_is_paired_with_a_new_board() {
    let mut bench = Bench::new();
    assert_eq!(
        (bench.board.place(), bench.board.lamp()),
        (None, Lamp::Unfinished)
    );
    assert!(bench.board.is_stop() && !bench.probe.may_send());
    bench.hold();
    assert_eq!(bench.board.lamp(), Lamp::Slow);
    bench.cable(true);
    let check = Bench::check_of(&bench.random);
    assert_eq!(keys(&bench.board_memory), [Some((check, false)), None]);
    assert_eq!(keys(&bench.probe_memory), [Some((check, false)), None]);
    assert!(!bench.probe.may_send());
    bench.cable(false);
    assert_eq!(bench.boot, 2);
    assert!(bench.probe.may_send() && bench.probe.place() == Some(0));
    bench.frames(7);
    bench.touch_twice();
    assert_eq!(bench.board.lamp(), Lamp::Slow);
    bench.frames(1);
    assert_eq!(bench.board.lamp(), Lamp::Fast);
    for touched in [true, false, true] {
        bench.edge(touched);
        assert_eq!(bench.board.lamp(), Lamp::Fast);
    }
    bench.edge(false);
    assert_eq!(bench.board.lamp(), Lamp::Steady);
    assert_eq!(keys(&bench.board_memory), [Some((check, false)), None]);
    assert!(bench.board.is_stop());
    bench.button(true);
    assert_eq!(bench.board.ended(), Some(End::Committed));
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Off, false)
    );
    assert_eq!(keys(&bench.board_memory), [Some((check, true)), None]);
    assert_eq!(keys(&bench.probe_memory), [Some((check, true)), None]);
    // The record is what both sides are to work with.
    let paired = Paired::of_record(&bench.board_memory[0]).unwrap();
    assert_eq!(
        (paired.id, paired.terms),
        (
            u16::from_be_bytes([bench.random[16], bench.random[17]]) & 0xFFF,
            TERMS
        )
    );
    assert_eq!(paired.key.check(), check);
}

#[test]
fn a_key_change_leaves_one_key_on_either_side() {
    let mut bench = Bench::paired();
    let old = keys(&bench.board_memory)[0];
    let new = Bench::check_of(&bench.random);
    bench.hold();
    bench.cable(true);
    assert_eq!(keys(&bench.board_memory), [old, Some((new, false))]);
    assert_eq!(keys(&bench.probe_memory), [old, Some((new, false))]);
    bench.cable(false);
    bench.frames(8);
    bench.touch_twice();
    bench.button(true);
    bench.button(false);
    assert_eq!(keys(&bench.board_memory), [None, Some((new, true))]);
    assert_eq!(keys(&bench.probe_memory), [old, Some((new, true))]);
    bench.restart_probe();
    assert_eq!(keys(&bench.probe_memory), [None, Some((new, true))]);
    // And again, into the place that is free now.
    bench.random = random(13);
    bench.pair();
    assert_eq!(bench.board.place(), Some(0));
    assert_eq!(bench.board.ended(), Some(End::Committed));
}

#[test]
fn sixty_seconds_over_leaves_the_old_key_and_a_drop_by_cable() {
    let mut bench = Bench::paired();
    let old = keys(&bench.board_memory);
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    bench.touch_twice();
    let opened = bench.now;
    bench.now = opened.max(65 * S - 1);
    let until = bench.board.deadline(&config()).unwrap();
    bench.now = until.ticks() - 1;
    bench.settle();
    assert_eq!(bench.board.lamp(), Lamp::Steady);
    bench.pass(1);
    assert_eq!(bench.board.ended(), Some(End::TimeOver));
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Unfinished, true)
    );
    // A press now does nothing, and a loss of power forgets nothing.
    bench.button(true);
    bench.button(false);
    bench.board_power();
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Unfinished, true)
    );
    bench.cable(true);
    assert_eq!(keys(&bench.board_memory), old);
    assert_eq!(keys(&bench.probe_memory), old);
    assert!(!bench.board.is_stop());
    bench.cable(false);
    assert!(bench.probe.may_send() && bench.probe.place() == Some(0));
}

#[test]
fn the_window_ends_sixty_seconds_after_the_hold() {
    let mut bench = Bench::paired();
    bench.button(true);
    bench.pass(5 * S - 1);
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Off, false)
    );
    bench.pass(1);
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Slow, true)
    );
    // Stuck: no press ever comes.
    bench.pass(60 * S - 1);
    assert!(bench.board.is_stop());
    bench.pass(1);
    assert_eq!(bench.board.ended(), Some(End::TimeOver));
    bench.pass(1_000 * S);
    assert!(!bench.board.is_stop());
}

#[test]
fn a_button_that_is_down_at_power_up_begins_nothing() {
    let mut bench = Bench::paired();
    bench.board_power();
    bench.button(true);
    bench.pass(100 * S);
    assert!(!bench.board.is_stop());
    bench.button(false);
    bench.button(true);
    bench.pass(5 * S);
    assert!(bench.board.is_stop());
}

#[test]
fn a_press_before_the_lamp_is_steady_ends_it_at_any_step() {
    for step in 0..6 {
        let mut bench = Bench::paired();
        let old = keys(&bench.board_memory)[0];
        bench.hold();
        if step > 0 {
            bench.cable(true);
        }
        if step > 1 {
            bench.cable(false);
        }
        if step > 2 {
            bench.frames(8);
        }
        if step > 3 {
            bench.edge(true);
            bench.edge(false);
        }
        if step > 4 {
            bench.edge(true);
        }
        bench.button(true);
        assert_eq!(bench.board.ended(), Some(End::PressedEarly), "{step}");
        assert_eq!(keys(&bench.board_memory)[0], old);
        // With the cable still in, it was told to drop at once.
        assert_eq!(bench.board.is_stop(), step > 1, "{step}");
        bench.button(false);
        bench.cable(true);
        assert_eq!(keys(&bench.probe_memory), [old, None], "{step}");
        assert!(!bench.board.is_stop());
    }
}

#[test]
fn edges_out_of_order_begin_anew() {
    let mut bench = Bench::paired();
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    for touched in [false, true, true, false, false, true, false] {
        bench.edge(touched);
        assert_eq!(bench.board.lamp(), Lamp::Fast);
    }
    bench.edge(true);
    assert_eq!(bench.board.lamp(), Lamp::Fast);
    bench.edge(false);
    assert_eq!(bench.board.lamp(), Lamp::Steady);
    // With the cable in, nothing of this counts any more.
    bench.cable(true);
    assert_eq!(bench.board.lamp(), Lamp::Slow);
}

/// Nor do those of a jolt: neither side takes them for touches by hand.
#[test]
fn a_jolt_neither_lights_the_lamp_nor_confirms_a_key() {
    let mut bench = Bench::paired();
    let new = Bench::check_of(&bench.random);
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    for _ in 0..3 {
        for (ticks, touched) in [(400, true), (9, false), (30, true), (12, false)] {
            bench.edge_after(ticks, touched);
        }
    }
    assert_eq!(bench.board.lamp(), Lamp::Fast);
    assert_eq!(keys(&bench.probe_memory)[1], Some((new, false)));
    bench.button(true);
    assert_eq!(bench.board.ended(), Some(End::PressedEarly));
}

#[test]
fn the_same_probe_goes_on_in_a_new_window_with_the_key_it_has() {
    let mut bench = Bench::paired();
    let new = Bench::check_of(&bench.random);
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    bench.touch_twice();
    // Two starts without a press: the probe has the new key alone.
    bench.restart_probe();
    assert_eq!(keys(&bench.probe_memory), [None, Some((new, true))]);
    bench.pass(60 * S);
    bench.random = random(17);
    // It is not dropped, being the only one.
    bench.cable(true);
    bench.cable(false);
    assert_eq!(keys(&bench.probe_memory), [None, Some((new, true))]);
    assert!(bench.board.is_stop());
    bench.pair();
    assert_eq!(bench.board.ended(), Some(End::Committed));
    assert_eq!(keys(&bench.board_memory), [None, Some((new, true))]);
}

/// The probe that was offered a key first is lost: only a pairing to its end lets the board work
/// again.
#[test]
fn another_probe_over_an_unfinished_pairing_must_be_paired_to_the_end() {
    let mut bench = Bench::paired();
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.pass(60 * S);
    bench.random = random(19);
    let memory = [ERASED; 2];
    bench.probe_memory = memory;
    bench.unit = UNIT + 1;
    bench.probe = Probe::start(bench.unit, [&memory[0], &memory[1]]);
    bench.probe.booted(0);
    // Not the one: nothing happens.
    bench.cable(true);
    assert_eq!(keys(&bench.probe_memory), [None, None]);
    assert!(bench.board.is_stop());
    bench.cable(false);
    bench.hold();
    bench.cable(true);
    let third = Bench::check_of(&bench.random);
    assert_eq!(keys(&bench.probe_memory)[0], Some((third, false)));
    bench.cable(false);
    bench.pass(60 * S);
    bench.cable(true);
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Unfinished, true)
    );
}

#[test]
fn a_memory_that_takes_nothing_is_told() {
    // The board's, from the first store on.
    let mut bench = Bench::paired();
    let old = keys(&bench.board_memory);
    bench.board_writes = false;
    bench.hold();
    bench.cable(true);
    assert_eq!(bench.board.ended(), Some(End::NotStored));
    assert!(!bench.board.is_stop());
    assert_eq!(keys(&bench.probe_memory), old);
    // The probe's.
    let mut bench = Bench::paired();
    bench.probe_writes = false;
    bench.hold();
    bench.cable(true);
    assert_eq!(bench.board.lamp(), Lamp::Slow);
    bench.pass(60 * S);
    assert_eq!(bench.board.ended(), Some(End::TimeOver));
    // Plugged in as it is, it said that it has nothing.
    assert_eq!(keys(&bench.board_memory), old);
    assert!(!bench.board.is_stop());
    // The board's, at the press.
    let mut bench = Bench::paired();
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    bench.touch_twice();
    bench.board_writes = false;
    bench.button(true);
    assert_eq!(bench.board.ended(), Some(End::NotStored));
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Unfinished, true)
    );
    // The probe's confirmation: two more touches try again.
    let mut bench = Bench::paired();
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    bench.probe_writes = false;
    bench.touch_twice();
    let new = Bench::check_of(&bench.random);
    assert_eq!(keys(&bench.probe_memory)[1], Some((new, false)));
    bench.probe_writes = true;
    bench.touch_twice();
    assert_eq!(keys(&bench.probe_memory)[1], Some((new, true)));
}

#[test]
fn an_old_key_that_does_not_go_keeps_the_lines_at_stop() {
    let mut bench = Bench::paired();
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.frames(8);
    bench.touch_twice();
    // The confirmation is taken, the erasing is not.
    let config = config();
    bench.board.button(&config, bench.at(), true);
    let confirm = bench.board.want().unwrap();
    store(&mut bench.board_memory, &confirm);
    bench.board_writes = false;
    let (at, memory) = (bench.at(), bench.board_memory);
    bench.board.written(&config, at, [&memory[0], &memory[1]]);
    assert_eq!(bench.board.ended(), Some(End::Committed));
    assert_eq!(bench.board.lamp(), Lamp::Steady);
    bench.settle();
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Fault, true)
    );
    assert!(bench.board.want().is_none());
    assert_eq!(
        bench.board.deadline(&config),
        Some(Instant::from_ticks(bench.now + S))
    );
    // It is tried again every second, and after a loss of power.
    bench.board_writes = true;
    bench.pass(S);
    assert_eq!(
        (bench.board.lamp(), bench.board.is_stop()),
        (Lamp::Off, false)
    );
}

/// Power lost at every byte of every write of a key change, on either side.
#[test]
fn power_lost_at_any_byte_of_any_write_leaves_a_key_in_common() {
    for on_board in [true, false] {
        for nth in 0..4 {
            for cut in 0..=KEY_RECORD {
                let mut bench = Bench::paired();
                cut_run(&mut bench, on_board, nth, cut);
                let of = |memory: &Memory| keys(memory).map(|key| key.map(|key| key.0));
                let (board, probe) = (of(&bench.board_memory), of(&bench.probe_memory));
                let common = board
                    .iter()
                    .flatten()
                    .any(|key| probe.contains(&Some(*key)));
                assert!(common, "board {on_board}, write {nth}, byte {cut}");
                // And the same procedure gets on from there.
                bench.random = random(23);
                bench.board_power();
                bench.restart_probe();
                bench.cable(false);
                bench.pair();
                assert_eq!(
                    bench.board.ended(),
                    Some(End::Committed),
                    "{on_board} {nth} {cut}"
                );
                assert!(!bench.board.is_stop());
            }
        }
    }
}

/// A key change in which write number `nth` of one side is cut at byte `cut`, and both lose power.
fn cut_run(bench: &mut Bench, on_board: bool, nth: usize, cut: usize) {
    let config = config();
    let mut writes = 0;
    let mut take = |memory: &mut Memory, write: &KeyWrite, mine: bool| {
        let last = mine && writes == nth;
        store_cut(memory, write, if last { cut } else { KEY_RECORD });
        writes += usize::from(mine);
        last
    };
    let at = |now: u64| Instant::from_ticks(now);
    bench.board.button(&config, at(bench.now), true);
    bench.now += 5 * S;
    bench.board.button(&config, at(bench.now), false);
    bench.board.cable(&config, at(bench.now), true);
    bench.probe.cable(true);
    for step in 0..60 {
        if step == 30 {
            bench.board.cable(&config, at(bench.now), false);
            bench.probe.cable(false);
            let memory = bench.probe_memory;
            bench.probe = Probe::start(UNIT, [&memory[0], &memory[1]]);
            bench.boot += 1;
            bench.probe.booted(bench.boot);
            bench.frames_only();
        }
        if step == 40 {
            bench.board.button(&config, at(bench.now), true);
        }
        if step == 50 {
            let memory = bench.probe_memory;
            bench.probe = Probe::start(UNIT, [&memory[0], &memory[1]]);
        }
        let drawn = if bench.board.wants_draw() {
            bench.board.draw(&bench.random, TERMS, |_| true).ok()
        } else {
            bench.board.want()
        };
        if let Some(write) = drawn {
            if take(&mut bench.board_memory, &write, on_board) {
                return;
            }
            let memory = bench.board_memory;
            bench
                .board
                .written(&config, at(bench.now), [&memory[0], &memory[1]]);
        }
        let memory = bench.board_memory;
        let said = bench
            .board
            .say(&config, at(bench.now), [&memory[0], &memory[1]]);
        let offered = said.and_then(|said| bench.probe.hear(said.bytes()).unwrap());
        if let Some(write) = offered.or_else(|| bench.probe.want()) {
            if take(&mut bench.probe_memory, &write, !on_board) {
                return;
            }
            let memory = bench.probe_memory;
            bench.probe.written([&memory[0], &memory[1]]);
        }
        if let Some(answer) = bench.probe.say() {
            bench
                .board
                .hear(&config, at(bench.now), answer.bytes())
                .unwrap();
        }
    }
}

impl Bench {
    /// Frames and touches, without any write.
    fn frames_only(&mut self) {
        let config = config();
        let trial = self.board.trial().unwrap();
        for _ in 0..8 {
            self.board
                .frame(&config, Instant::from_ticks(self.now), trial.place, HEARD);
        }
        for touched in [true, false, true, false] {
            self.now += 300;
            let at = self.at();
            self.probe.edge(&config, at, touched);
            self.board
                .edge(&config, at, trial.place, &played(at, touched));
        }
    }
}

#[test]
fn a_draw_that_is_no_key_is_refused_and_does_not_say_what_it_was() {
    let mut bench = Bench::paired();
    let old = bench.random;
    assert!(matches!(
        bench.board.draw(&old, TERMS, |_| true),
        Err(DrawRefused::NotWanted)
    ));
    bench.hold();
    let at = bench.at();
    bench.board.cable(&config(), at, true);
    bench.probe.cable(true);
    let memory = bench.board_memory;
    let ask = bench
        .board
        .say(&config(), at, [&memory[0], &memory[1]])
        .unwrap();
    assert!(bench.probe.hear(ask.bytes()).unwrap().is_none());
    let answer = bench.probe.say().unwrap();
    bench.board.hear(&config(), at, answer.bytes()).unwrap();
    assert!(bench.board.wants_draw());
    let board = &mut bench.board;
    let odd = Terms {
        beat_slots: 0,
        ..TERMS
    };
    assert!(matches!(
        board.draw(&old, odd, |_| true),
        Err(DrawRefused::Terms)
    ));
    let alike = [0x5A; DRAW];
    assert!(matches!(
        board.draw(&alike, TERMS, |_| true),
        Err(DrawRefused::Key(_))
    ));
    let first: [u8; DRAW] = random(7);
    assert!(matches!(
        board.draw(&first, TERMS, |_| true),
        Err(DrawRefused::Repeated)
    ));
    let mut same_number = old;
    same_number[16..].copy_from_slice(&first[16..]);
    assert!(matches!(
        board.draw(&same_number, TERMS, |_| true),
        Err(DrawRefused::NumberTaken)
    ));
    assert!(matches!(
        board.draw(&old, TERMS, |_| false),
        Err(DrawRefused::NumberTaken)
    ));
    assert!(board.draw(&old, TERMS, |_| true).is_ok());
}

/// A key under which no start is left cannot be shown: another one is drawn.
#[test]
fn a_probe_without_a_start_left_gets_another_key() {
    let mut bench = Bench::paired();
    bench.hold();
    bench.cable(true);
    bench.cable(false);
    bench.pass(60 * S);
    bench.probe.booted(Bench::last_boot());
    assert!(!bench.probe.may_send());
    bench.random = random(29);
    bench.hold();
    bench.cable(true);
    let third = Bench::check_of(&bench.random);
    assert_eq!(keys(&bench.probe_memory)[0], Some((third, false)));
}

/// The timer of the board goes round once in the window, and once in the hold.
#[test]
fn a_timer_that_wraps_changes_nothing() {
    let config = config();
    for start in [0xFFFF_FFFF - 2_000, 0xFFFF_FFFF - 20_000_u32] {
        let mut counter = Counter::new(Bits::B32, Instant::from_ticks(u64::from(start)));
        let mut at = |ticks: u32| counter.widen(start.wrapping_add(ticks)).at;
        let mut board = Bench::paired().board;
        board.button(&config, at(0), false);
        board.button(&config, at(1), true);
        board.poll(&config, at(5_000));
        assert!(!board.is_stop());
        board.poll(&config, at(5_001));
        assert!(board.is_stop());
        board.poll(&config, at(65_000));
        assert!(board.is_stop());
        board.poll(&config, at(65_001));
        assert!(!board.is_stop());
    }
}

/// A main loop that comes late: the window is no longer for that.
#[test]
fn a_late_poll_does_not_lengthen_the_window() {
    let mut bench = Bench::paired();
    bench.button(true);
    bench.pass(65 * S);
    assert_eq!(bench.board.ended(), Some(End::TimeOver));
    assert!(!bench.board.is_stop());
}

#[test]
fn an_answer_to_an_earlier_message_does_not_count() {
    let mut bench = Bench::paired();
    let config = config();
    bench.hold();
    let at = bench.at();
    bench.board.cable(&config, at, true);
    bench.probe.cable(true);
    let memory = bench.board_memory;
    let ask = bench
        .board
        .say(&config, at, [&memory[0], &memory[1]])
        .unwrap();
    bench.probe.hear(ask.bytes()).unwrap();
    let late = bench.probe.say().unwrap();
    bench.now += 100;
    let again = bench
        .board
        .say(&config, bench.at(), [&memory[0], &memory[1]]);
    assert!(again.is_some());
    bench.board.hear(&config, bench.at(), late.bytes()).unwrap();
    assert!(!bench.board.wants_draw());
}

#[test]
fn the_lamp_tells_its_patterns_apart() {
    let changes = |lamp: Lamp| {
        (1..2_000)
            .filter(|ms| lamp.is_lit(*ms) != lamp.is_lit(ms - 1))
            .count()
    };
    assert_eq!(changes(Lamp::Off), 0);
    assert_eq!(changes(Lamp::Steady), 0);
    assert!(Lamp::Steady.is_lit(7) && !Lamp::Off.is_lit(7));
    assert_eq!(changes(Lamp::Slow), 3);
    assert_eq!(changes(Lamp::Fast), 15);
    assert_eq!(changes(Lamp::Unfinished), 3);
    assert_eq!(changes(Lamp::Fault), 5);
}

/// What is printed of a board tells nothing that hangs on a key.
#[test]
fn nothing_printed_hangs_on_the_key() {
    let printed = |first: u8| {
        let blank = [0xFF; KEY_RECORD];
        let mut board = Board::start([&blank, &blank]);
        let mut probe = Probe::start(77, [&blank, &blank]);
        let config = PairingConfig::new(crate::time::TickRate::from_hz(1_000).unwrap()).unwrap();
        let at = Instant::from_ticks;
        board.button(&config, at(0), false);
        board.button(&config, at(1), true);
        board.poll(&config, at(5_100));
        board.button(&config, at(5_200), false);
        board.cable(&config, at(5_300), true);
        probe.cable(true);
        let ask = board.say(&config, at(5_400), [&blank, &blank]).unwrap();
        let _ = probe.hear(ask.bytes());
        let status = probe.say().unwrap();
        board.hear(&config, at(5_401), status.bytes()).unwrap();
        let terms = Terms {
            slot_ns: 1_000_000,
            beat_slots: 5,
            oscillator: OscillatorKind::Crystal,
            plan_check: 0,
        };
        let mut drawn = [7; DRAW];
        drawn[0] = first;
        let Ok(KeyWrite::Store { record, .. }) = board.draw(&drawn, terms, |_| true) else {
            panic!()
        };
        board.written(&config, at(5_402), [record.bytes(), &blank]);
        std::format!("{board:?}")
    };
    assert_eq!(printed(1), printed(2));
}
