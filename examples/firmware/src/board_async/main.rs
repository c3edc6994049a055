//! The board's side once more, on an async executor: the same passes, only the shell differs.
//!
//! The interrupt wakes the task, and the task makes a pass. An awaited pin or timer only wakes:
//! instants come from the capture unit, as in `board`, where it is said what to change for a real
//! board. Besides, give back the timer of your executor, set to `wake`, in place of `pending`; here
//! the port of the emulated board is timer and pin in one.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../key.rs"]
mod key;
#[path = "../machine/logger.rs"]
mod logger;
#[path = "../board/logic.rs"]
mod logic;
#[path = "../machine/mod.rs"]
mod machine;
#[path = "../stop.rs"]
mod stop;

use core::future::pending;
use core::mem::MaybeUninit;

use embassy_executor::Executor;
use trueonset::pins::{serve, Capture};
use trueonset::receiver::Receiver;

use logic::Board;
use machine::{Bell, CaptureUnit};

machine::interrupt!(heard, logger::foreign);

/// See `board`; here it wakes the task.
fn heard() {
    while CaptureUnit.take().is_some() {}
    machine::ring();
}

#[cortex_m_rt::entry]
fn main() -> ! {
    static mut EXECUTOR: Option<Executor> = None;
    EXECUTOR.insert(Executor::new()).run(|spawner| {
        // It is spawned once; tasks of yours go beside it.
        if let Ok(passes) = passes() {
            spawner.spawn(passes);
        }
    })
}

#[embassy_executor::task]
async fn passes() {
    let mut receiver = MaybeUninit::<Receiver>::uninit();
    machine::start();
    let mut board = Board::new(&mut receiver);
    serve(Bell, |woken| {
        if let Err(cause) = woken {
            board.receiver.latch(cause);
        }
        let (wake, valid_until, latched) = board.pass();
        machine::set(Some(wake), valid_until, latched);
        pending::<()>()
    })
    .await;
}
