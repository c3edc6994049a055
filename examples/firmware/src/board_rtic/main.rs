//! The board's side once more, as an RTIC application: the same passes, only the shell differs.
//!
//! The capture interrupt has the highest priority and stores; the passes are a task below it, and
//! tasks of yours go below that. In `board` it is said what to change for a real board; `device` is
//! the device crate of your controller.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.
#![no_std]
#![no_main]

#[path = "../machine/device.rs"]
pub mod device;
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

#[rtic::app(device = crate::device)]
mod app {
    use core::mem::MaybeUninit;

    use trueonset::pins::Capture;
    use trueonset::receiver::Receiver;

    use crate::device::Interrupt;
    use crate::logic::Board;
    use crate::machine;

    #[shared]
    struct Shared {}

    #[local]
    struct Local {
        board: Board<'static>,
    }

    #[init(local = [receiver: MaybeUninit<Receiver> = MaybeUninit::uninit()])]
    fn init(context: init::Context) -> (Shared, Local) {
        machine::start_unheard();
        rtic::pend(Interrupt::TIMER0A);
        let board = Board::new(context.local.receiver);
        (Shared {}, Local { board })
    }

    #[task(binds = UART0, priority = 2)]
    fn captured(_: captured::Context) {
        while machine::CaptureUnit.take().is_some() {}
        if machine::gone_on() {
            rtic::pend(Interrupt::TIMER0A);
        }
    }

    #[task(binds = TIMER0A, priority = 1, local = [board])]
    fn pass(context: pass::Context) {
        let (wake, valid_until, latched) = context.local.board.pass();
        machine::set(Some(wake), valid_until, latched);
    }
}
