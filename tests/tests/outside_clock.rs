//! The clock, its oscillators and its yardstick against published values and textbook formulas.

use rand_distr::{Distribution, StandardNormal};
use trueonset::clock::{Clock, ClockConfig, Oscillator as Kind};
use trueonset::time::{Instant, TickRate};
use trueonset_sim::model::oscillator::{Oscillator, Parts};
use trueonset_sim::model::rng;
use trueonset_sim::model::stamp::Stamp;
use trueonset_sim::study::allan::{overlapping, plain};
use trueonset_sim::study::clocked::{Probe, Row, Squares};
use trueonset_sim::study::statistics::Moments;

const HZ: u32 = 16_000_000;

fn phases(frequencies: &[f64]) -> Vec<f64> {
    let mut phase = 0.0;
    let sums = frequencies.iter().map(|f| {
        phase += f;
        phase
    });
    std::iter::once(0.0).chain(sums).collect()
}

fn near(found: f64, published: f64) {
    // Seven digits are printed.
    assert!(
        (found / published - 1.0).abs() < 5e-7,
        "{found} {published}"
    );
}

/// NIST SP 1065 (2008), tables of its two test suites: nine frequencies, and a thousand out of
/// n ← 16807·n mod 2147483647 from 1234567890.
#[test]
fn allan_deviations_are_the_published_ones() {
    let x = phases(&[
        892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0,
    ]);
    near(plain(&x, 1.0, 1), 91.22945);
    near(plain(&x, 1.0, 2), 115.8082);
    near(overlapping(&x, 1.0, 1), 91.22945);
    near(overlapping(&x, 1.0, 2), 85.95287);
    let mut n = 1_234_567_890_u64;
    let mut frequencies = Vec::new();
    for _ in 0..1_000 {
        frequencies.push(n as f64 / 2_147_483_647.0);
        n = 16_807 * n % 2_147_483_647;
    }
    let x = phases(&frequencies);
    for (m, adev, oadev) in [
        (1, 2.922_319e-1, 2.922_319e-1),
        (10, 9.965_736e-2, 9.159_953e-2),
        (100, 3.897_804e-2, 3.241_343e-2),
    ] {
        near(plain(&x, 1.0, m), adev);
        near(overlapping(&x, 1.0, m), oadev);
    }
    assert!(overlapping(&x, 1.0, 501).is_nan() && plain(&x, 1.0, 0).is_nan());
}

/// NIST SP 1065, section 3.3: σ²(τ) of white and random-walk frequency noise add up.
#[test]
fn an_rc_has_the_allan_deviation_of_its_parts() {
    let (white, wander, dt) = (0.5, 3.0, 0.01);
    let mut rng = rng::stream(&[31]);
    let mut rc = Oscillator::new(Parts {
        white_ppm: white,
        wander_ppm: wander,
        ..Parts::default()
    });
    let x: Vec<f64> = (0..400_000)
        .map(|_| {
            rc.step(&mut rng, dt);
            rc.phase()
        })
        .collect();
    for m in [1, 4, 16, 64, 256] {
        let tau = dt * f64::from(m);
        let expected = (white * white / tau + wander * wander * tau / 3.0).sqrt();
        let found = overlapping(&x, dt, m as usize) * 1e6;
        // Some 1500 independent differences at the longest, twice their standard error.
        assert!(
            (found / expected - 1.0).abs() < 0.04,
            "{tau}: {found} {expected}"
        );
    }
}

/// JCGM 100:2008 (GUM), example H.3: calibration line of a thermometer, printed y1, y2, b(30).
#[test]
fn least_squares_give_the_line_of_the_guide() {
    let t = [
        21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
    ];
    let b = [
        -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
    ];
    let mut line = Squares::new(1e12);
    for (t, b) in t.iter().zip(b) {
        line.add(*t, b);
    }
    let (y1, b30) = (line.at(20.0), line.at(30.0));
    assert!((y1 + 0.1712).abs() < 5e-5, "{y1}");
    assert!(((b30 - y1) / 10.0 - 0.00218).abs() < 5e-6);
    assert!((b30 + 0.1494).abs() < 5e-5, "{b30}");
}

