//! Replays a log on the microcontroller: the same touches, byte for byte, as `trueonset replay LOG --csv`.
//!
//! Arguments come by semihosting: `LOG OUT [--hold-ns N] [--touched high|low] [--bandwidth-hz N]`. Exit status: 0 done,
//! 2 the input cannot be judged; what came before the damage is written all the same.
#![no_std]
#![no_main]

mod csv;
mod fault;
#[path = "../halt.rs"]
mod halt;
mod host;
mod lines;
mod options;
#[path = "../place.rs"]
mod place;
mod rows;
#[path = "../start.rs"]
mod start;

use core::fmt::Write;

use semihosting::{eprintln, println};

use crate::csv::Log;
use crate::fault::Fault;
use crate::host::Out;
use crate::lines::Lines;
use crate::options::Options;
use crate::rows::Held;

/// From the first row to the last.
#[start::entry]
fn main() -> ! {
    // Too large for the stack of the smallest board.
    let held = place::place!(Held, Held::new());
    let options = match Options::from_host() {
        Ok(options) => options,
        Err(fault) => stop("replay", &fault),
    };
    let mut out = match Out::create(&options.out) {
        Ok(out) => out,
        Err(fault) => stop(&options.out, &fault),
    };
    let mut lines = Lines::new(options.config, held);
    let header = writeln!(out, "{}", rows::HEADER).map_err(|_| host::full());
    let read = header.and_then(|()| replay(&options, &mut lines, &mut out));
    // The touches before a damage are good ones.
    let written = lines.end(&mut out).and_then(|()| out.flush());
    if let Err(fault) = read {
        stop(&options.log, &fault);
    }
    if let Err(fault) = written {
        stop(&options.out, &fault);
    }
    println!("{}", lines.account());
    semihosting::process::exit(0)
}

fn replay(options: &Options, lines: &mut Lines, out: &mut Out) -> Result<(), Fault> {
    let mut log = Log::new(host::open(&options.log)?)?;
    while let Some(row) = log.row()? {
        let taken = lines.take(&row, out);
        taken.map_err(|fault| Fault {
            row: log.number(),
            ..fault
        })?;
    }
    Ok(())
}

fn stop(place: &str, fault: &Fault) -> ! {
    eprintln!("error: {place}{fault}");
    semihosting::process::exit(2)
}
