extern crate std;

use super::*;
use crate::budget::Dof;
use crate::flags::Flags;
use crate::gauge::{Reference, Side};
use crate::latch::Latched;
use crate::time::{Instant, TickRate};
use std::string::ToString;

fn plan() -> CheckPlan {
    CheckPlan {
        reference: Reference {
            position_nm: 0,
            size_nm: 40_000_000,
        },
        side: Side::Falling,
        expected_nm: 30_000_000,
        wear_nm: 20_000,
        long_nm: 10_000,
        smallest_break_nm: 30_000,
        allowance: Allowance {
            bounds_nm: 300,
            shared_pm: 161_000,
            dof: Dof::Known,
            touch_pm: 30_000,
        },
        release_nm: 2_000,
        touches: 2,
        attempts: 1,
        other_spot: true,
        turning: false,
        times: CheckTimes {
            arm_ns: 1_000_000_000,
            approach_ns: CheckTimes::for_approach(1_200_000, 5_000_000, 2_000_000),
            told_ns: 2_500_000,
            hold_ns: 20_000_000,
            release_ns: CheckTimes::for_release(100_000, 5_000_000, 2_000_000, 63),
            beat_ns: 100_000_000,
        },
    }
}

fn config(plan: CheckPlan) -> CheckConfig {
    CheckConfig::new(plan, TickRate::NANOSECONDS).unwrap()
}

/// A touch of a tool of that length, in nm from the expected one.
fn latched(off_nm: i64) -> Latched {
    Latched {
        at_nm: -10_000_000 + off_nm,
        feed_nm_s: -5_000_000,
        doubt_pm: 30_000,
        bound_nm: 0,
        flags: Flags::NONE,
    }
}

/// A control that does what it is told, and a probe that is well.
struct Stage {
    config: CheckConfig,
    check: Check,
    now: u64,
}

impl Stage {
    fn new(plan: CheckPlan) -> Self {
        let mut stage = Self {
            config: config(plan),
            check: Check::new(),
            now: 1_000,
        };
        stage.on(Input::Ready(true));
        stage.on(Input::Blocked(false));
        stage.on(Input::Beat);
        stage.on(Input::Start);
        stage.on(Input::Go);
        stage
    }

    fn tell(&mut self, input: Input) -> Output {
        self.now += 10_000_000;
        self.check
            .step(&self.config, input, Instant::from_ticks(self.now))
    }

    fn on(&mut self, input: Input) {
        let _the_motion = self.tell(input);
    }

    /// The axis stops there, and nothing is in flight any more.
    fn ends(&mut self, limit: Input) -> Option<Verdict> {
        let due = self.tell(limit).deadline.unwrap();
        self.now = due.ticks();
        self.check.poll(due).verdict
    }

    fn hold(&mut self) {
        self.now += 20_000_000;
    }

    fn touch(&mut self, touch: Latched) -> Option<Verdict> {
        self.on(Input::Touch(touch));
        self.hold();
        self.on(Input::Back);
        self.on(Input::Released(touch));
        self.on(Input::Beat);
        self.tell(Input::End).verdict
    }
}

const fn unproven(reasons: Reasons) -> Verdict {
    Verdict::Unproven { reasons }
}

#[test]
fn two_clean_touches_are_whole() {
    let mut stage = Stage::new(plan());
    assert_eq!(stage.touch(latched(-5_000)), None);
    let Some(Verdict::Whole {
        length_nm,
        doubt_pm,
        notes,
    }) = stage.touch(latched(-5_100))
    else {
        panic!();
    };
    // The mean of both, and √(161² + (30² + 30²)/2 + 300²/3).
    assert_eq!(length_nm, 29_994_950);
    assert!((238_371..238_380).contains(&doubt_pm), "{doubt_pm}");
    assert_eq!(notes, Flags::NONE);
    // Nothing changes it until the next start.
    for input in [
        Input::Touch(latched(-90_000)),
        Input::Ready(false),
        Input::End,
        Input::Unfit,
    ] {
        assert!(matches!(
            stage.tell(input).verdict,
            Some(Verdict::Whole { .. })
        ));
    }
    assert_eq!(stage.tell(Input::Start).verdict, None);
}