/// RFC 5905 section 8: four stamps give θ = ((T2 − T1) + (T3 − T4)) / 2 and δ = (T4 − T1) − (T3 − T2);
/// the first case is the worked example in the note on its erratum 5020, θ = 0 and δ = 100 ms.
/// A one-way clock whose constant delay was calibrated as half such a round trip has the same
/// offset, and with an asymmetric way is off by the same half of the asymmetry.
#[test]
fn a_one_way_clock_has_the_offset_of_a_round_trip() {
    const SLOT_NS: u64 = 1_000_000;
    let config = ClockConfig::new(TickRate::NANOSECONDS, 1_000_000, Kind::CRYSTAL).unwrap();
    // Offset of the other clock, way out, way back, ns; and the published or computed θ, δ.
    for (offset, out, back, theta, delta) in [
        (
            0_i64,
            50_000_000_i64,
            50_000_000_i64,
            0_i64,
            100_000_000_i64,
        ),
        (1_234_567, 250_000, 250_000, 1_234_567, 500_000),
        (-5_000, 300_000, 200_000, 45_000, 500_000),
        (0, 500_000, 0, 250_000, 500_000),
    ] {
        let t1 = 1_000_000_000_i64;
        let t2 = t1 + out + offset;
        let t3 = t2 + 1_000_000;
        let t4 = t3 - offset + back;
        assert_eq!(((t2 - t1) + (t3 - t4)) / 2, theta);
        assert_eq!((t4 - t1) - (t3 - t2), delta);
        let arrives = |slot: u64| Instant::from_ticks(t2 as u64 + slot * SLOT_NS);
        let mut clock = Clock::start(&config, 0, arrives(0));
        for slot in (5..200).step_by(5) {
            clock.update(&config, slot, arrives(slot));
        }
        let begins = clock.predict(&config, 200).at.nearest().ticks() as i64;
        let sent = t1 + 200 * SLOT_NS as i64;
        assert!(
            (begins - delta / 2 - sent - theta).abs() <= 1,
            "{offset} {out} {back}"
        );
    }
}

fn config(kind: Kind) -> ClockConfig {
    ClockConfig::new(TickRate::from_hz(HZ).unwrap(), 1_000_000, kind).unwrap()
}

/// A frame of every tenth slot, on a probe `ppm` slow; normal scatter in ticks. After each:
/// the clock, the slot, what arrived and should have, ticks.
fn follow(
    kind: Kind,
    ppm: f64,
    sigma: f64,
    frames: u64,
    mut each: impl FnMut(&Clock, u64, f64, f64),
) {
    let config = config(kind);
    let mut rng = rng::stream(&[5]);
    let mut clock = None;
    for slot in (0..10 * frames).step_by(10) {
        let truth = 1e6 + slot as f64 * 16_000.0 * (1.0 + ppm * 1e-6);
        let normal: f64 = StandardNormal.sample(&mut rng);
        let arrival = (truth + sigma * normal).round();
        let at = Instant::from_ticks(arrival as u64);
        let clock = clock.get_or_insert_with(|| Clock::start(&config, slot, at));
        clock.update(&config, slot, at);
        each(clock, slot, arrival, truth);
    }
}

fn ticks(clock: &Clock, kind: Kind, slot: u64) -> f64 {
    let at = clock.predict(&config(kind), slot).at;
    at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0
}

/// Fading-memory polynomials are least squares with weights θ^k (Morrison, Introduction to
/// Sequential Smoothing and Prediction, 1969; from memory).
#[test]
fn frames_at_equal_times_give_the_weighted_least_squares_line() {
    for (kind, memory) in [(Kind::CRYSTAL, 1_000.0), (Kind::RC, 80.0)] {
        let theta: f64 = memory / (memory + 10.0);
        let mut line = Squares::new(-10.0 / theta.ln());
        follow(kind, 37.0, 16.0, 6_000, |clock, slot, arrival, _| {
            let x = slot as f64;
            line.add(x, arrival - 16_000.0 * x);
            if slot > 40_000 && slot % 1_000 == 0 {
                for ahead in [0, 10, 200] {
                    let squares = line.at(x + f64::from(ahead)) + 16_000.0 * (x + f64::from(ahead));
                    let found = ticks(clock, kind, slot + u64::from(ahead as u32));
                    // The steps of 1/256 tick, and gains of 32 places.
                    assert!(
                        (found - squares).abs() < 0.02,
                        "{slot} {ahead}: {found} {squares}"
                    );
                }
            }
        });
    }
}

