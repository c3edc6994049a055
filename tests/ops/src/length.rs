//! Latched positions, their budget, checks for breakage, and what is followed from tool to tool.

use core::fmt::Write;

use trueonset::budget::{combine, guard_milli, k_milli, Class, Dof, Term};
use trueonset::flags::Flags;
use trueonset::gauge::check::{
    Allowance, Check, CheckConfig, CheckError, CheckPlan, CheckTimes, Input,
};
use trueonset::gauge::{
    deviation_limits, Cusum, Drift, Meaning, Quantum, Reference, Side, Spread, Study, ToothHeights,
    Touches, Wear,
};
use trueonset::latch::{
    calibrate, Caught, FeedAt, FeedTouches, History, LatchConfig, LatchError, Latched, Method,
};
use trueonset::time::{Instant, TickRate};

use crate::{tell, Draw};

const REFERENCE: Reference = Reference {
    position_nm: 0,
    size_nm: 40_000_000,
};
const EXPECTED_NM: i64 = 30_000_000;

/// A machine that measures tools.
pub(crate) struct Room {
    latch: Option<LatchConfig>,
    history: History<8>,
    time_ns: i64,
    check: Option<CheckConfig>,
    state: Check,
    now: u64,
    places: Touches<5>,
    spread: Spread,
    wear: Wear,
    alarm: Cusum,
    study: Study,
    teeth: Option<ToothHeights<4>>,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        Self {
            latch: latch(draw).ok(),
            history: History::new(),
            time_ns: 0,
            check: check(draw).ok(),
            state: Check::new(),
            now: 0,
            places: Touches::new(),
            spread: Spread::new(),
            wear: Wear::new(),
            alarm: Cusum::for_deviation(300_000),
            study: Study::new(),
            teeth: ToothHeights::new(4, 10_000_000).ok(),
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        match draw.below(16) {
            0 => self.renew(draw, told),
            1..=3 => self.caught(draw, told),
            4 => budget(draw, told),
            5..=10 => self.breakage(draw, told),
            11 => self.study(draw, told),
            12 => self.teeth(draw, told),
            13 => around(draw, told),
            _ => self.follow(draw, told),
        }
    }

    fn renew(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let (latch, check) = (latch(draw), check(draw));
        tell!(
            told,
            latch,
            check.map(|config| (*config.plan(), config.guard_nm()))
        );
        if let Ok(latch) = latch {
            tell!(
                told,
                latch.mean_delay_ns(),
                latch.shared(draw.signed64(), draw.below(9) as u8)
            );
            let (k, n) = (draw.below(9) as u16, draw.below(9) as u16);
            tell!(told, latch.start_offset_nm(draw.signed64(), k, n));
            self.latch = Some(latch);
            self.history = History::new();
        }
        if let Ok(check) = check {
            self.check = Some(check);
            self.state = Check::new();
        }
    }

    fn caught(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let Some(latch) = &self.latch else {
            return;
        };
        let doubt_ns = draw.yes().then(|| draw.sized32());
        let (position_nm, feed_nm_s) = if draw.one_in(4) {
            (draw.signed64(), draw.signed64())
        } else {
            (draw.about(50_000_000), draw.about(20_000_000))
        };
        let caught = Caught {
            position_nm,
            feed_nm_s,
            feed_at: draw.of([FeedAt::Latch, FeedAt::Contact, FeedAt::Mean]),
            acceleration_nm_s2: if draw.yes() { 0 } else { draw.signed64() },
            doubt_ns,
        };
        tell!(told, latch.contact(&caught));
        self.time_ns = self.time_ns.saturating_add(draw.about(400_000) + 600_000);
        tell!(told, self.history.push(self.time_ns, position_nm));
        let at = self.time_ns.saturating_sub(draw.below(3_000_000).into());
        tell!(told, self.history.contact(latch, at, doubt_ns));
    }

