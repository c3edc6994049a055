//! Core against the double-precision reference on logs from seeds.

use trueonset::onset::{self, Truncation};
use trueonset_tests::reference::bridge::{self, Strictness};
use trueonset_tests::reference::case::{drawn, Case};
use trueonset_tests::reference::logs::Log;
use trueonset_tests::reference::{Event, Input, Level};

/// Compares one log; counts what it held.
fn check(case: &Case, log: &Log, seen: &mut Seen) {
    let (got, core) = case.core(log);
    let (expected, reference) = case.reference(log);
    assert_eq!(got.len(), expected.len(), "number of events of {case:?}");
    let mut strictness = Strictness::All;
    for (i, (core, reference)) in got.iter().zip(&expected).enumerate() {
        if let Event::Contact(contact) = reference {
            if contact.close_call && strictness == Strictness::All {
                // Rounding may decide either way, and what is learned with it.
                seen.close_calls += 1;
                strictness = Strictness::Edges;
            }
        }
        if let Err(why) = bridge::compare(core, reference, case.lag_256(), strictness) {
            panic!("event {i}: {why}\n{core:?}\n{reference:?}\n{case:?}");
        }
        if strictness == Strictness::All {
            seen.note(reference);
        }
    }
    bridge::compare_counts(core.tally(), reference.counts()).unwrap();
    seen.edges += log.inputs.len();
}

/// What was compared with all strictness, so that no test passes on nothing.
#[derive(Debug, Default)]
struct Seen {
    edges: usize,
    touches: usize,
    releases: usize,
    glitches: usize,
    longest: usize,
    close_calls: usize,
    words: std::collections::BTreeMap<&'static str, usize>,
}

impl Seen {
    fn note(&mut self, event: &Event) {
        match event {
            Event::Glitch(_) => self.glitches += 1,
            Event::Contact(contact) => {
                if contact.release {
                    self.releases += 1;
                } else {
                    self.touches += 1;
                }
                self.longest = self.longest.max(contact.edges);
                *self.words.entry(contact.kind).or_default() += 1;
                for word in &contact.flags {
                    *self.words.entry(word).or_default() += 1;
                }
            }
        }
    }
}

#[test]
fn core_equals_the_reference_on_logs_from_seeds() {
    let mut seen = Seen::default();
    for seed in 1..=1_000 {
        let case = drawn(seed);
        check(&case, &case.recipe.draw(seed), &mut seen);
    }
    println!("{seen:#?}");
    assert!(seen.touches > 35_000 && seen.releases > 35_000, "{seen:?}");
    assert!(seen.edges > 1_000_000 && seen.longest > 1_000, "{seen:?}");
    assert!(seen.close_calls < 150, "{seen:?}");
    for word in [
        "assumed",
        "limit",
        "pooled",
        "measured",
        "rough",
        "upper",
        "short_hold",
        "shallow",
        "hybrid",
        "overcapture",
        "flutter",
        "vibration",
    ] {
        assert!(
            seen.words.get(word).is_some_and(|count| *count > 50),
            "{word}: {seen:?}"
        );
    }
}

/// Holds of seconds at a nanosecond a tick, and blind times of hours: a doubt is right or not
/// stated, never cut off by the width of a number.
#[test]
fn a_doubt_beyond_the_arithmetic_is_not_stated() {
    let (mut stated, mut withheld) = (0, 0);
    for seed in 1..=4_000 {
        let mut case = drawn(seed);
        let mut rng = fastrand::Rng::with_seed(seed);
        case.rate_hz = 1_000_000_000;
        case.step_256 = 256;
        case.truncation = Truncation::Nearest;
        case.hold_ns = (1 << 31) - 1;
        case.release_hold_ns = case.hold_ns;
        let high = |touching| {
            if touching == case.recipe.touched_high {
                Level::High
            } else {
                Level::Low
            }
        };
        let mut now = 1 << 40;
        let mut log = Log {
            initial: high(false),
            start: now,
            inputs: Vec::new(),
            end: 0,
        };
        for i in 0..=rng.u32(0..12) * 2 {
            now += 1_i128 << rng.u32(0..31);
            now += rng.i128(0..1 << 20);
            if rng.u32(0..30) == 0 {
                log.inputs.push(Input {
                    at: now,
                    level: Level::Unknown,
                    remark: None,
                });
                now += 1_i128 << rng.u32(20..45);
            }
            log.inputs.push(Input {
                at: now,
                level: high(i % 2 == 0),
                remark: None,
            });
        }
        log.end = now + (1 << 32);
        let (got, _) = case.core(&log);
        let (expected, _) = case.reference(&log);
        assert_eq!(got.len(), expected.len());
        // What comes after a touch that was too wide to learn from is learned differently.
        let (Some(onset::Event::Touch(core)), Some(Event::Contact(reference))) =
            (got.first(), expected.first())
        else {
            continue;
        };
        if reference.close_call {
            continue;
        }
        let exact = reference.doubt.expect("the doubt of a touch").doubt();
        if let Some(doubt) = core.doubt {
            let doubt = f64::from(doubt.sixteenths()) / 16.0;
            assert!(
                (doubt / exact - 1.0).abs() < 0.025,
                "{doubt} {exact} {core:?}"
            );
            stated += 1;
        } else {
            withheld += 1;
        }
    }
    assert!(
        stated > 200 && withheld > 200,
        "{stated} stated, {withheld} withheld"
    );
}
