//! Instructions of a light sample: at rest with the tracker of the rest level, and in the zones.

use core::hint::black_box;

use semihosting::println;
use trueonset::barrier::{Barrier, BarrierConfig, Method, Seen};
use trueonset::onset::Event;
use trueonset::time::{Instant, TickRate};

use crate::{counted, stop, RATE_HZ};

const SAMPLING_HZ: u32 = 200_000;
const HOLD_NS: u64 = 100_000;
const REST: u16 = 3_276;
/// More than a part of a block, so that its end is among what is counted.
const IDLE: u32 = 1_200;
/// Samples of the ramp from light to dark.
const RAMP: u32 = 1_500;

struct Light {
    config: BarrierConfig,
    barrier: Barrier,
    touches: u32,
}

/// The work of a conversion's interrupt.
#[inline(never)]
extern "C" fn sample(light: &mut Light, counts: u32, _: bool) -> u32 {
    match light.barrier.sample(&light.config, counts as u16) {
        None => 0,
        Some(Seen::Event(Event::Touch(_))) => {
            light.touches += 1;
            2
        }
        Some(_) => 1,
    }
}

/// Counts both methods.
pub fn count() {
    for (method, word) in [(Method::Area, "area"), (Method::Matched, "matched")] {
        let config = TickRate::from_hz(black_box(RATE_HZ))
            .ok()
            .and_then(|rate| BarrierConfig::new(rate, black_box(SAMPLING_HZ), HOLD_NS).ok())
            .and_then(|config| config.method(method).ok());
        let Some(config) = config else {
            stop("the barrier's settings were refused")
        };
        let barrier = Barrier::new(Instant::from_ticks(0)).with_rest(&config, REST);
        let mut light = Light {
            config,
            barrier,
            touches: 0,
        };
        for k in 0..IDLE {
            counted(sample, &mut light, u32::from(REST) + k % 3, false);
            println!("idle");
        }
        for k in 0..RAMP {
            let counts = u32::from(REST) * (RAMP - 1 - k) / (RAMP - 1);
            match counted(sample, &mut light, counts, false) {
                0 => println!("{word}"),
                _ => println!("told"),
            }
        }
        if light.touches != 1 {
            stop("the ramp was not one touch");
        }
        println!("barrier {}", size_of::<Barrier>());
    }
}