    /// A whole check as a machine does it, now and then something else in between.
    fn breakage(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let broken_nm = if draw.one_in(4) { 600_000 } else { 0 };
        let (beat, off_nm) = (draw.one_in(16), draw.about(9_000) - broken_nm);
        for input in [Input::Ready(true), Input::Beat, Input::Start, Input::Go] {
            self.check(draw, told, input);
        }
        for _ in 0..draw.below(4) {
            let made = latched(draw, off_nm);
            self.check(draw, told, Input::Touch(made));
            self.now += u64::from(draw.below(5_000_000)) + 19_000_000;
            self.check(draw, told, Input::Back);
            self.check(draw, told, Input::Released(made));
            if !beat {
                self.check(draw, told, Input::Beat);
            }
            self.check(draw, told, Input::End);
        }
    }

    fn check(&mut self, draw: &mut Draw, told: &mut impl Write, usual: Input) {
        let Some(config) = &self.check else {
            return;
        };
        let input = if draw.one_in(40) { other(draw) } else { usual };
        self.now += u64::from(draw.below(4_000_000));
        let now = Instant::from_ticks(self.now);
        if draw.one_in(8) {
            tell!(told, self.state.poll(now));
        }
        let output = self.state.step(config, input, now);
        tell!(told, output, self.state.late(), self.state.touches());
    }

    fn study(&mut self, draw: &mut Draw, told: &mut impl Write) {
        for _ in 0..5 {
            let _ = self.study.push(draw.about(2_000_000));
        }
        tell!(
            told,
            self.study.push(draw.about(3_000_000)),
            self.study.end_day()
        );
        if draw.one_in(6) {
            tell!(told, self.study.mean_squares());
            let found = self.study.found();
            tell!(told, found);
            if let Ok(found) = found {
                let meaning = draw.of([
                    Meaning::Deviation,
                    Meaning::TwoDeviations,
                    Meaning::Limit,
                    Meaning::Range(5),
                ]);
                tell!(told, found.holds(meaning, draw.sized32()));
            }
            self.study = Study::new();
        }
    }

    fn teeth(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let Some(teeth) = &mut self.teeth else {
            let (count, turn_ns) = (draw.below(6) as u8, draw.sized64());
            let made = ToothHeights::new(count, turn_ns);
            tell!(told, made.is_ok());
            self.teeth = made.ok();
            return;
        };
        for _ in 0..8 {
            teeth.hit(draw.below(40), draw.below(900_000));
        }
        if draw.one_in(8) {
            tell!(told, teeth.heights(draw.sized32()));
            self.teeth = None;
        }
    }

    fn follow(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let reach_nm = if draw.one_in(64) { 90_000 } else { 800 };
        let at_nm = EXPECTED_NM + draw.about(reach_nm);
        tell!(told, self.places.push(at_nm), self.spread.push(at_nm));
        if let Some(off) = self.wear.push(at_nm) {
            tell!(told, off, self.alarm.push(off), self.alarm.sum_pm());
        }
        if draw.one_in(5) {
            tell!(told, self.places.locate(Side::Falling, draw.sized32()));
            tell!(
                told,
                self.spread.count(),
                self.spread.mean(),
                self.spread.variance()
            );
            tell!(
                told,
                self.spread.deviation(),
                self.wear.level_nm(),
                self.wear.trend()
            );
            tell!(told, self.wear.cycles_left(EXPECTED_NM, draw.sized32()));
            self.places = Touches::new();
        }
        if draw.one_in(500) {
            (self.wear, self.spread) = (Wear::new(), Spread::new());
            self.alarm = Cusum::new(draw.signed64(), draw.signed64()).head_start(draw.signed64());
        }
    }
}

fn dof(draw: &mut Draw) -> Dof {
    if draw.yes() {
        Dof::Known
    } else {
        Dof::N(draw.sized32() as u16)
    }
}

fn latch(draw: &mut Draw) -> Result<LatchConfig, LatchError> {
    let period_ns = draw.of([0, 250_000, 1_000_000, 10_000_000]);
    let method = match draw.below(3) {
        0 => Method::Edge,
        1 => Method::History { period_ns },
        _ => Method::Scan {
            period_ns,
            behind_ns: draw.below(500_000),
        },
    };
    let delay_ns = if draw.one_in(8) {
        draw.signed64()
    } else {
        draw.about(3_000_000)
    };
    let config = LatchConfig::new(method, delay_ns)?.delay_doubt(draw.sized32(), dof(draw));
    config.feed_error_ppm(draw.sized32())
}