#[test]
fn one_spot_is_noted() {
    let mut stage = Stage::new(CheckPlan {
        other_spot: false,
        ..plan()
    });
    stage.touch(latched(0));
    let upper = Latched {
        flags: Flags::UPPER,
        ..latched(0)
    };
    let Some(Verdict::Whole { notes, .. }) = stage.touch(upper) else {
        panic!();
    };
    assert_eq!(notes, Flags::UPPER.union(Flags::SAME_SPOT));
}

#[test]
fn each_length_has_its_verdict() {
    for (off_nm, expected) in [
        (10_001, Some(unproven(Reasons::EARLY))),
        (10_000, None),
        (-20_000, None),
        (-20_001, Some(unproven(Reasons::GREY))),
        // 30 µm and 3.1 times √(161² + 30² + 30²) nm.
        (-30_516, Some(unproven(Reasons::GREY))),
        (
            -30_517,
            Some(Verdict::Broken {
                reasons: Reasons::SHORT,
            }),
        ),
    ] {
        let verdict = Stage::new(plan()).touch(latched(off_nm));
        assert_eq!(verdict, expected, "{off_nm}");
    }
}

#[test]
fn the_end_of_the_travel_breaks_only_a_living_probe_s_tool() {
    let far = Input::Limit {
        at_nm: -10_000_000 - 100_000,
    };
    let absent = Some(Verdict::Broken {
        reasons: Reasons::ABSENT,
    });
    let silent = Some(unproven(Reasons::SILENT));
    assert_eq!(Stage::new(plan()).ends(far), absent);
    let near = Input::Limit {
        at_nm: -10_000_000 - 30_000,
    };
    assert_eq!(Stage::new(plan()).ends(near), silent);
    // No sign of life since the last verdict.
    let mut stage = Stage::new(plan());
    assert_eq!(stage.ends(far), absent);
    stage.on(Input::Start);
    stage.on(Input::Go);
    assert_eq!(stage.ends(far), silent);
    // A touch, and then none.
    let mut stage = Stage::new(plan());
    stage.touch(latched(0));
    assert_eq!(stage.ends(far), silent);
}

/// Over infrared a touch is told 48 ms late, and the axis may stand at the end by then.
#[test]
fn a_touch_in_flight_is_waited_for_at_the_end_of_the_travel() {
    let late = CheckPlan {
        times: CheckTimes {
            told_ns: 48_000_000,
            ..plan().times
        },
        ..plan()
    };
    let far = Input::Limit {
        at_nm: -10_000_000 - 100_000,
    };
    let mut stage = Stage::new(late);
    let stops = stage.tell(far);
    assert_eq!((stops.motion, stops.verdict), (Motion::Hold, None));
    assert_eq!(stops.deadline.unwrap().ticks(), stage.now + 48_000_001);
    stage.now += 38_000_000;
    assert_eq!(stage.tell(Input::Touch(latched(0))).verdict, None);
    // It counts as any other.
    stage.hold();
    for input in [
        Input::Back,
        Input::Released(latched(0)),
        Input::Beat,
        Input::End,
    ] {
        assert_eq!(stage.tell(input).verdict, None);
    }
    assert!(matches!(
        stage.touch(latched(10)),
        Some(Verdict::Whole { .. })
    ));
    // What spoils the wait spoils the verdict.
    for (input, reasons) in [
        (Input::Unfit, Reasons::FLAG),
        (Input::Ready(false), Reasons::LINK),
    ] {
        let mut stage = Stage::new(late);
        stage.on(far);
        assert_eq!(stage.tell(input).verdict, Some(unproven(reasons)));
    }
}

#[test]
fn a_way_that_nobody_called_free_proves_nothing() {
    let far = Input::Limit {
        at_nm: -10_000_000 - 100_000,
    };
    // Blocked since power-up, or told so while armed: no edge ever comes.
    for told in [None, Some(true)] {
        let mut stage = Stage {
            config: config(plan()),
            check: Check::new(),
            now: 1_000,
        };
        stage.on(Input::Ready(true));
        stage.on(Input::Beat);
        stage.on(Input::Start);
        if let Some(blocked) = told {
            stage.on(Input::Blocked(blocked));
        }
        let go = stage.tell(Input::Go).verdict;
        assert_eq!(go, Some(unproven(Reasons::STUCK)), "{told:?}");
    }
    // On the way a level alone is no touch, and nothing is absent beside it.
    let mut stage = Stage::new(plan());
    stage.on(Input::Blocked(true));
    assert_eq!(stage.ends(far), Some(unproven(Reasons::SILENT)));
}

