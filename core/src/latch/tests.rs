extern crate std;

use super::*;
use crate::drawn;
use std::vec::Vec;

/// A number within ±most.
fn within(next: &mut impl FnMut() -> u64, most: i64) -> i64 {
    (next() % (2 * most.unsigned_abs() + 1)) as i64 - most
}

fn caught(position_nm: i64, feed_nm_s: i64) -> Caught {
    Caught {
        position_nm,
        feed_nm_s,
        feed_at: FeedAt::Latch,
        acceleration_nm_s2: 0,
        doubt_ns: Some(100),
    }
}

/// A moving axis seen at three feeds: latch, contact and mean say the same place.
#[test]
fn three_ways_to_tell_the_feed_give_one_place() {
    let mut next = drawn::numbers(0x6761_7567_6531);
    for _ in 0..20_000 {
        let delay_ns = (next() % 100_000_001) as i64;
        let config = LatchConfig::new(Method::Edge, delay_ns).unwrap();
        let acceleration_nm_s2 = within(&mut next, HARDEST_NM_S2);
        let change = quotient(acceleration_nm_s2 * delay_ns, GIGA);
        let at_latch = within(&mut next, FASTEST_NM_S - change.abs());
        let position = within(&mut next, FURTHEST_NM);
        let places = [
            (FeedAt::Latch, at_latch),
            (FeedAt::Contact, at_latch - change),
            (FeedAt::Mean, at_latch - change / 2),
        ]
        .map(|(feed_at, feed_nm_s)| {
            let caught = Caught {
                feed_at,
                acceleration_nm_s2,
                ..caught(position, feed_nm_s)
            };
            config.contact(&caught).unwrap().at_nm
        });
        let [latch, contact, mean] = places;
        assert!(latch.abs_diff(contact) <= 2 && latch.abs_diff(mean) <= 2);
    }
}

#[test]
fn an_axis_run_the_other_way_is_the_mirror() {
    let mut next = drawn::numbers(0x6761_7567_6532);
    for _ in 0..20_000 {
        let config = LatchConfig::new(Method::Edge, within(&mut next, 800_000_000)).unwrap();
        let one = Caught {
            acceleration_nm_s2: within(&mut next, HARDEST_NM_S2),
            ..caught(
                within(&mut next, FURTHEST_NM),
                within(&mut next, FASTEST_NM_S),
            )
        };
        let other = Caught {
            position_nm: -one.position_nm,
            feed_nm_s: -one.feed_nm_s,
            acceleration_nm_s2: -one.acceleration_nm_s2,
            ..one
        };
        let [one, other] = [one, other].map(|caught| config.contact(&caught).unwrap());
        assert_eq!(one.at_nm, -other.at_nm);
        assert_eq!(one.doubt_pm, other.doubt_pm);
    }
}

/// Braking over the delay is told where it matters against the doubt.
#[test]
fn a_feed_that_changes_before_the_latch_is_told() {
    let config = LatchConfig::new(Method::Edge, 2_000_000).unwrap();
    // 300 mm/min, 0.5 m/s²: the feed changes by 1 mm/s, 2 µm over 2 ms. 100 ns are 0.5 nm.
    let steady = caught(0, 5_000_000);
    let braking = Caught {
        acceleration_nm_s2: -500_000_000,
        ..steady
    };
    assert_eq!(config.contact(&steady).unwrap().flags, Flags::NONE);
    assert_eq!(config.contact(&braking).unwrap().flags, Flags::NOT_SETTLED);
    // A doubt of 40 µm hides 2 µm.
    let blurred = Caught {
        doubt_ns: Some(8_000_000),
        ..braking
    };
    assert_eq!(config.contact(&blurred).unwrap().flags, Flags::NONE);
}