fn budget(draw: &mut Draw, told: &mut impl Write) {
    let terms = [(); 5].map(|()| Term {
        u_pm: draw.sized32() as i32,
        dof: dof(draw),
        group: draw.below(3) as u8,
        class: draw.of([Class::Touch, Class::Cycle, Class::Setup]),
    });
    let combined = combine(&terms, draw.below(12) as u16);
    tell!(told, combined, combined.map(|all| all.expanded_pm()));
    let dof = dof(draw);
    tell!(told, k_milli(dof), guard_milli(dof));
}

fn check(draw: &mut Draw) -> Result<CheckConfig, CheckError> {
    let own = draw.one_in(4);
    let mut size = |usual: u32| if own { draw.sized32() } else { usual };
    let (wear_nm, long_nm) = (size(20_000), size(10_000));
    let (smallest_break_nm, bounds_nm) = (size(300_000), size(300));
    let (shared_pm, touch_pm, release_nm) = (size(161_000), size(30_000), size(2_000));
    let plan = CheckPlan {
        reference: REFERENCE,
        side: Side::Falling,
        expected_nm: EXPECTED_NM,
        wear_nm,
        long_nm,
        smallest_break_nm,
        allowance: Allowance {
            bounds_nm,
            shared_pm,
            dof: dof(draw),
            touch_pm,
        },
        release_nm,
        touches: draw.of([1, 2, 2, 3]),
        other_spot: draw.yes(),
        turning: draw.one_in(4),
        times: CheckTimes {
            arm_ns: 1_000_000_000,
            approach_ns: CheckTimes::for_approach(1_200_000, 5_000_000, 2_000_000),
            hold_ns: 20_000_000,
            release_ns: CheckTimes::for_release(100_000, 5_000_000, 2_000_000, 63),
            beat_ns: 100_000_000,
        },
    };
    CheckConfig::new(plan, TickRate::NANOSECONDS)
}

fn latched(draw: &mut Draw, off_nm: i64) -> Latched {
    Latched {
        at_nm: EXPECTED_NM - REFERENCE.size_nm + off_nm + draw.about(200),
        feed_nm_s: -i64::from(draw.below(5_000_000)),
        doubt_pm: draw.below(60_000),
        bound_nm: draw.below(200),
        flags: if draw.one_in(32) {
            draw.flags()
        } else {
            Flags::NONE
        },
    }
}

fn other(draw: &mut Draw) -> Input {
    let off_nm = draw.signed64() >> 8;
    let latched = latched(draw, off_nm);
    match draw.below(10) {
        0 => Input::Ready(draw.yes()),
        1 => Input::Limit {
            at_nm: latched.at_nm,
        },
        2 => Input::Unfit,
        3 => Input::End,
        4 => Input::Flag(draw.flags()),
        5 => Input::Back,
        6 => Input::Beat,
        7 => Input::Released(latched),
        8 => Input::Start,
        _ => Input::Touch(latched),
    }
}

/// What stands by itself.
fn around(draw: &mut Draw, told: &mut impl Write) {
    let feed = |draw: &mut Draw| FeedTouches {
        feed_nm_s: draw.about(60_000_000),
        mean_nm: draw.about(90_000),
        doubt_pm: draw.sized32(),
    };
    let (one, other) = (feed(draw), feed(draw));
    tell!(told, calibrate(&one, &other));
    let quantum = if draw.yes() {
        Quantum::any_teeth(draw.about(60_000_000), draw.sized32())
    } else {
        Quantum::known_teeth(
            draw.about(60_000_000),
            draw.sized32(),
            draw.below(6) as u8,
            draw.sized32(),
        )
    };
    tell!(told, quantum);
    if let Ok(quantum) = quantum {
        tell!(told, quantum.terms(1));
        if let Some(side) = Side::of_feed(draw.about(3)) {
            tell!(told, quantum.corrected(side, draw.signed64()));
            tell!(told, REFERENCE.size_at(side, draw.signed64()));
        }
    }
    let drift = Drift {
        rise_nm: draw.sized32(),
        tau_ms: draw.sized32(),
    };
    tell!(
        told,
        drift.bound_nm(draw.sized64()),
        drift.interval_ms(draw.sized32())
    );
    tell!(told, deviation_limits(draw.sized32()));
}