#[test]
fn evidence_that_is_missing_is_named() {
    let touch = latched(0);
    // Without a hold.
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(touch));
    stage.on(Input::Back);
    stage.on(Input::Released(touch));
    stage.on(Input::Beat);
    assert_eq!(
        stage.tell(Input::End).verdict,
        Some(unproven(Reasons::HELD))
    );
    // Without a release, and a beat does not stand for one.
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(touch));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Beat);
    assert_eq!(
        stage.tell(Input::End).verdict,
        Some(unproven(Reasons::STUCK))
    );
    // Without a sign of life after it.
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(touch));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Released(touch));
    assert_eq!(
        stage.tell(Input::End).verdict,
        Some(unproven(Reasons::LINK))
    );
    // A release elsewhere.
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(touch));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Released(latched(2_001)));
    stage.on(Input::Beat);
    assert_eq!(
        stage.tell(Input::End).verdict,
        Some(unproven(Reasons::STUCK))
    );
    // READY low on the way.
    let mut stage = Stage::new(plan());
    assert_eq!(
        stage.tell(Input::Ready(false)).verdict,
        Some(unproven(Reasons::LINK))
    );
    // Touches that do not agree: 5.5 times √(30² + 30²) are 233 nm.
    for (off_nm, verdict) in [(-233, false), (-234, true)] {
        let mut stage = Stage::new(plan());
        stage.touch(touch);
        let output = stage.tell(Input::Touch(latched(off_nm)));
        assert_eq!(output.verdict.is_some(), verdict, "{off_nm}");
        if verdict {
            assert_eq!(output.verdict, Some(unproven(Reasons::DISAGREE)));
        }
    }
}

#[test]
fn flags_and_doubts_of_a_touch_count() {
    for (touch, reasons) in [
        (
            Latched {
                flags: Flags::GAP,
                ..latched(0)
            },
            Reasons::FLAG,
        ),
        (
            Latched {
                flags: Flags::INTERRUPTED,
                ..latched(0)
            },
            Reasons::FLAG,
        ),
        // The other way, and standing.
        (
            Latched {
                feed_nm_s: 5_000_000,
                ..latched(0)
            },
            Reasons::FLAG,
        ),
        (
            Latched {
                feed_nm_s: 0,
                ..latched(0)
            },
            Reasons::FLAG,
        ),
        (
            Latched {
                doubt_pm: u32::MAX,
                ..latched(0)
            },
            Reasons::DOUBT,
        ),
        // 10 µm less 0.3 µm leave 9.7 µm: 6.3 doubts of 1.5 µm, and then no more.
        (
            Latched {
                doubt_pm: 1_550_000,
                ..latched(0)
            },
            Reasons::DOUBT,
        ),
        (
            Latched {
                bound_nm: 9_000,
                ..latched(0)
            },
            Reasons::DOUBT,
        ),
    ] {
        let verdict = Stage::new(plan()).touch(touch);
        assert_eq!(verdict, Some(unproven(reasons)), "{touch:?}");
    }
    let turning = CheckPlan {
        turning: true,
        ..plan()
    };
    let hits = Latched {
        flags: Flags::INTERRUPTED,
        ..latched(0)
    };
    assert_eq!(Stage::new(turning).touch(hits), None);
}

#[test]
fn a_step_that_comes_late_is_unproven_and_counted() {
    let mut stage = Stage::new(plan());
    stage.now += 400_000_000;
    let late = stage.check.poll(Instant::from_ticks(stage.now)).verdict;
    assert_eq!(late, Some(unproven(Reasons::SILENT.union(Reasons::LATE))));
    assert_eq!(stage.check.late(), 1);
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(latched(0)));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Released(latched(0)));
    stage.now += 100_000_000;
    let late = stage.tell(Input::Beat).verdict;
    assert_eq!(late, Some(unproven(Reasons::LINK.union(Reasons::LATE))));
}

/// A sign of life has its own time, from the release on.
#[test]
fn a_sign_of_life_may_come_later_than_a_release() {
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(latched(0)));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Released(latched(0)));
    stage.now += 70_000_000;
    stage.on(Input::Beat);
    assert_eq!(stage.tell(Input::End).verdict, None);
    assert_eq!(stage.check.late(), 0);
}

