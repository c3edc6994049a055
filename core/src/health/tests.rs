extern crate std;

use super::*;
use crate::battery::Reasons;
use crate::time::Instant;
use std::vec::Vec;

const LIVE: LinkVitals = LinkVitals {
    state: State::Live,
    awaits: Awaits::Frames,
    grade: Grade::Good,
    out_of_tolerance: false,
};

/// For a run of that many seconds.
const RUN_S: u32 = 8 * 3_600;

fn battery(lasts_s: (u32, u32), reasons: Reasons) -> BatteryState {
    BatteryState {
        charge_uah: (0, 0),
        usable_uah: (0, 0),
        lasts_s,
        milliohms: Some(300),
        reasons,
    }
}

/// Lasts, does not, cannot tell.
fn forecasts() -> [BatteryState; 3] {
    [
        battery((RUN_S, 2 * RUN_S), Reasons::NONE),
        battery((0, RUN_S - 1), Reasons::NONE),
        battery((0, 2 * RUN_S), Reasons::NONE),
    ]
}

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
        .battery(&forecasts()[0], RUN_S);
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
            out_of_tolerance: true,
            ..LIVE
        }),
        clear().battery(&battery((0, 0), Reasons::LOW_NOW), RUN_S),
        clear().battery(&battery((0, u32::MAX), Reasons::LOW_AFTER_REST), RUN_S),
    ];
    for health in silent {
        for state in forecasts() {
            let health = health.battery(&state, RUN_S);
            assert_eq!(health.gate(run), Decision::STOP, "{health:?}");
        }
    }
    // These are told in good time and take nothing away.
    for health in [
        clear().battery(&forecasts()[1], RUN_S),
        clear().battery(&forecasts()[2], RUN_S),
        clear().battery(&battery((0, 0), Reasons::NO_READING), RUN_S),
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
        .battery(&battery((0, 0), Reasons::LOW_NOW), RUN_S);
    let words: Vec<_> = health.ailments().words().collect();
    assert_eq!(
        words,
        [
            "line latched at stop",
            "battery too low now",
            "no light",
            "battery ends within the run",
            "link poor",
            "lens wants cleaning or shade"
        ]
    );
    assert_eq!(health.ailments().first(), Some(words[0]));
}

/// Torn, waiting, unsure and silent are four reasons, each of which silences.
#[test]
fn what_a_link_waits_for_has_its_own_word() {
    let down = |awaits| {
        let vitals = LinkVitals {
            state: State::Joining(9),
            awaits,
            ..LIVE
        };
        Health::of(Causes::NONE, false).link(&vitals).ailments()
    };
    for (awaits, ailment) in [
        (Awaits::Frames, Ailments::NO_LINK),
        (Awaits::Mark, Ailments::MARK_AWAITED),
        (Awaits::Clock, Ailments::CLOCK_UNSURE),
        (Awaits::Pairing, Ailments::MARKS_TORN),
    ] {
        assert_eq!(down(awaits), ailment);
        assert!(!down(awaits).vouches());
    }
}
