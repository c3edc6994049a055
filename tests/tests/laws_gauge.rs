//! Laws of a check for breakage: whatever is told in whatever order, `whole` and `broken` say no more than
//! the touches since the start showed.

mod common;

use common::cases;
use proptest::prelude::*;
use trueonset::budget::Dof;
use trueonset::flags::Flags;
use trueonset::gauge::check::{
    Allowance, Check, CheckConfig, CheckPlan, CheckTimes, Input, Reasons, Verdict,
};
use trueonset::gauge::{Reference, Side};
use trueonset::latch::Latched;
use trueonset::time::{Instant, TickRate};

const EXPECTED_NM: i64 = 30_000_000;

fn plan(touches: u8, smallest_break_nm: u32) -> CheckPlan {
    CheckPlan {
        reference: Reference {
            position_nm: 0,
            size_nm: EXPECTED_NM,
        },
        side: Side::Falling,
        expected_nm: EXPECTED_NM,
        wear_nm: 20_000,
        long_nm: 10_000,
        smallest_break_nm,
        allowance: Allowance {
            bounds_nm: 300,
            shared_pm: 161_000,
            dof: Dof::N(60),
            touch_pm: 30_000,
        },
        release_nm: 2_000,
        touches,
        attempts: 1,
        other_spot: true,
        turning: false,
        times: CheckTimes {
            arm_ns: 1_000,
            approach_ns: 1_000,
            told_ns: 10,
            hold_ns: 100,
            release_ns: 1_000,
            beat_ns: 1_000,
        },
    }
}

/// A touch so many nm longer than expected, and by how much its release lies elsewhere.
fn touches() -> impl Strategy<Value = (i64, i64, u32, bool)> {
    let off = prop_oneof![4 => -150_i64..150, 1 => -60_000_i64..20_000];
    let away = prop_oneof![6 => -500_i64..500, 1 => -5_000_i64..5_000];
    let doubt = prop_oneof![6 => 20_000_u32..60_000, 1 => any::<u32>()];
    (off, away, doubt, prop::bool::weighted(0.95))
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn verdicts_say_no_more_than_the_touches(
        made in prop::collection::vec(touches(), 1..5),
        wanted in 2_u8..4,
        smallest in 22_500_u32..60_000,
    ) {
        let config = CheckConfig::new(plan(wanted, smallest), TickRate::NANOSECONDS).unwrap();
        let mut check = Check::new();
        let mut now = 1_000;
        let mut verdict = None;
        let mut tell = |input, ns: u64| {
            now += ns;
            let output = check.step(&config, input, Instant::from_ticks(now));
            output.verdict
        };
        for input in [
            Input::Ready(true),
            Input::Blocked(false),
            Input::Beat,
            Input::Start,
            Input::Go,
        ] {
            verdict = tell(input, 1);
        }
        let mut used = 0;
        for (off_nm, away_nm, doubt_pm, held) in &made {
            let touch = Latched {
                at_nm: *off_nm,
                feed_nm_s: -5_000_000,
                doubt_pm: *doubt_pm,
                bound_nm: 0,
                flags: Flags::NONE,
            };
            let release = Latched {
                at_nm: off_nm + away_nm,
                ..touch
            };
            for (input, ns) in [
                (Input::Touch(touch), 1),
                (Input::Back, if *held { 100 } else { 50 }),
                (Input::Released(release), 1),
                (Input::Beat, 1),
                (Input::End, 1),
            ] {
                verdict = verdict.or(tell(input, ns));
            }
            used += 1;
            if verdict.is_some() {
                break;
            }
        }
        let seen = &made[..used];
        let sound = seen
            .iter()
            .all(|(_, away, doubt, held)| *held && away.abs() <= 2_000 && *doubt != u32::MAX);
        match verdict {
            Some(Verdict::Whole { length_nm, doubt_pm, .. }) => {
                prop_assert!(sound && seen.len() == usize::from(wanted));
                let offs = || seen.iter().map(|touch| touch.0);
                let (low, high) = (offs().min().unwrap_or(0), offs().max().unwrap_or(0));
                prop_assert!(low >= -20_000 && high <= 10_000);
                prop_assert!((low..=high).contains(&(length_nm - EXPECTED_NM)));
                // No less than what all touches share, bounds in it.
                prop_assert!(doubt_pm >= 236_000, "{doubt_pm}");
                // Six doubts of the difference at the most.
                let largest = seen.iter().map(|touch| f64::from(touch.2)).fold(30e3, f64::max);
                prop_assert!(((high - low) as f64) <= 2.0 * 6.0 * largest.hypot(30e3) * 2e-3);
            }
            Some(Verdict::Broken { reasons }) => {
                prop_assert_eq!(reasons, Reasons::SHORT);
                let last = seen[seen.len() - 1].0;
                prop_assert!(sound && last < -i64::from(smallest));
            }
            Some(Verdict::Unproven { reasons }) => prop_assert!(!reasons.is_empty()),
            None => prop_assert!(seen.len() < usize::from(wanted)),
        }
    }
}