/// Variances of the fading-memory filter of degree 1 at the newest point and one step on, for
/// unit scatter: (1−θ)(1+4θ+5θ²)/(1+θ)³ and (1−θ)(5+4θ+θ²)/(1+θ)³ (Morrison 1969, from memory).
#[test]
fn the_line_scatters_as_the_textbook_says() {
    let theta: f64 = 80.0 / 90.0;
    let cube = (1.0 + theta).powi(3);
    let at = (1.0 - theta) * (1.0 + 4.0 * theta + 5.0 * theta * theta) / cube;
    let ahead = (1.0 - theta) * (5.0 + 4.0 * theta + theta * theta) / cube;
    let (mut newest, mut next) = (Moments::default(), Moments::default());
    follow(Kind::RC, -900.0, 16.0, 60_000, |clock, slot, _, truth| {
        if slot > 5_000 {
            newest.add(ticks(clock, Kind::RC, slot) - truth);
            next.add(ticks(clock, Kind::RC, slot + 10) - truth - 160_000.0 * (1.0 - 900e-6));
        }
    });
    for (seen, variance) in [(newest, at), (next, ahead)] {
        let expected = 16.0 * variance.sqrt();
        // Neighbours share much: the spread is known to some 2 %.
        assert!(
            (seen.sd() / expected - 1.0).abs() < 0.04,
            "{} {expected}",
            seen.sd()
        );
    }
}

/// 20 ppm are 1.2 ms in a minute and 72 ms in an hour (arithmetic).
#[test]
fn parts_per_million_add_up_over_a_silence() {
    for (ppm, a_minute_ms) in [(20.0, 1.2), (-20.0, -1.2), (40.0, 2.4)] {
        let mut last = None;
        follow(Kind::CRYSTAL, ppm, 0.0, 3_000, |clock, slot, _, truth| {
            last = Some((clock.clone(), slot, truth));
        });
        let (clock, slot, truth) = last.unwrap();
        let silent = 60_000;
        let found = ticks(&clock, Kind::CRYSTAL, slot + silent) - truth - silent as f64 * 16_000.0;
        let ms = found / f64::from(HZ) * 1e3;
        assert!((ms - a_minute_ms).abs() < 2e-3, "{ppm}: {ms} ms");
        let ppb = clock.rate_ppb(&config(Kind::CRYSTAL));
        assert!((f64::from(ppb) + ppm * 1e3).abs() < 20.0, "{ppb}");
    }
}

/// A reduced table of the bench `clock_rows`, its limits widened by three standard errors; the
/// whole stands in `tests/results/`.
#[test]
fn the_clock_is_nearly_as_good_as_least_squares_and_never_outside_its_bound() {
    for (probe, stamp, slot_ms, beat, bound_us) in [
        (Probe::Crystal, Stamp::CAPTURE, 1, 5, 1.0),
        (Probe::Crystal, Stamp::RADIO, 2, 10, 2.0),
        (Probe::Rc, Stamp::CAPTURE, 1, 10, 4.0),
    ] {
        for (loss, limit) in [(0.01, 1.1), (0.3, 1.15)] {
            let row = Row {
                probe,
                stamp,
                slot_ms,
                beat,
                loss,
                burst: 1.0,
            };
            let run = row.run(60.0, 1_001);
            let ratio = run.clock.moments.sd() / run.squares[0].moments.sd();
            // Frames in a memory are not independent.
            assert!(ratio < limit + 0.05, "{row:?}: {ratio}");
            assert!(run
                .stated
                .iter()
                .all(|(error, bound)| error.abs() <= *bound));
            assert!(run.stated.len() > 2_000 && run.clashes == 0);
            let over = run.bounds.iter().filter(|bound| **bound > bound_us).count();
            assert!(over * 100 <= run.bounds.len(), "{row:?}: {over}");
        }
    }
}

/// The bound is made of what was measured before: scatter that suddenly grows must not outrun it.
#[test]
fn scatter_that_grows_fivefold_at_once_stays_within_the_bound() {
    for kind in [Kind::CRYSTAL, Kind::RC] {
        let config = config(kind);
        let (mut stated, mut worst) = (0_u64, 0.0_f64);
        for seed in 0..400 {
            let mut rng = rng::stream(&[6, seed]);
            let mut clock = None;
            for slot in (0..6_000_u64).step_by(10) {
                let truth = 1e6 + slot as f64 * 16_000.0;
                let sigma = if slot < 2_000 { 3.2 } else { 16.0 };
                let normal: f64 = StandardNormal.sample(&mut rng);
                let at = Instant::from_ticks((truth + sigma * normal).round() as u64);
                let clock = clock.get_or_insert_with(|| Clock::start(&config, slot, at));
                if clock.fits(&config, slot, at) {
                    clock.update(&config, slot, at);
                }
                let told = clock.predict(&config, slot);
                if let Some(doubt) = told.doubt_256 {
                    stated += 1;
                    let off = (ticks(clock, kind, slot) - truth).abs();
                    worst = worst.max(off * 256.0 / f64::from(doubt));
                }
            }
        }
        assert!(stated > 200_000 && worst <= 1.0, "{stated} {worst}");
        println!("{kind:?} {stated} {worst}");
    }
}
