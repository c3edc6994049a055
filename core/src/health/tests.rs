extern crate std;

use super::*;
use crate::time::Instant;
use std::vec::Vec;

const LIVE: LinkVitals = LinkVitals {
    state: State::Live,
    grade: Grade::Good,
    astray: false,
};

fn optics(flags: Flags) -> Optics {
    Optics {
        rest_counts: 3_000,
        noise_counts_256: 300,
        film_permille: None,
        film_rate_permille_per_h: 0,
        flags,
    }
}

/// READY stands for nothing that could hide a touch, in whichever company.
#[test]
fn what_could_hide_a_touch_silences_ready() {
    let run = Decision {
        ready: true,
        run: true,
        valid_until: Some(Instant::from_ticks(9)),
    };
    let clear = || Health::of(Causes::NONE, false);
    let sound = clear()
        .link(&LIVE)
        .optics(Some(&optics(Flags::NONE)))
        .battery(Verdict::Yes);
    assert!(sound.ailments().is_empty());
    assert_eq!(sound.gate(run), run);
    let silent = [
        Health::of(Causes::TIME, false),
        Health::of(Causes::NONE, true),
        clear().optics(None),
        clear().optics(Some(&optics(Flags::DARK))),
        clear().optics(Some(&optics(Flags::STUCK))),
        clear().optics(Some(&optics(Flags::SATURATED))),
        clear().optics(Some(&optics(Flags::NOT_SETTLED))),
        clear().link(&LinkVitals {
            state: State::Down,
            ..LIVE
        }),
        clear().link(&LinkVitals {
            astray: true,
            ..LIVE
        }),
    ];
    for health in silent {
        for lasts in [Verdict::Yes, Verdict::No, Verdict::CannotTell] {
            let health = health.battery(lasts);
            assert_eq!(health.gate(run), Decision::STOP, "{health:?}");
        }
    }
    // These are told in good time and take nothing away.
    for health in [
        clear().battery(Verdict::No),
        clear().battery(Verdict::CannotTell),
        clear().optics(Some(&optics(Flags::FILM))),
        clear().link(&LinkVitals {
            grade: Grade::Poor,
            ..LIVE
        }),
    ] {
        assert_eq!(health.gate(run), run);
        assert!(!health.ailments().is_empty());
    }
}

#[test]
fn the_list_begins_with_the_most_urgent() {
    let health = Health::of(Causes::FLOOD, false)
        .link(&LinkVitals {
            grade: Grade::Poor,
            ..LIVE
        })
        .optics(Some(&optics(Flags::DARK.union(Flags::FILM))))
        .battery(Verdict::No);
    let words: Vec<_> = health.ailments().words().collect();
    assert_eq!(
        words,
        [
            "line latched at stop",
            "no light",
            "battery ends within the run",
            "link poor",
            "lens wants cleaning or shade"
        ]
    );
    assert_eq!(health.ailments().first(), Some(words[0]));
}
