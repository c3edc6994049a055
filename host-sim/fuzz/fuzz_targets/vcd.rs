//! Value change dumps: the first byte chooses whether a sound header comes first.
#![no_main]

mod shared;

use libfuzzer_sys::fuzz_target;
use trueonset_sim::log::Options;

fuzz_target!(|data: &[u8]| {
    let Some((&choice, text)) = data.split_first() else {
        return;
    };
    let header: &[u8] = match choice % 3 {
        0 => b"$timescale 10 ps $end $var wire 1 ! a $end $var wire 1 longidentifier b $end $var reg 4 % v $end $enddefinitions $end\n",
        1 => b"$timescale 1 ns $end ",
        _ => b"",
    };
    shared::log(&[header, text].concat(), &Options::default());
});
