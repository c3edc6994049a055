//! False touches among random spikes against the closed form of two spikes that meet (derived in
//! `study::false_touches` from the Poisson process, textbook), a reduced run of the bench of that
//! name, whose table is in `tests/results/`.

use trueonset_sim::model::bursts::Environment;
use trueonset_sim::study::false_touches::{false_touches, two_that_meet_per_hour};

#[test]
fn false_touches_come_as_often_as_spikes_meet_and_a_longer_hold_ends_them() {
    let environment = Environment::workshop();
    let hours = 400;
    let counts = false_touches(&environment, &[20_000, 50_000, 100_000], 0..hours).unwrap();
    let single = environment.single;
    let expected = hours as f64
        * two_that_meet_per_hour(single.rate, (single.shortest, single.longest), 50e-6);
    let off = (counts[1] as f64 - expected) / expected.sqrt();
    println!("{counts:?} {expected:.1}");
    assert!(off.abs() < 4.0, "{counts:?} {expected}");
    // Above 20 µs the spikes themselves: ln 2.5 / ln 100 of them.
    let alone = hours as f64 * 36_000.0 * 2.5_f64.ln() / 100_f64.ln();
    assert!(
        (counts[0] as f64 / alone - 1.0).abs() < 0.005,
        "{counts:?} {alone}"
    );
    assert_eq!(counts[2], 0);
    let halves = [0..hours / 2, hours / 2..hours]
        .map(|part| false_touches(&environment, &[50_000], part).unwrap()[0]);
    assert_eq!(halves[0] + halves[1], counts[1]);
}
