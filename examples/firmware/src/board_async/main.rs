//! The board's side once more, on an async executor: the same passes, only the shell differs.
//!
//! The interrupt wakes the task, and the task makes a pass. An
//! awaited pin or timer only wakes: instants come from the capture unit, as in `board`, where it is
//! said what to change for a real board.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../stop.rs"]
#[macro_use]
mod stop;
#[path = "../key.rs"]
mod key;
#[path = "../machine/logger.rs"]
mod logger;
#[path = "../board/logic.rs"]
mod logic;
#[path = "../machine/mod.rs"]
mod machine;

use core::cell::RefCell;
use core::future::poll_fn;
use core::mem::MaybeUninit;
use core::task::{Poll, Waker};

use critical_section::Mutex;
use trueonset::pins::Capture;
use trueonset::receiver::Receiver;

use logic::Board;
use machine::CaptureUnit;

/// Who waits for the interrupt.
static WAITING: Mutex<RefCell<Option<Waker>>> = Mutex::new(RefCell::new(None));

/// See `board`; here it wakes the task.
#[cortex_m_rt::exception]
unsafe fn DefaultHandler(_: i16) {
    while CaptureUnit.take().is_some() {}
    critical_section::with(|section| {
        if let Ok(mut waiting) = WAITING.borrow(section).try_borrow_mut() {
            if let Some(waker) = waiting.take() {
                waker.wake();
            }
        }
    });
}

/// Ready once the timer has gone on.
async fn gone_on() {
    poll_fn(|context| {
        // Asked inside the section, so that no interrupt falls between question and answer.
        critical_section::with(|section| {
            if machine::gone_on() {
                return Poll::Ready(());
            }
            if let Ok(mut waiting) = WAITING.borrow(section).try_borrow_mut() {
                *waiting = Some(context.waker().clone());
            }
            Poll::Pending
        })
    })
    .await;
}

#[embassy_executor::main]
async fn main(spawner: embassy_executor::Spawner) {
    // It is spawned once; tasks of yours go beside it.
    if let Ok(passes) = passes() {
        spawner.spawn(passes);
    }
}

#[embassy_executor::task]
async fn passes() {
    let mut receiver = MaybeUninit::<Receiver>::uninit();
    machine::start();
    let mut board = Board::new(&mut receiver);
    loop {
        let (wake, valid_until, latched) = board.pass();
        machine::set(wake, valid_until, latched);
        gone_on().await;
    }
}