#[test]
fn what_is_out_of_range_is_refused() {
    for (method, delay_ns, why) in [
        (Method::Edge, 800_000_001, LatchError::Delay),
        (Method::Edge, i64::MIN, LatchError::Delay),
        (Method::History { period_ns: 0 }, 0, LatchError::Period),
        (
            Method::History {
                period_ns: 1_000_000_001,
            },
            0,
            LatchError::Period,
        ),
        (
            Method::Scan {
                period_ns: 1_000_000_000,
                behind_ns: 1_000_000_000,
            },
            0,
            LatchError::Delay,
        ),
    ] {
        assert_eq!(LatchConfig::new(method, delay_ns).unwrap_err(), why);
    }
    let config = LatchConfig::new(Method::Edge, 0).unwrap();
    assert_eq!(
        config.feed_error_ppm(100_001).unwrap_err(),
        LatchError::FeedError
    );
    let far = caught(FURTHEST_NM + 1, 0);
    assert_eq!(config.contact(&far).unwrap_err(), LatchError::Position);
    let fast = caught(0, -FASTEST_NM_S - 1);
    assert_eq!(config.contact(&fast).unwrap_err(), LatchError::Feed);
    let hard = Caught {
        acceleration_nm_s2: i64::MIN,
        ..caught(0, 0)
    };
    assert_eq!(config.contact(&hard).unwrap_err(), LatchError::Acceleration);
    let mut history = History::<4>::new();
    assert_eq!(
        history.contact(&config, 0, None).unwrap_err(),
        LatchError::Method
    );
    history.push(0, 0).unwrap();
    assert_eq!(history.push(0, 0).unwrap_err(), LatchError::Order);
    assert_eq!(
        history.push(1_000_000, 1_700_000).unwrap_err(),
        LatchError::Feed
    );
    assert_eq!(history.push(5, i64::MAX).unwrap_err(), LatchError::Position);
}

fn filled(positions: impl IntoIterator<Item = (i64, i64)>) -> History<8> {
    let mut history = History::new();
    for (time_ns, position_nm) in positions {
        history.push(time_ns, position_nm).unwrap();
    }
    history
}

const PERIOD: Method = Method::History {
    period_ns: 1_000_000,
};

/// A feed without acceleration: any sample pair of a full ring says the same.
#[test]
fn a_steady_feed_is_a_chord_wherever_the_onset_lies() {
    let config = LatchConfig::new(PERIOD, 250_000).unwrap();
    let at = |time_ns: i64| time_ns / 200 - 77; // 5 mm/s
    let history = filled((0..21).map(|k| (k * 1_000_000, at(k * 1_000_000))));
    for onset_ns in (16_250_000..=20_250_000).step_by(50_000) {
        let latched = history.contact(&config, onset_ns, Some(300)).unwrap();
        assert_eq!(latched.at_nm, at(onset_ns - 250_000));
        assert_eq!((latched.feed_nm_s, latched.doubt_pm), (5_000_000, 1_500));
        assert_eq!((latched.bound_nm, latched.flags), (0, Flags::NONE));
    }
    let late = history.contact(&config, 20_250_001, None);
    let early = history.contact(&config, 13_249_999, None);
    for outside in [late, early] {
        assert_eq!(outside.unwrap_err(), LatchError::Outside);
    }
}

/// Bounds of both curves hold, and are reached, under acceleration and jerk.
#[test]
fn an_interpolation_is_never_off_by_more_than_its_bound() {
    let config = LatchConfig::new(PERIOD, 0).unwrap();
    let mut next = drawn::numbers(0x6761_7567_6533);
    let (mut chords, mut parabolas) = (0_u32, 0_u32);
    let mut closest = 0.0_f64;
    for _ in 0..20_000 {
        let feed = within(&mut next, 30_000_000) as f64;
        let acceleration = within(&mut next, 2_000_000_000) as f64;
        let jerk = within(&mut next, 200) as f64 * 1e9;
        let at = |time_ns: f64| {
            let t = time_ns * 1e-9;
            t * (feed + t * (acceleration / 2.0 + t * jerk / 6.0))
        };
        let history = filled((0..8).map(|k| {
            let time = k * 1_000_000;
            (time, at(time as f64).round() as i64)
        }));
        let onset_ns = 5_000_000 + (next() % 2_000_001) as i64;
        let doubt_ns = Some((next() % 100_000) as u32);
        let latched = history.contact(&config, onset_ns, doubt_ns).unwrap();
        // The samples themselves are rounded, which adds to an interpolation of three.
        let off = (latched.at_nm as f64 - at(onset_ns as f64)).abs() - 1.6;
        // Across one period the third difference changes by nothing: the jerk is constant.
        assert!(
            off <= f64::from(latched.bound_nm),
            "{latched:?} off by {off}"
        );
        if latched.bound_nm > 10 {
            closest = closest.max(off / f64::from(latched.bound_nm));
        }
        let second = (acceleration.abs() * 1e-6).round();
        if second * 500.0 > f64::from(latched.doubt_pm) * 1.3 {
            parabolas += 1;
        } else {
            chords += 1;
        }
    }
    assert!(chords > 1_000 && parabolas > 1_000, "{chords} {parabolas}");
    assert!(closest > 0.9, "{closest}");
}

