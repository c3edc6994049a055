//! Budget, latch and gauge with numbers that nobody means: nothing overflows or panics in a build that
//! checks for it, and what is refused is refused by name.

use std::hint::black_box;

use fastrand::Rng;
use trueonset::budget::{combine, guard_milli, k_milli, Class, Dof, Term};
use trueonset::flags::Flags;
use trueonset::gauge::check::{Allowance, Check, CheckConfig, CheckPlan, CheckTimes, Input};
use trueonset::gauge::{
    deviation_limits, Cusum, Drift, Meaning, Quantum, Reference, Side, Spread, Study, ToothHeights,
    Touches, Wear,
};
use trueonset::latch::{
    calibrate, Caught, FeedAt, FeedTouches, History, LatchConfig, Latched, Method, FASTEST_NM_S,
    FURTHEST_NM, HARDEST_NM_S2,
};
use trueonset::time::{Instant, TickRate};

const ROUNDS: u64 = 20_000;

/// Numbers of every size, and the ends of what there is.
struct Any(Rng);

impl Any {
    fn i64(&mut self) -> i64 {
        let bits = self.0.u32(0..64);
        let number = (self.0.u64(..) >> bits) as i64;
        match self.0.u8(0..12) {
            0 => i64::MAX,
            1 => i64::MIN,
            2 => 0,
            3..=6 => number.wrapping_neg(),
            _ => number,
        }
    }

    fn u32(&mut self) -> u32 {
        let bits = self.0.u32(0..32);
        match self.0.u8(0..10) {
            0 => u32::MAX,
            1 => 0,
            2 => i32::MAX as u32,
            _ => self.0.u32(..) >> bits,
        }
    }

    /// Within what is allowed, the ends more often.
    fn within(&mut self, most: i64) -> i64 {
        match self.0.u8(0..6) {
            0 => most,
            1 => -most,
            _ => self.0.i64(-most..=most) >> self.0.u32(0..40),
        }
    }

    fn dof(&mut self) -> Dof {
        if self.0.bool() {
            Dof::Known
        } else {
            Dof::N(self.u32() as u16)
        }
    }

    fn flags(&mut self) -> Flags {
        if self.0.u8(0..4) == 0 {
            Flags::from_bits(self.u32())
        } else {
            Flags::NONE
        }
    }

    fn latched(&mut self) -> Latched {
        Latched {
            at_nm: self.i64(),
            feed_nm_s: self.i64(),
            doubt_pm: self.u32(),
            bound_nm: self.u32(),
            flags: self.flags(),
        }
    }

    fn doubt_ns(&mut self) -> Option<u32> {
        (self.0.u8(0..6) > 0).then(|| self.u32())
    }
}

fn often(name: u64, what: impl Fn(&mut Any)) {
    for seed in 0..ROUNDS {
        what(&mut Any(Rng::with_seed(seed << 8 | name)));
    }
}

