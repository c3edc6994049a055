//! Latch, budget and gauge, every entry, with arguments that nobody knows.

use core::fmt::Write;
use core::hint::black_box;

use trueonset::budget::{combine, guard_milli, k_milli, Class, Dof, Term};
use trueonset::flags::Flags;
use trueonset::gauge::check::{
    Allowance, Check, CheckConfig, CheckError, CheckPlan, CheckTimes, Input, Reasons, Verdict,
};
use trueonset::gauge::{
    deviation_limits, Cusum, Drift, FirstHit, Meaning, Quantum, QuantumError, Reference,
    Sequential, SequentialError, Side, Spread, Study, StudyError, TeethError, ToothHeights,
    Touches, Wear,
};
use trueonset::latch::{
    calibrate, CalibrateError, Caught, FeedAt, FeedTouches, History, LatchConfig, LatchError,
    Latched, Method,
};

use super::{any, any64, flags, instant, rate, yes, Nowhere};

fn any_i64() -> i64 {
    any64() as i64
}

/// All of it.
pub(crate) fn all() {
    if let Err(why) = latch() {
        let _ = write!(Nowhere, "{why}");
    }
    if let Err(why) = delay() {
        let _ = write!(Nowhere, "{why}");
    }
    budget();
    if let Err(why) = check() {
        let _ = write!(Nowhere, "{why}");
    }
    if let Err(why) = turning() {
        let _ = write!(Nowhere, "{why}");
    }
    if let Err(why) = heights() {
        let _ = write!(Nowhere, "{why}");
    }
    if let Err(why) = weighed() {
        let _ = write!(Nowhere, "{why}");
    }
    if let Err(why) = study() {
        let _ = write!(Nowhere, "{why}");
    }
    follow();
    length();
}

fn doubt_ns() -> Option<u32> {
    yes().then(any)
}

fn dof() -> Dof {
    if yes() {
        Dof::Known
    } else {
        Dof::N(any() as u16)
    }
}

fn latch() -> Result<(), LatchError> {
    let method = match any() % 3 {
        0 => Method::Edge,
        1 => Method::History { period_ns: any() },
        _ => Method::Scan {
            period_ns: any(),
            behind_ns: any(),
        },
    };
    let config = LatchConfig::new(method, any_i64())?
        .delay_doubt(any(), dof())
        .feed_error_ppm(any())?;
    black_box((
        config.mean_delay_ns(),
        config.shared(any_i64(), any() as u8),
        config.start_offset_nm(any_i64(), any() as u16, any() as u16),
    ));
    let caught = Caught {
        position_nm: any_i64(),
        feed_nm_s: any_i64(),
        feed_at: [FeedAt::Latch, FeedAt::Contact, FeedAt::Mean][any() as usize % 3],
        acceleration_nm_s2: any_i64(),
        doubt_ns: doubt_ns(),
    };
    black_box(config.contact(&caught)?);
    let mut history = History::<8>::default();
    while yes() {
        history.push(any_i64(), any_i64())?;
        black_box(history.contact(&config, any_i64(), doubt_ns())?);
    }
    Ok(())
}

fn delay() -> Result<(), CalibrateError> {
    let touches = || FeedTouches {
        feed_nm_s: any_i64(),
        mean_nm: any_i64(),
        doubt_pm: any(),
    };
    black_box(calibrate(&touches(), &touches())?);
    Ok(())
}

fn term() -> Term {
    Term {
        u_pm: any() as i32,
        dof: dof(),
        group: any() as u8,
        class: [Class::Touch, Class::Cycle, Class::Setup][any() as usize % 3],
    }
}

fn budget() {
    let terms = [(); 6].map(|()| term());
    if let Some(combined) = combine(&terms, any() as u16) {
        black_box((combined, combined.expanded_pm()));
    }
    black_box((k_milli(dof()), guard_milli(dof())));
}

fn side() -> Side {
    Side::of_feed(any_i64()).unwrap_or(Side::Growing)
}

fn reference() -> Reference {
    Reference {
        position_nm: any_i64(),
        size_nm: any_i64(),
    }
}

fn plan() -> CheckPlan {
    CheckPlan {
        reference: reference(),
        side: side(),
        expected_nm: any_i64(),
        wear_nm: any(),
        long_nm: any(),
        smallest_break_nm: any(),
        allowance: Allowance {
            bounds_nm: any(),
            shared_pm: any(),
            dof: dof(),
            touch_pm: any(),
        },
        release_nm: any(),
        touches: any() as u8,
        attempts: any() as u8,
        other_spot: yes(),
        turning: yes(),
        times: CheckTimes {
            arm_ns: any64(),
            approach_ns: CheckTimes::for_approach(any(), any(), any64()),
            told_ns: any64(),
            hold_ns: any64(),
            release_ns: CheckTimes::for_release(any(), any(), any64(), any64()),
            beat_ns: any64(),
        },
    }
}

