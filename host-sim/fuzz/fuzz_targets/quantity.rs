//! Quantities: any text gets an answer, and what is shown is read back.
#![no_main]

use libfuzzer_sys::fuzz_target;
use trueonset_sim::log::{Columns, TimeUnit};
use trueonset_sim::quantity;

fuzz_target!(|text: &str| {
    if let Ok(ns) = quantity::time_ns(text) {
        assert_eq!(quantity::time_ns(&quantity::show_time_ns(ns)), Ok(ns));
    }
    if let Ok(nm_s) = quantity::feed_nm_s(text) {
        assert_eq!(
            quantity::feed_nm_s(&quantity::show_feed_nm_s(nm_s)),
            Ok(nm_s)
        );
    }
    if let Ok(nm) = quantity::length_nm(text) {
        assert_eq!(quantity::length_nm(&quantity::show_length_nm(nm)), Ok(nm));
    }
    if let Ok(hz) = quantity::frequency_hz(text) {
        assert_eq!(
            quantity::frequency_hz(&quantity::show_frequency_hz(hz)),
            Ok(hz)
        );
    }
    let _ = quantity::acceleration_nm_s2(text);
    let _ = quantity::ratio_mdb(text);
    let _ = text.parse::<Columns>();
    let _ = text.parse::<TimeUnit>();
});
