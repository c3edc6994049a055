//! Own and foreign CSV: the first byte chooses the beginning and the options.
#![no_main]

mod shared;

use libfuzzer_sys::fuzz_target;
use trueonset_sim::log::{Initial, Options, TimeUnit};

fuzz_target!(|data: &[u8]| {
    let Some((&choice, text)) = data.split_first() else {
        return;
    };
    let header: &[u8] = match choice % 4 {
        0 => b"time_ns,line,level\n",
        1 => b"Time [s];Channel;Value\n",
        2 => b"time_ms,a,b\n0,1,0\n",
        _ => b"",
    };
    let options = Options {
        time_unit: (choice & 16 != 0).then_some(TimeUnit::Microseconds),
        initial: if choice & 32 != 0 {
            Initial::High
        } else {
            Initial::FirstRow
        },
        offset_ns: if choice & 64 != 0 { -1_000 } else { 0 },
        ..Options::default()
    };
    shared::log(&[header, text].concat(), &options);
});
