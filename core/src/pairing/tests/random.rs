//! Laws over random calls in any order.

use super::super::*;
use super::bench::{config, keys, played, store_cut, Bench, HEARD, S, TERMS};
use crate::drawn::numbers;
use crate::time::Instant;

/// Any call at any time with any bytes, writes that are done, torn or not done: there is an answer,
/// and the lines are at stop wherever a key is offered or a window may be open.
#[test]
fn any_calls_in_any_order_keep_the_lines_at_stop_while_a_key_is_open() {
    let config = config();
    let mut next = numbers(41);
    let mut bench = Bench::paired();
    let mut worked = 0;
    for _ in 0..400_000 {
        // Now and then time runs back.
        let step = [0, 1, 50, 150, 5 * S][next() as usize % 5];
        let now = if next() % 50 == 0 {
            bench.now / 2
        } else {
            bench.now + step
        };
        bench.now = bench.now.max(now);
        let at = Instant::from_ticks(now);
        let (place, yes) = (next() as u8 & 1, next() % 2 == 0);
        let memory = bench.board_memory;
        let records = [&memory[0], &memory[1]];
        let mut bytes = [0; MESSAGE];
        match next() % 16 {
            0 | 1 => bench.board.button(&config, at, yes),
            2 => bench.board.cable(&config, at, yes),
            3 => bench.probe.cable(yes),
            4 => bench.board.poll(&config, at),
            5 | 6 => {
                if let Some(message) = bench.board.say(&config, at, records) {
                    bytes = *message.bytes();
                }
            }
            7 => {
                for byte in &mut bytes {
                    *byte = next() as u8;
                }
            }
            8 => {
                if let Some(answer) = bench.probe.say() {
                    bench.board.hear(&config, at, answer.bytes()).unwrap();
                }
            }
            9 => bench.board.frame(&config, at, place, HEARD),
            10 | 11 => bench.board.edge(&config, at, place, &played(at, yes)),
            12 => bench.probe.edge(&config, at, yes),
            13 => bench.board.written(&config, at, records),
            14 if next() % 8 == 0 => bench.board_power(),
            15 if next() % 8 == 0 => bench.restart_probe(),
            _ => {}
        }
        let offered = bench.probe.hear(&bytes).unwrap_or_default();
        if let Some(write) = offered.or_else(|| bench.probe.want()) {
            store_cut(&mut bench.probe_memory, &write, next() as usize % 60);
            let memory = bench.probe_memory;
            bench.probe.written([&memory[0], &memory[1]]);
        }
        let random = core::array::from_fn(|_| next() as u8);
        let drawn = bench.board.draw(&random, TERMS, |_| true).ok();
        if let Some(write) = drawn.or_else(|| bench.board.want()) {
            store_cut(&mut bench.board_memory, &write, next() as usize % 60);
            let memory = bench.board_memory;
            bench.board.written(&config, at, [&memory[0], &memory[1]]);
        }
        let open = keys(&bench.board_memory).iter().flatten().any(|key| !key.1);
        assert!(bench.board.is_stop() || !open);
        assert_eq!(bench.board.is_stop(), bench.board.lamp() != Lamp::Off);
        worked += u32::from(!bench.board.is_stop());
    }
    assert!(worked > 1_000, "{worked}");
}