#[test]
fn a_release_with_a_flag_proves_nothing() {
    let mut stage = Stage::new(plan());
    stage.on(Input::Touch(latched(0)));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Released(Latched {
        flags: Flags::LOST_EDGE,
        ..latched(0)
    }));
    stage.on(Input::Beat);
    assert_eq!(
        stage.tell(Input::End).verdict,
        Some(unproven(Reasons::FLAG))
    );
}

/// Remarks that forbid nothing are kept wherever they come from, and the largest doubt counts.
#[test]
fn notes_and_the_largest_doubt_stay_until_the_verdict() {
    for wide_is_first in [true, false] {
        let wide = Latched {
            doubt_pm: 300_000,
            bound_nm: 600,
            ..latched(0)
        };
        let (first, second) = if wide_is_first {
            (wide, latched(0))
        } else {
            (latched(0), wide)
        };
        let mut stage = Stage::new(plan());
        stage.touch(first);
        stage.on(Input::Flag(Flags::FILM));
        let Some(Verdict::Whole {
            doubt_pm, notes, ..
        }) = stage.touch(second)
        else {
            panic!();
        };
        assert_eq!(notes, Flags::FILM);
        // √(161² + (300² + 30²)/2 + (300 + 600)²/3) nm.
        assert!((584_269..584_300).contains(&doubt_pm), "{doubt_pm}");
    }
}

#[test]
fn the_axis_is_told_when_to_turn() {
    let mut stage = Stage::new(plan());
    let touched = stage.tell(Input::Touch(latched(0)));
    assert_eq!(touched.motion, Motion::Hold);
    let held_at = touched.deadline.unwrap();
    assert_eq!(held_at.ticks(), stage.now + 20_000_000);
    let held = stage.check.poll(held_at);
    assert_eq!((held.motion, held.verdict), (Motion::Retract, None));
}

#[test]
fn a_window_that_cannot_prove_is_refused_with_what_is_missing() {
    let narrow = |smallest_break_nm, dof| {
        let plan = plan();
        let allowance = Allowance {
            dof,
            ..plan.allowance
        };
        let plan = CheckPlan {
            smallest_break_nm,
            allowance,
            release_nm: 500,
            ..plan
        };
        CheckConfig::new(plan, TickRate::NANOSECONDS)
    };
    // 300 nm and 6.3 times √(161² + 30²) = 163.8 nm: 1332 nm.
    let guard = narrow(30_000, Dof::Known).unwrap().guard_nm();
    assert_eq!(guard, 1_332);
    let refused = narrow(21_000, Dof::Known).unwrap_err();
    assert_eq!(refused, CheckError::WindowTooNarrow { by_nm: 332 });
    assert!(refused.to_string().contains("by_nm"));
    assert!(narrow(21_332, Dof::Known).is_ok());
    // 14.02 times as badly known as 15 degrees of freedom.
    assert!(narrow(22_603, Dof::N(15)).is_ok());
    assert!(narrow(22_550, Dof::N(15)).is_err());
    assert_eq!(
        narrow(1_000_000, Dof::N(3)).unwrap_err(),
        CheckError::UnknownDoubt
    );
    // A release where a broken tool would leave the plate.
    let far = CheckPlan {
        release_nm: 10_000,
        ..plan()
    };
    assert_eq!(
        CheckConfig::new(far, TickRate::NANOSECONDS).unwrap_err(),
        CheckError::Release
    );
    let near = CheckPlan {
        release_nm: 9_999,
        ..plan()
    };
    assert!(CheckConfig::new(near, TickRate::NANOSECONDS).is_ok());
    // What nobody knows is no number, however wide the window.
    for (bounds_nm, shared_pm, touch_pm) in [
        (u32::MAX, 1, 1),
        (1, u32::MAX, 1),
        (1, 1, u32::MAX),
        (1, u32::MAX - 1, 1 << 30),
    ] {
        let unknown = CheckPlan {
            smallest_break_nm: u32::MAX,
            allowance: Allowance {
                bounds_nm,
                shared_pm,
                dof: Dof::Known,
                touch_pm,
            },
            ..plan()
        };
        assert_eq!(
            CheckConfig::new(unknown, TickRate::NANOSECONDS).unwrap_err(),
            CheckError::UnknownDoubt
        );
    }
    let one = CheckPlan {
        touches: 1,
        ..plan()
    };
    assert_eq!(
        CheckConfig::new(one, TickRate::NANOSECONDS).unwrap_err(),
        CheckError::Touches
    );
}