fn latched() -> Latched {
    Latched {
        at_nm: any_i64(),
        feed_nm_s: any_i64(),
        doubt_pm: any(),
        bound_nm: any(),
        flags: flags(),
    }
}

fn input() -> Input {
    match any() % 13 {
        0 => Input::Start,
        1 => Input::Go,
        2 => Input::Touch(latched()),
        3 => Input::Released(latched()),
        4 => Input::Beat,
        5 => Input::Ready(yes()),
        6 => Input::Limit { at_nm: any_i64() },
        7 => Input::Back,
        8 => Input::End,
        9 => Input::Flag(flags()),
        10 => Input::Blocked(yes()),
        _ => Input::Unfit,
    }
}

fn check() -> Result<(), CheckError> {
    let config = CheckConfig::new(plan(), rate())?;
    black_box((config.plan(), config.guard_nm()));
    let mut check = Check::default();
    while yes() {
        let output = if yes() {
            check.poll(instant())
        } else {
            check.step(&config, input(), instant())
        };
        match output.verdict {
            Some(Verdict::Broken { reasons } | Verdict::Unproven { reasons }) => look(reasons),
            other => drop(black_box(other)),
        }
        black_box((output.motion, output.again, output.deadline));
        black_box((check.late(), check.touches()));
    }
    Ok(())
}

fn look(reasons: Reasons) {
    black_box((reasons.first(), reasons.contains(Reasons::SHORT)));
    for word in reasons.words() {
        black_box(word);
    }
}

fn turning() -> Result<(), QuantumError> {
    let quantum = if yes() {
        Quantum::any_teeth(any_i64(), any())?
    } else {
        Quantum::known_teeth(any_i64(), any(), any() as u8, any())?
    };
    let first = FirstHit {
        late_pm: any(),
        doubt_pm: any(),
    };
    let quantum = if yes() {
        quantum.by_hits(first)
    } else {
        quantum
    };
    black_box((
        quantum,
        quantum.terms(any() as u8),
        quantum.corrected(side(), any_i64()),
    ));
    Ok(())
}

fn heights() -> Result<(), TeethError> {
    let mut heights = ToothHeights::<8>::new(any() as u8, any64())?;
    while yes() {
        heights.hit(any(), any());
    }
    black_box((heights.heights(any())?, heights.first_hit(any(), any())?));
    Ok(())
}

fn weighed() -> Result<(), SequentialError> {
    let mut test = Sequential::new(any(), any(), any(), any() as u8)?;
    while yes() {
        black_box((test.push(any_i64()), test.touches()));
    }
    Ok(())
}

fn study() -> Result<(), StudyError> {
    let mut study = Study::new();
    while yes() {
        study.push(any_i64())?;
        if yes() {
            study.end_day()?;
        }
    }
    black_box(study.mean_squares());
    let found = study.found()?;
    let meaning = match any() % 5 {
        0 => Meaning::Deviation,
        1 => Meaning::TwoDeviations,
        2 => Meaning::Limit,
        3 => Meaning::FourDeviations,
        _ => Meaning::Range(any() as u8),
    };
    black_box((
        found.holds(meaning, any()),
        meaning.deviations_milli(),
        found,
    ));
    Ok(())
}

fn follow() {
    let mut wear = Wear::new();
    let mut alarm = Cusum::new(any_i64(), any_i64()).head_start(any_i64());
    if yes() {
        alarm = Cusum::for_deviation(any());
    }
    while yes() {
        if let Some(off) = wear.push(any_i64()) {
            black_box((alarm.push(off), alarm.sum_pm()));
        }
        black_box((
            wear.count(),
            wear.level_nm(),
            wear.trend(),
            wear.cycles_left(any_i64(), any()),
        ));
    }
    let drift = Drift {
        rise_nm: any(),
        tau_ms: any(),
    };
    black_box((drift.bound_nm(any64()), drift.interval_ms(any())));
}

fn length() {
    let mut touches = Touches::<8>::default();
    let mut spread = Spread::new();
    while yes() {
        black_box((touches.push(any_i64()), spread.push(any_i64())));
    }
    black_box((touches.count(), touches.locate(side(), any())));
    black_box((spread.count(), spread.about(), spread.mean()));
    black_box((spread.variance(), spread.deviation()));
    black_box((reference().size_at(side(), any_i64()), Flags::SAME_SPOT));
    black_box(deviation_limits(any()));
}
