//! A drawn course of operations on the library and the digest of all that it tells, which is the
//! same on every processor; see `trueonset_ops`.
//!
//! Arguments come by semihosting: `SEED COUNT [CHANGED]`, as for the program `operations` on the
//! PC, which prints the same lines. Exit status: 0 done, 2 the arguments are not such numbers.
#![no_std]
#![no_main]

#[path = "../halt.rs"]
mod halt;
#[path = "../start.rs"]
mod start;

// It chooses how a critical section is made.
#[cfg(target_arch = "arm")]
use cortex_m as _;
#[cfg(target_arch = "riscv32")]
use riscv as _;

use semihosting::experimental::env;
use semihosting::{eprintln, println};

/// The course that the host asks for.
#[start::entry]
fn main() -> ! {
    let Some((seed, count, changed)) = numbers() else {
        eprintln!("error: found other arguments, expected SEED COUNT [CHANGED], whole numbers; correct them");
        semihosting::process::exit(2)
    };
    trueonset_ops::run(seed, count, changed, |done, digest| {
        println!("{done} {digest:016x}");
    });
    semihosting::process::exit(0)
}

/// The first argument is the name of the image.
fn numbers() -> Option<(u64, u64, Option<u64>)> {
    let args = env::args::<128>().ok()?;
    let mut words = (&args).into_iter().skip(1);
    let mut next = || words.next().map(|word| word.ok()?.parse().ok());
    let (seed, count) = (next()??, next()??);
    let changed = match next() {
        Some(word) => Some(word?),
        None => None,
    };
    Some((seed, count, changed))
}
