//! The drawn course of operations: that its digest tells of each one, and that they reach what
//! they are for.

use trueonset_ops::{run, Course};

fn digest(seed: u64, count: u64, changed: Option<u64>) -> u64 {
    let mut last = 0;
    run(seed, count, changed, |_, digest| last = digest);
    last
}

#[test]
fn a_seed_has_one_digest_and_another_seed_another() {
    assert_eq!(digest(1, 20_000, None), digest(1, 20_000, None));
    assert_ne!(digest(1, 20_000, None), digest(2, 20_000, None));
}

#[test]
fn one_changed_operation_changes_the_digest() {
    let whole = digest(3, 20_000, None);
    for changed in [1, 2, 9_999, 19_000, 19_900] {
        assert_ne!(digest(3, 20_000, Some(changed)), whole, "{changed}");
    }
    assert_eq!(digest(3, 20_000, Some(20_001)), whole);
}

#[test]
fn the_operations_reach_what_they_are_for() {
    let mut course = Course::new(5);
    let mut text = String::new();
    for _ in 0..200_000 {
        course.step(&mut text);
    }
    // Of edges and samples, link, lines, cells, latch and checks, pairing.
    let reached = [
        "Touch(",
        "Release(",
        "Glitch(",
        "Hard(",
        "Passed",
        "Stuck",
        "Damaged",
        "BadTag",
        "OtherProbe",
        "Duplicate",
        "Life",
        "Stranger",
        "Live",
        "PlayedEdge",
        "ready: true",
        "run: true",
        "ChargeWrite",
        "Latched",
        "Combined",
        "Whole",
        "Broken",
        "Unproven",
        "Committed",
        "Err(",
    ];
    let missing = reached.iter().filter(|word| !text.contains(**word));
    let missing: Vec<_> = missing.collect();
    assert!(missing.is_empty(), "{missing:?}");
}