#[test]
fn latches() {
    often(1, |any| {
        let method = match any.0.u8(0..3) {
            0 => Method::Edge,
            1 => Method::History {
                period_ns: any.u32(),
            },
            _ => Method::Scan {
                period_ns: any.u32(),
                behind_ns: any.u32(),
            },
        };
        let Ok(config) = LatchConfig::new(method, any.within(800_000_000)) else {
            return;
        };
        let Ok(config) = config
            .delay_doubt(any.u32(), any.dof())
            .feed_error_ppm(any.0.u32(0..=100_000))
        else {
            return;
        };
        let feed = if any.0.bool() {
            any.i64()
        } else {
            any.within(FASTEST_NM_S)
        };
        let [delay, over_it] = config.shared(feed, any.u32() as u8);
        assert!(delay.u_pm >= 0 && over_it.u_pm >= 0);
        let _start = black_box(config.start_offset_nm(feed, any.u32() as u16, any.u32() as u16));
        let caught = Caught {
            position_nm: any.within(FURTHEST_NM),
            feed_nm_s: any.within(FASTEST_NM_S),
            feed_at: [FeedAt::Latch, FeedAt::Contact, FeedAt::Mean][any.0.usize(0..3)],
            acceleration_nm_s2: any.within(HARDEST_NM_S2),
            doubt_ns: any.doubt_ns(),
        };
        let _place = black_box(config.contact(&caught));
        let period = match method {
            Method::History { period_ns } => i64::from(period_ns),
            _ => 1_000_000,
        };
        let (mut time, mut place) = (any.i64(), any.within(FURTHEST_NM));
        let mut history = History::<8>::new();
        for _ in 0..10 {
            time = time.saturating_add(period + any.within(period / 8));
            place = (place + any.within(period * 5 / 3)).clamp(-FURTHEST_NM, FURTHEST_NM);
            let _taken = black_box(history.push(time, place));
            let at = if any.0.bool() {
                any.i64()
            } else {
                time.saturating_sub(any.within(period * 4))
            };
            let _place = black_box(history.contact(&config, at, any.doubt_ns()));
        }
        let mut touched = || FeedTouches {
            feed_nm_s: any.within(FASTEST_NM_S),
            mean_nm: any.i64(),
            doubt_pm: any.u32(),
        };
        let _delay = black_box(calibrate(&touched(), &touched()));
    });
}

#[test]
fn budgets() {
    often(2, |any| {
        let terms = [(); 6].map(|()| Term {
            u_pm: any.u32() as i32,
            dof: any.dof(),
            group: any.0.u8(0..4),
            class: [Class::Touch, Class::Cycle, Class::Setup][any.0.usize(0..3)],
        });
        if let Some(combined) = combine(&terms, any.u32() as u16) {
            assert!(combined.expanded_pm() > 0);
        }
        black_box((k_milli(any.dof()), guard_milli(any.dof())));
        black_box(deviation_limits(any.u32()));
    });
}

#[test]
fn checks() {
    often(3, |any| {
        let mut step = || 1 + u64::from(any.u32());
        let times = CheckTimes {
            arm_ns: step(),
            approach_ns: step(),
            told_ns: step(),
            hold_ns: step(),
            release_ns: step(),
            beat_ns: step(),
        };
        let (wear_nm, release_nm) = (any.u32() >> 4, any.u32() >> 4);
        let plan = CheckPlan {
            reference: Reference {
                position_nm: any.within(FURTHEST_NM),
                size_nm: any.within(FURTHEST_NM),
            },
            side: [Side::Growing, Side::Falling][any.0.usize(0..2)],
            expected_nm: any.within(FURTHEST_NM),
            wear_nm,
            long_nm: any.u32(),
            smallest_break_nm: any.u32(),
            allowance: Allowance {
                bounds_nm: any.u32(),
                shared_pm: any.u32(),
                dof: any.dof(),
                touch_pm: any.u32(),
            },
            release_nm,
            touches: any.0.u8(2..21),
            attempts: any.0.u8(1..5),
            other_spot: any.0.bool(),
            turning: any.0.bool(),
            times,
        };
        let Ok(config) = CheckConfig::new(plan, TickRate::NANOSECONDS) else {
            return;
        };
        let mut check = Check::new();
        let mut now = [0, u64::MAX - 100, any.i64() as u64][any.0.usize(0..3)];
        for _ in 0..60 {
            now = now.saturating_add(u64::from(any.u32()) >> any.0.u32(0..32));
            let at = Instant::from_ticks(now);
            let input = match any.0.u8(0..15) {
                0 => Input::Start,
                1 => Input::Go,
                2 | 3 => Input::Touch(any.latched()),
                4 | 5 => Input::Released(any.latched()),
                6 => Input::Beat,
                7 => Input::Ready(any.0.u8(0..8) != 0),
                8 => Input::Blocked(any.0.bool()),
                9 => Input::Limit { at_nm: any.i64() },
                10 => Input::Back,
                11 => Input::End,
                12 => Input::Flag(any.flags()),
                13 => Input::Unfit,
                _ => {
                    let _output = black_box(check.poll(at));
                    continue;
                }
            };
            let _output = black_box(check.step(&config, input, at));
        }
    });
}