#[test]
fn a_missing_sample_is_a_gap_with_the_whole_way_in_doubt() {
    let config = LatchConfig::new(PERIOD, 0).unwrap();
    let all: Vec<(i64, i64)> = (0..8).map(|k| (k * 1_000_000, k * 5_000)).collect();
    for missing in 0..8 {
        let kept = all
            .iter()
            .copied()
            .filter(|(t, _)| *t != missing * 1_000_000);
        let history = filled(kept);
        let latched = history.contact(&config, 5_500_000, Some(1)).unwrap();
        let gap = (3..=6).contains(&missing);
        assert_eq!(latched.flags.contains(Flags::GAP), gap, "{missing}");
        assert_eq!(latched.at_nm, 27_500);
        let whole = if missing == 5 || missing == 6 {
            10_000
        } else {
            5_000
        };
        assert_eq!(latched.bound_nm, if gap { whole } else { 0 });
    }
    // Too short a history is one as well.
    let short = filled([(0, 0), (1_000_000, 5_000), (2_000_000, 10_000)]);
    let latched = short.contact(&config, 1_500_000, Some(1)).unwrap();
    assert_eq!(latched.flags, Flags::GAP);
}

/// Sorted phases of a scan: means as closed forms have them, v·T/(√12·n) for spread starts.
#[test]
fn spread_starts_make_the_phases_of_a_scan_even() {
    let scan = Method::Scan {
        period_ns: 4_000_000,
        behind_ns: 0,
    };
    let config = LatchConfig::new(scan, 1_000_000).unwrap();
    let (feed, n) = (5_000_000, 5_u16);
    let mut next = drawn::numbers(0x6761_7567_6534);
    let mut squares = [0.0; 2];
    let trials = 20_000;
    for _ in 0..trials {
        let first = (next() % 4_000_000) as i64;
        for (spread, square) in squares.iter_mut().enumerate() {
            let mut mean = 0.0;
            for k in 0..n {
                let offset = config.start_offset_nm(feed, k, n);
                let phase = if spread == 1 {
                    (first + offset * 1_000 / 5) % 4_000_000
                } else {
                    first
                };
                // The scan sees the edge of 1 ms so much later.
                let seen = feed * (1_000_000 + phase) / 1_000_000_000;
                let latched = config.contact(&caught(seen, feed)).unwrap();
                mean += latched.at_nm as f64 / f64::from(n);
            }
            *square += mean * mean / f64::from(trials);
        }
    }
    let way: f64 = 20_000.0;
    let [same, spread] = squares.map(f64::sqrt);
    assert!(
        (same / (way / 12.0_f64.sqrt()) - 1.0).abs() < 0.02,
        "{same}"
    );
    assert!(
        (spread / (way / 12.0_f64.sqrt() / 5.0) - 1.0).abs() < 0.02,
        "{spread}"
    );
    // One touch states that of a single phase: 5 774 nm, beside 0.5 nm of its own.
    let doubt = config.contact(&caught(0, feed)).unwrap().doubt_pm;
    assert!(
        (f64::from(doubt) / 5_773_503.0 - 1.0).abs() < 1e-3,
        "{doubt}"
    );
    let two = Method::Scan {
        period_ns: 3_000_000,
        behind_ns: 4_000_000,
    };
    let doubt = LatchConfig::new(two, 0)
        .unwrap()
        .contact(&caught(0, feed))
        .unwrap()
        .doubt_pm;
    assert!(
        (f64::from(doubt) / 7_216_879.0 - 1.0).abs() < 1e-3,
        "{doubt}"
    );
}

