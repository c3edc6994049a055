//! Instructions of a poll: general-purpose debouncers beside a polled pin of the library.
//!
//! Every one reads the level from the same word of memory, updates its state, and gives back 0, 1
//! (rise) or 2 (fall); those that keep time are handed it as 64 bits. Each call stands between two
//! marker instructions that the emulator's plugin `qcount` counts between, the call itself
//! included. A line is printed after each: name, phase, bytes of state, whether it keeps time, and
//! what came back. The first, `floor`, only reads the pin.
#![no_std]
#![no_main]

mod pins;

use core::arch::asm;
use core::num::NonZeroU8;

use bounced::{active, DebouncedIntegrator, Status};
use debounce_button_eng::ButtonConfig as EngConfig;
use debounced_button::{Button, ButtonConfig, ButtonPull, ButtonState};
use debounced_pin::{ActiveHigh, Debounce as _, DebounceState, DebouncedInputPin};
use debouncr::{debounce_8, debounce_stateful_8, Edge};
use embedded_hal_0_2::digital::v2::InputPin as _;
use semihosting::println;
use timed_debouncer::Debouncer as Timed;
use trueonset::checked;
use trueonset::onset::{Config, Event};
use trueonset::pins::Polled;
use trueonset::time::{Bits, Counter, Instant, TickRate};
use unflappable::{debouncer_uninit, default, Debouncer};

use pins::{level, set, Pin};

/// A poll every tick of a millisecond, and eight of them in a row make an edge.
const TICKS: u64 = 8;
const HOLD: Config = checked!(Config::new(
    checked!(TickRate::from_hz(1_000)),
    TICKS * 1_000_000
));

/// One that asks a function for its level.
type Integrator = DebouncedIntegrator<active::High, fn() -> bool>;

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    semihosting::process::exit(2)
}

type Poll<T> = extern "C" fn(&mut T, u64) -> u32;

/// Calls `poll` between the markers.
fn counted<T>(poll: Poll<T>, state: &mut T, now: u64) -> u32 {
    let result: u32;
    // SAFETY: a plain call after the C convention; the markers move a register onto itself.
    unsafe {
        asm!(
            "mov r9, r9", "blx {poll}", "mov r10, r10",
            poll = in(reg) poll,
            inlateout("r0") core::ptr::from_mut(state) => result,
            in("r2") now as u32,
            in("r3") (now >> 32) as u32,
            clobber_abi("C"),
        );
    }
    result
}

/// 64 polls at rest, 64 with the level changing at every poll, a step up and a step down.
fn measure<T>(name: &str, timed: bool, state: &mut T, poll: Poll<T>) {
    let mut now = 1 << 33;
    let mut one = |phase, high| {
        set(high);
        now += 1;
        let came = counted(poll, state, now);
        println!(
            "{name} {phase} {} {} {came}",
            size_of::<T>(),
            u8::from(timed)
        );
    };
    (0..64).for_each(|_| one("quiet", false));
    (0..64).for_each(|turn| one("toggling", turn % 2 == 0));
    (0..64).for_each(|_| one("down", false));
    (0..32).for_each(|_| one("up", true));
    (0..64).for_each(|_| one("down", false));
}

/// A level, told as an edge where it is another than before.
fn edge(before: &mut bool, now: bool) -> u32 {
    if core::mem::replace(before, now) == now {
        0
    } else if now {
        1
    } else {
        2
    }
}

const fn told(edge: Option<&Edge>) -> u32 {
    match edge {
        None => 0,
        Some(Edge::Rising) => 1,
        Some(Edge::Falling) => 2,
    }
}

const fn event(event: Option<&Event>) -> u32 {
    match event {
        Some(Event::Touch(_)) => 1,
        Some(Event::Release(_)) => 2,
        _ => 0,
    }
}

static UNFLAPPABLE: Debouncer<Pin, default::ActiveHigh> = debouncer_uninit!();

#[cortex_m_rt::entry]
fn main() -> ! {
    measure("floor", false, &mut (), {
        extern "C" fn poll((): &mut (), _: u64) -> u32 {
            u32::from(level())
        }
        poll
    });
    ours();
    by_counts();
    by_time();
    semihosting::process::exit(0)
}