#[test]
fn studies_and_wear() {
    often(4, |any| {
        let mut study = Study::new();
        let mut spread = Spread::new();
        let mut touches = Touches::<31>::new();
        for _ in 0..40 {
            let value = if any.0.bool() {
                any.i64()
            } else {
                any.within(1 << 40)
            };
            let _taken = (study.push(value), spread.push(value), touches.push(value));
            if any.0.u8(0..3) == 0 {
                let _day = study.end_day();
            }
        }
        if let Ok(found) = study.found() {
            black_box(found.holds(Meaning::Range(any.u32() as u8), any.u32()));
        }
        black_box((spread.mean(), spread.variance(), spread.deviation()));
        let _place = black_box(touches.locate(Side::Growing, any.u32()));
        let mut wear = Wear::new();
        let mut alarm = Cusum::new(any.i64(), any.i64()).head_start(any.i64());
        let near = any.0.bool();
        for _ in 0..40 {
            let length = if near {
                any.within(100_000_000)
            } else {
                any.i64()
            };
            if let Some(off) = wear.push(length) {
                black_box(alarm.push(off));
            }
            black_box((wear.level_nm(), wear.cycles_left(any.i64(), any.u32())));
        }
        let drift = Drift {
            rise_nm: any.u32(),
            tau_ms: any.u32(),
        };
        black_box((
            drift.bound_nm(any.i64() as u64),
            drift.interval_ms(any.u32()),
        ));
    });
}

#[test]
fn cutters() {
    often(5, |any| {
        if let Ok(quantum) = Quantum::known_teeth(any.i64(), any.u32(), any.u32() as u8, any.u32())
        {
            assert!(quantum.terms(1).iter().all(|term| term.u_pm >= 0));
            black_box((
                quantum.corrected(Side::Growing, any.i64()),
                quantum.corrected(Side::Falling, any.i64()),
            ));
        }
        let Ok(mut heights) = ToothHeights::<4>::new(any.0.u8(0..6), any.i64() as u64) else {
            return;
        };
        let in_turn = any.0.bool();
        for k in 0..80 {
            let number = if in_turn { k } else { any.u32() };
            heights.hit(number, any.u32() >> any.0.u32(0..32));
        }
        let _found = black_box(heights.heights(any.u32()));
        let _first = black_box(heights.first_hit(any.u32(), any.u32()));
    });
}

/// As many of the longest hits as there may be.
#[test]
fn hits_without_end_are_added_up() {
    for rising in [false, true] {
        let mut heights = ToothHeights::<1>::new(1, 1_000_000_000).unwrap();
        for number in 0..65_536 {
            let width = if rising { number << 9 } else { (1 << 26) - 1 };
            heights.hit(number, width.clamp(1, (1 << 26) - 1));
        }
        let _found = black_box(heights.heights(1_000_000));
        let _first = black_box(heights.first_hit(1_000_000, 1 << 26));
    }
}

/// A doubt of the delay that is beyond all measure is told by the largest number, whatever the feed.
#[test]
fn what_touches_share_has_an_end_and_no_overflow() {
    let config = LatchConfig::new(Method::Edge, 800_000_000)
        .unwrap()
        .delay_doubt(3_000_000_000, Dof::Known)
        .feed_error_ppm(100_000)
        .unwrap();
    for feed in [5_000_000, -FASTEST_NM_S, i64::MAX, i64::MIN] {
        assert_eq!(config.shared(feed, 1)[0].u_pm, i32::MAX, "{feed}");
    }
    assert_eq!(config.shared(i64::MAX, 1)[1].u_pm, i32::MAX);
}