/// Delay of 2 ms out of touches at 60 and 600 mm/min of 50 nm: u(D) is 3.5 µs for five each.
#[test]
fn touches_at_two_feeds_tell_the_delay() {
    let touches = |feed_nm_s: i64| FeedTouches {
        feed_nm_s,
        mean_nm: -40_000 + feed_nm_s / 500,
        doubt_pm: 22_361,
    };
    for sign in [1, -1] {
        let (slow, fast) = (touches(sign * 1_000_000), touches(sign * 10_000_000));
        for delay in [calibrate(&slow, &fast), calibrate(&fast, &slow)] {
            let delay = delay.unwrap();
            assert_eq!(delay.delay_ns, 2_000_000);
            assert!((3_513..=3_516).contains(&delay.doubt_ns), "{delay:?}");
        }
    }
    let both = calibrate(&touches(1_000_000), &touches(-1_000_000));
    assert_eq!(both.unwrap_err(), CalibrateError::Direction);
    let near = calibrate(&touches(6_000_000), &touches(10_000_000));
    assert_eq!(near.unwrap_err(), CalibrateError::FeedsTooClose);
    let fast = calibrate(&touches(i64::MIN), &touches(10_000_000));
    assert_eq!(fast.unwrap_err(), CalibrateError::Feed);
}

/// 1 % of feed doubt at 300 mm/min and 48 ms are 2.4 µm.
#[test]
fn what_touches_share_follows_feed_and_delay() {
    let config = LatchConfig::new(Method::Edge, 48_000_000)
        .unwrap()
        .delay_doubt(2_000, crate::budget::Dof::N(9))
        .feed_error_ppm(17_321)
        .unwrap();
    let [delay, feed] = config.shared(-5_000_000, 7);
    assert_eq!((delay.u_pm, delay.dof), (10_000, crate::budget::Dof::N(9)));
    assert!((f64::from(feed.u_pm) / 2_400_000.0 - 1.0).abs() < 1e-4);
    assert_eq!((delay.group, feed.group), (7, 8));
}

/// Braking that begins between the onset and the sample behind it shows in no difference yet: the error
/// is then up to `a·T²/8` beyond the bound, and no more.
#[test]
fn braking_right_after_the_onset_is_off_by_no_more_than_is_said() {
    for (period_ms, more_nm) in [(1_u32, 250.0), (4, 4_000.0)] {
        let method = Method::History {
            period_ns: period_ms * 1_000_000,
        };
        let config = LatchConfig::new(method, 0).unwrap();
        let period = f64::from(period_ms) * 1e-3;
        let mut most = 0.0_f64;
        for (brakes, touches) in (0..20).flat_map(|b| (0..20).map(move |t| (b, t))) {
            let at = |k: i32| (4.0 + f64::from(k) / 20.0) * period;
            let place = |t: f64| (5e-3 * t - (t - at(brakes)).max(0.0).powi(2)) * 1e9;
            let mut history = History::<8>::new();
            for k in 0..6 {
                let t = f64::from(k) * period;
                history
                    .push((t * 1e9).round() as i64, place(t).round() as i64)
                    .unwrap();
            }
            let onset = at(touches);
            let found = history
                .contact(&config, (onset * 1e9) as i64, Some(10))
                .unwrap();
            let off = (found.at_nm as f64 - place(onset)).abs() - f64::from(found.bound_nm);
            most = most.max(off);
        }
        assert!(most > 0.0 && most < more_nm + 2.0, "{period_ms}: {most}");
    }
}
