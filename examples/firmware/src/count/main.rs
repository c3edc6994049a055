//! Instructions of the shipped path: a raw 32-bit capture is widened and given to the line.
//!
//! Each call stands between two marker instructions, which the emulator's plugin `qcount` counts between (the call
//! itself included); the image then prints what the call was: `edge`, `touch`, `release` (the confirming polls) or
//! `bare` (balance point and cumulative sum alone, for comparison). Seed and number of touches come by semihosting.
#![no_std]
#![no_main]

mod bare;
mod chatter;
mod gauge;
#[path = "../halt.rs"]
mod halt;
mod link;
mod samples;

use core::arch::asm;
use core::hint::black_box;

use semihosting::{eprintln, println};
use trueonset::edge::{Edge, Level};
use trueonset::onset::{Config, Event, Line};
use trueonset::time::{Bits, Counter, Instant, TickRate};

use crate::bare::Bare;
use crate::chatter::Chatter;

const RATE_HZ: u32 = 16_000_000;
const HOLD_NS: u64 = 1_000_000;

/// What an interrupt handler of a probe keeps for one channel; what every edge needs comes first, within reach of
/// the short loads of a Cortex-M0.
#[repr(C)]
struct Channel {
    line: Line,
    counter: Counter,
    config: Config,
    event: Option<Event>,
}

/// The interrupt's work: a capture, from its raw stamp to the event.
#[inline(never)]
extern "C" fn edge(channel: &mut Channel, raw: u32, high: bool) -> u32 {
    let edge = Edge::captured(channel.counter.widen(raw), Level::from(high));
    let event = channel.line.edge(&channel.config, edge);
    keep(channel, event)
}

/// The timer's work: a hold may be over.
#[inline(never)]
extern "C" fn poll(channel: &mut Channel, raw: u32, _: bool) -> u32 {
    let now = channel.counter.widen(raw).at;
    let event = channel.line.poll(&channel.config, now);
    keep(channel, event)
}

#[inline]
fn keep(channel: &mut Channel, event: Option<Event>) -> u32 {
    let code = match event {
        None => return 0,
        Some(Event::Touch(_)) => 1,
        Some(Event::Release(_)) => 2,
        Some(_) => 3,
    };
    channel.event = event;
    code
}

/// Calls `f` between the markers.
fn counted<T>(
    f: extern "C" fn(&mut T, u32, bool) -> u32,
    state: &mut T,
    raw: u32,
    high: bool,
) -> u32 {
    let result: u32;
    // SAFETY: a plain call after the C convention; the markers move a register onto itself.
    unsafe {
        asm!(
            "mov r9, r9", "blx {f}", "mov r10, r10",
            f = in(reg) f,
            inlateout("r0") core::ptr::from_mut(state) => result,
            in("r1") raw,
            in("r2") u32::from(high),
            clobber_abi("C"),
        );
    }
    result
}

fn argument(args: &mut Option<semihosting::experimental::env::Args<128>>) -> Option<u32> {
    args.as_ref()
        .and_then(|mut words| words.next())
        .and_then(Result::ok)
        .and_then(|word| word.parse().ok())
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut args = semihosting::experimental::env::args::<128>().ok();
    let (Some(seed), Some(touches)) = (argument(&mut args), argument(&mut args)) else {
        stop("the arguments SEED TOUCHES are missing; both are whole numbers");
    };
    let Ok(rate) = TickRate::from_hz(black_box(RATE_HZ)) else {
        stop("the tick rate was refused")
    };
    let Ok(config) = Config::new(rate, black_box(HOLD_NS)) else {
        stop("the hold was refused")
    };
    // Shortly before the first wrap of the counter, so that wraps are among what is counted.
    let start = Instant::from_ticks(0xffff_0000);
    let line = Line::new(&config, Level::Low, start);
    let mut channel = Channel {
        counter: Counter::new(Bits::B32, start),
        config,
        line,
        event: None,
    };
    let mut bare = Bare::new(start.ticks() as u32, config.hold_ticks());
    let mut chatter = Chatter::new(seed, start.ticks() as u32);
    println!("state {}", size_of::<Line>());
    for _ in 0..touches {
        for away in [true, false] {
            let edges = chatter.episode();
            for step in 0..edges {
                let raw = chatter.next_edge();
                let high = away == (step % 2 == 0);
                if counted(edge, &mut channel, raw, high) != 0 {
                    stop("an edge closed an episode that a poll should have closed");
                }
                println!("edge {edges}");
                counted(bare::edge, &mut bare, raw, high);
                println!("bare");
            }
            let confirming = counted(poll, &mut channel, chatter.rest(), false);
            match (confirming, &channel.event) {
                (1, Some(Event::Touch(contact))) if contact.edges == edges => {
                    println!("touch {edges}");
                }
                (2, Some(Event::Release(contact))) if contact.edges == edges => {
                    println!("release {edges}");
                }
                _ => stop("a poll after the hold confirmed nothing, or lost edges"),
            }
            if bare.confirm(chatter.now()).is_none() {
                stop("the bare method confirmed nothing");
            }
        }
    }
    samples::count();
    link::count();
    gauge::count();
    semihosting::process::exit(0)
}

fn stop(why: &str) -> ! {
    eprintln!("error: count: {why}");
    semihosting::process::exit(2)
}
