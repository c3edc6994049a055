//! Instructions of the board's side of a link: a frame, a poll at which nothing happens, a poll at which an edge leaves.

use core::hint::black_box;

use semihosting::println;
use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::frame::{Key, Mark, Quality, FRAME};
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::lines::Decision;
use trueonset::link::{LinkConfig, LinkPlan, Outcome, State, Stored};
use trueonset::receiver::{Receiver, ReceiverConfig, Taken};
use trueonset::time::{Instant, TickRate};

use crate::{counted, stop, RATE_HZ};

const ID: u16 = 5;
/// Frames: past the join, and on with a touch or release every so many slots.
const FRAMES: u32 = 400;
const APART_SLOTS: u64 = 150;
/// From a frame to a poll at which nothing happens, ticks.
const QUIET: u64 = 1_000;

struct Board {
    config: LinkConfig,
    receiver: Receiver,
    now: Instant,
    bytes: [u8; FRAME],
    decision: Decision,
}

/// The work of the end of a frame.
#[inline(never)]
extern "C" fn frame(board: &mut Board, _: u32, _: bool) -> u32 {
    let now = board.now;
    let taken = board.receiver.frame(&board.config, now, now, &board.bytes);
    u32::from(matches!(
        taken,
        Taken::Genuine(Outcome::Life | Outcome::Joining | Outcome::Held)
    ))
}

/// The work of a turn of the main loop.
#[inline(never)]
extern "C" fn poll(board: &mut Board, _: u32, _: bool) -> u32 {
    let left = board.receiver.poll(&board.config, board.now);
    board.decision = board.receiver.lines(&board.config, board.now);
    u32::from(left.is_some())
}

fn head(rate: TickRate) -> Option<(HeadConfig, Head)> {
    let config = HeadConfig::new(rate, ID, &LinkPlan::INFRARED).ok()?;
    let paired = Waking::paired(&config);
    let waking = Waking::read(&config, [&paired, &paired])?;
    let (_, record) = waking.write();
    let counted = waking.stored([&record, &record]).ok()?;
    let mut head = counted.head(key()?, Instant::from_ticks(0), false);
    let mut status = HeadStatus::default();
    status.signs.measuring = true;
    head.set_status(status);
    Some((config, head))
}

fn board(rate: TickRate) -> Option<Board> {
    let config = LinkConfig::new(rate, black_box(LinkPlan::INFRARED)).ok()?;
    let clock = ClockConfig::new(rate, LinkPlan::INFRARED.slot_ns, Oscillator::CRYSTAL).ok()?;
    let probe = ReceiverConfig::new(&config, ID, clock).ok()?;
    let mark = Mark::default().record(ID);
    let stored = Stored::read(&config, [&mark, &mark], ID);
    Some(Board {
        receiver: Receiver::new(&probe, key()?, stored),
        config,
        now: Instant::from_ticks(0),
        bytes: [0; FRAME],
        decision: Decision::STOP,
    })
}

/// Good for counting only.
fn key() -> Option<Key> {
    Key::new(*b"TEST KEY: COUNTS").ok()
}

/// Counts them all.
pub fn count() {
    let sides = TickRate::from_hz(black_box(RATE_HZ))
        .ok()
        .and_then(|rate| Some((head(rate)?, board(rate)?)));
    let Some(((head_config, mut head), mut board)) = sides else {
        stop("the settings of the link were refused")
    };
    let (mut slot, mut edge, mut left) = (0, APART_SLOTS * 2, 0);
    let mut touched = false;
    for _ in 0..FRAMES {
        slot = head.next(&head_config, slot);
        if slot > edge {
            touched = !touched;
            let at = head.begin(&head_config, edge);
            if head
                .edge(&head_config, at, touched, Quality::Clean)
                .is_err()
            {
                stop("the probe refused an edge")
            }
            edge += APART_SLOTS;
            slot = head.next(&head_config, slot);
        }
        let begin = head.begin(&head_config, slot);
        // What is due before the frame.
        while let Some(due) = board.receiver.deadline(&board.config) {
            if due >= begin {
                break;
            }
            board.now = due.max(Instant::from_ticks(board.now.ticks() + 1));
            if counted(poll, &mut board, 0, false) == 0 {
                stop("a deadline at which nothing left")
            }
            println!("leaves");
            left += 1;
        }
        board.now = begin;
        board.bytes = head.frame(&head_config, slot);
        let joins = board.receiver.state() != State::Live;
        // It begins to listen in the middle of things: a hello comes once in a while.
        if counted(frame, &mut board, 0, false) == 0 && !joins {
            stop("a frame of a live link was not taken")
        }
        println!("{}", if joins { "joins" } else { "frame" });
        if let Some(write) = board.receiver.want() {
            board.receiver.stored(write.mark);
        }
        let then = Instant::from_ticks(begin.ticks() + QUIET);
        if board
            .receiver
            .deadline(&board.config)
            .is_none_or(|due| due > then)
        {
            board.now = then;
            if counted(poll, &mut board, 0, false) != 0 {
                stop("an edge left before its deadline")
            }
            println!("quiet");
        }
    }
    if left < 2 || !board.decision.ready {
        stop("no edges left, or the link did not come up")
    }
    println!("receiver {}", size_of::<Receiver>());
}