/// A droplet at 50 µm over the tool, gone before the hold is over.
fn droplet(stage: &mut Stage) -> Output {
    let false_touch = latched(5_000);
    stage.on(Input::Touch(false_touch));
    stage.on(Input::Released(false_touch));
    stage.hold();
    stage.on(Input::Back);
    stage.on(Input::Beat);
    stage.tell(Input::End)
}

#[test]
fn what_may_pass_is_tried_again_with_nothing_kept() {
    let twice = CheckPlan {
        attempts: 2,
        ..plan()
    };
    let mut stage = Stage::new(twice);
    stage.touch(latched(0));
    let output = droplet(&mut stage);
    assert_eq!(output.verdict, None);
    assert_eq!(output.motion, Motion::Retract);
    assert_eq!(output.again, Some(Reasons::DISAGREE));
    // Stray inputs on the way back say nothing; both touches are wanted anew.
    stage.on(Input::Touch(latched(7)));
    stage.on(Input::Released(latched(7)));
    stage.on(Input::End);
    assert_eq!(stage.tell(Input::Start).again, None);
    stage.on(Input::Go);
    assert_eq!(stage.check.touches(), 0);
    assert_eq!(stage.touch(latched(-40)), None);
    assert!(matches!(
        stage.touch(latched(-20)),
        Some(Verdict::Whole {
            length_nm: 29_999_970,
            ..
        })
    ));
    // The next question has its attempts again, and no more.
    for _ in 0..2 {
        stage.on(Input::Start);
        stage.on(Input::Go);
        let first = droplet(&mut stage).again.unwrap();
        assert!(first.contains(Reasons::STUCK), "{first:?}");
        stage.on(Input::Start);
        stage.on(Input::Go);
        let second = droplet(&mut stage);
        assert_eq!(second.again, None);
        assert!(matches!(second.verdict, Some(Verdict::Unproven { .. })));
    }
}

#[test]
fn what_does_not_pass_is_not_tried_again() {
    let often = CheckPlan {
        attempts: 4,
        ..plan()
    };
    // A grey length, a flag, a cell that fails while the axis goes back, a step that does not come.
    assert_eq!(
        Stage::new(often).touch(latched(-25_000)),
        Some(unproven(Reasons::GREY))
    );
    let mut stage = Stage::new(often);
    assert_eq!(
        stage.tell(Input::Unfit).verdict,
        Some(unproven(Reasons::FLAG))
    );
    let mut stage = Stage::new(often);
    assert!(stage.tell(Input::Ready(false)).again.is_some());
    assert_eq!(
        stage.tell(Input::Unfit).verdict,
        Some(unproven(Reasons::FLAG.union(Reasons::LINK)))
    );
    let mut stage = Stage::new(often);
    let due = stage.tell(Input::Ready(false)).deadline.unwrap();
    stage.now = due.ticks() + 1;
    assert_eq!(
        stage.check.poll(Instant::from_ticks(stage.now)).verdict,
        Some(unproven(
            Reasons::LINK.union(Reasons::SILENT).union(Reasons::LATE)
        ))
    );
    // Life before an attempt is none after it.
    let mut stage = Stage::new(often);
    stage.on(Input::Ready(false));
    stage.on(Input::Ready(true));
    stage.on(Input::Start);
    stage.on(Input::Go);
    let far = Input::Limit {
        at_nm: -10_000_000 - 100_000,
    };
    assert_eq!(stage.ends(far), Some(unproven(Reasons::SILENT)));
    let never = CheckPlan {
        attempts: 0,
        ..plan()
    };
    assert_eq!(
        CheckConfig::new(never, TickRate::NANOSECONDS).unwrap_err(),
        CheckError::Attempts
    );
}

#[test]
fn words_are_those_of_the_interface() {
    let all: std::vec::Vec<&str> = (0..12)
        .flat_map(|bit| {
            let plain = [
                Reasons::FLAG,
                Reasons::LINK,
                Reasons::DOUBT,
                Reasons::STUCK,
                Reasons::HELD,
                Reasons::DISAGREE,
                Reasons::EARLY,
                Reasons::GREY,
                Reasons::SILENT,
                Reasons::SHORT,
                Reasons::ABSENT,
                Reasons::LATE,
            ];
            plain[bit].words()
        })
        .collect();
    assert_eq!(
        all.join(" "),
        "flag link doubt stuck held disagree early grey silent short absent late"
    );
    assert_eq!(Reasons::SHORT.union(Reasons::LINK).first(), Some("link"));
}
