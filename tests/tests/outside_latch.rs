//! Positions at contact against exact rationals, over 10 m of travel and feeds of 100 m/min.
//!
//! Formulas: motion at constant acceleration, linear and quadratic interpolation (textbook). The
//! rationals are whole numbers of 128 bits over a common denominator and share no code with core.

use trueonset::latch::{
    Caught, FeedAt, History, LatchConfig, Method, FASTEST_NM_S, FURTHEST_NM, HARDEST_NM_S2,
};

const GIGA: i128 = 1_000_000_000;

/// How far `found` is from `above/below`, in that unit.
fn off(found: i64, above: i128, below: i128) -> f64 {
    let whole = above.div_euclid(below);
    let part = above.rem_euclid(below) as f64 / below as f64;
    ((i128::from(found) - whole) as f64 - part).abs()
}

struct Drawn(fastrand::Rng);

impl Drawn {
    fn within(&mut self, most: i64) -> i64 {
        self.0.i64(-most..=most)
    }
}

#[test]
fn edges_and_scans_are_within_six_tenths_of_a_nanometre() {
    let mut drawn = Drawn(fastrand::Rng::with_seed(7));
    let mut worst = 0.0_f64;
    for k in 0..600_000 {
        let delay_ns = drawn
            .0
            .i64(0..=if k % 2 == 0 { 100_000_000 } else { 800_000_000 });
        let (method, mean_ns) = if k % 3 == 0 {
            let scan = Method::Scan {
                period_ns: 2 * drawn.0.u32(1..=8_000_000),
                behind_ns: 2 * drawn.0.u32(0..=8_000_000),
            };
            let Ok(config) = LatchConfig::new(scan, delay_ns) else {
                continue;
            };
            (scan, config.mean_delay_ns())
        } else {
            (Method::Edge, delay_ns)
        };
        let caught = Caught {
            position_nm: drawn.within(FURTHEST_NM),
            feed_nm_s: drawn.within(FASTEST_NM_S),
            feed_at: [FeedAt::Latch, FeedAt::Contact, FeedAt::Mean][k % 3],
            acceleration_nm_s2: drawn.within(HARDEST_NM_S2),
            doubt_ns: Some(1),
        };
        let found = LatchConfig::new(method, delay_ns)
            .unwrap()
            .contact(&caught)
            .unwrap();
        let (mean, v) = (i128::from(mean_ns), i128::from(caught.feed_nm_s));
        let half = i128::from(caught.acceleration_nm_s2) * mean * mean;
        let bend = match caught.feed_at {
            FeedAt::Latch => half,
            FeedAt::Contact => -half,
            FeedAt::Mean => 0,
        };
        let place = i128::from(caught.position_nm);
        let above = 2 * GIGA * GIGA * place - 2 * GIGA * v * mean + bend;
        let off = off(found.at_nm, above, 2 * GIGA * GIGA);
        // The change of feed is rounded as well, which shows with long delays.
        let most = if mean_ns <= 400_000_000 { 0.6 } else { 0.7 };
        assert!(off <= most, "{caught:?} {delay_ns}: off by {off}");
        if mean_ns <= 100_000_000 {
            worst = worst.max(off);
        }
    }
    println!("worst {worst:.3} nm");
}

#[test]
fn histories_are_within_six_tenths_of_a_nanometre() {
    let mut drawn = Drawn(fastrand::Rng::with_seed(8));
    let (mut chords, mut parabolas) = (0.0_f64, 0.0_f64);
    for _ in 0..300_000 {
        let period = drawn.0.i64(1_000..=1_000_000_000);
        let config = LatchConfig::new(
            Method::History {
                period_ns: period as u32,
            },
            0,
        )
        .unwrap();
        let mut history = History::<4>::new();
        let start = drawn.0.i64(0..=i64::MAX / 2);
        let mut samples = Vec::new();
        let jitter = period / 16;
        let reach =
            (i128::from(FASTEST_NM_S) * i128::from(period - 2 * jitter) / GIGA) as i64 * 9 / 10;
        let mut place = drawn.within(FURTHEST_NM - 4 * reach);
        for k in 0..4 {
            let at = start + k * period + drawn.within(jitter);
            samples.push((at, place));
            history.push(at, place).unwrap();
            place += drawn.within(reach);
        }
        let (from, to) = (samples[2], samples[3]);
        let onset = drawn.0.i64(from.0..=to.0);
        let h1 = i128::from(to.0 - from.0);
        let h0 = i128::from(from.0 - samples[1].0);
        let done = i128::from(onset - from.0);
        let way = i128::from(to.1 - from.1);
        let before = i128::from(from.1 - samples[1].1);
        // A doubt of nearly everything takes the chord, one of nothing the parabola.
        let chord = history.contact(&config, onset, Some(u32::MAX - 1)).unwrap();
        let curve = history.contact(&config, onset, Some(0)).unwrap();
        let second = to.1 - 2 * from.1 + samples[1].1;
        let is_chord = |doubt_pm: u32| i128::from(second.abs()) * 500 <= i128::from(doubt_pm);
        for found in [chord, curve] {
            assert!(found.flags.is_empty());
            let place = i128::from(from.1);
            if is_chord(found.doubt_pm) {
                let off = off(found.at_nm, place * h1 + way * done, h1);
                chords = chords.max(off);
            } else {
                // Lagrange's form, apart from Newton's in core: terms about the middle sample.
                // x = −h0: x0 − before, x = 0: x0, x = h1: x0 + way.
                let below = h0 * h1 * (h0 + h1);
                let left = -before * done * (done - h1) * h1;
                let right = way * done * (done + h0) * h0;
                let off = off(found.at_nm, place * below + left + right, below);
                parabolas = parabolas.max(off);
            }
        }
    }
    println!("worst chord {chords:.3} nm, parabola {parabolas:.3} nm");
    assert!(chords > 0.4 && chords <= 0.6, "{chords}");
    assert!(parabolas > 0.4 && parabolas <= 0.6, "{parabolas}");
}