fn ours() {
    let mut polled = Polled::new(&HOLD, Pin, Instant::from_ticks(1 << 33));
    measure("trueonset", true, &mut polled, {
        extern "C" fn poll(polled: &mut Polled<Pin>, now: u64) -> u32 {
            event(polled.poll(&HOLD, Instant::from_ticks(now)).as_ref())
        }
        poll
    });
    let polled = Polled::new(&HOLD, Pin, Instant::from_ticks(1 << 33));
    let counter = Counter::new(Bits::B32, Instant::from_ticks(1 << 33));
    measure(
        "trueonset,_counter_of_32_bits",
        true,
        &mut (polled, counter),
        {
            extern "C" fn poll((polled, counter): &mut (Polled<Pin>, Counter), now: u64) -> u32 {
                let now = counter.widen(now as u32).at;
                event(polled.poll(&HOLD, now).as_ref())
            }
            poll
        },
    );
}

fn by_counts() {
    measure("debouncr_debounce_8", false, &mut debounce_8(false), {
        extern "C" fn poll(
            debouncer: &mut debouncr::Debouncer<u8, debouncr::Repeat8>,
            _: u64,
        ) -> u32 {
            told(debouncer.update(level()).as_ref())
        }
        poll
    });
    measure(
        "debouncr_debounce_stateful_8",
        false,
        &mut debounce_stateful_8(false),
        {
            extern "C" fn poll(
                debouncer: &mut debouncr::DebouncerStateful<u8, debouncr::Repeat8>,
                _: u64,
            ) -> u32 {
                told(debouncer.update(level()).as_ref())
            }
            poll
        },
    );
    measure(
        "debounced-pin",
        false,
        &mut (DebouncedInputPin::new(Pin, ActiveHigh), false),
        {
            extern "C" fn poll(
                (pin, before): &mut (DebouncedInputPin<Pin, ActiveHigh>, bool),
                _: u64,
            ) -> u32 {
                edge(before, pin.update() == Ok(DebounceState::Active))
            }
            poll
        },
    );
    // SAFETY: once, before it is polled, and nothing interrupts.
    if let Ok(pin) = unsafe { UNFLAPPABLE.init(Pin) } {
        measure("unflappable", false, &mut (pin, false), {
            extern "C" fn poll(
                (pin, before): &mut (unflappable::Debounced<'static, default::ActiveHigh>, bool),
                _: u64,
            ) -> u32 {
                // SAFETY: nothing interrupts.
                let _ = unsafe { UNFLAPPABLE.poll() };
                edge(before, pin.is_high() == Ok(true))
            }
            poll
        });
    }
    let integrator = DebouncedIntegrator::<active::High, fn() -> bool>::with_integrator(
        NonZeroU8::new(TICKS as u8).unwrap_or(NonZeroU8::MIN),
        level,
    );
    measure("bounced_integrator_8", false, &mut (integrator, false), {
        extern "C" fn poll((pin, before): &mut (Integrator, bool), _: u64) -> u32 {
            edge(before, pin.get_latest() == Status::High)
        }
        poll
    });
}

/// Those that tell for how long a level has lasted.
fn by_time() {
    let config = ButtonConfig {
        pressing_threshold: 0.008,
        pull: ButtonPull::PullDown,
        ..ButtonConfig::default()
    };
    measure(
        "debounced-button",
        true,
        &mut (Button::new(Pin, 1_000, config), false),
        {
            extern "C" fn poll((button, before): &mut (Button<Pin>, bool), _: u64) -> u32 {
                button.poll();
                let state = button.read();
                let pressed = matches!(state, ButtonState::Pressing | ButtonState::LongPress);
                edge(before, pressed)
            }
            poll
        },
    );
    measure("timed-debouncer", true, &mut (Timed::new(), false), {
        extern "C" fn poll((timed, before): &mut (Timed<bool>, bool), now: u64) -> u32 {
            edge(before, timed.update(level(), now, TICKS as u32))
        }
        poll
    });
    let config = EngConfig::active_high().with_debounce_ms(TICKS);
    let button = debounce_button_eng::Button::with_config(Pin, config);
    measure("debounce-button-eng", true, &mut { button }, {
        extern "C" fn poll(button: &mut debounce_button_eng::Button<Pin>, now: u64) -> u32 {
            match button.update(now) {
                Ok(update) if update.events.pressed => 1,
                Ok(update) if update.events.released => 2,
                _ => 0,
            }
        }
        poll
    });
}
