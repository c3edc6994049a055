//! Tool data against closed forms, tables and simulations that share no code with core.
//!
//! Sources. Chi square at 0.999: 10.828 13.816 16.266 18.467 for 1 to 4 degrees of freedom, as in
//! tables of any textbook, more from the crate `statrs`. First contact of a turning cutter:
//! `milling_touch_closed_form.csv`, by quadrature. First passage of a random walk (inverse
//! Gaussian) and local level: textbook. Rates of chips and what single rules of rejection make of
//! them: simulated apart from this code. Widths of hits: circle by its parabola (textbook). Mean
//! numbers of touches of a sequential test (Wald 1945, from memory for the formulas): simulated apart
//! from this code, 43 11 5.3 3.2 1.7 1.1 for whole and 15 4.3 2.2 1.5 1.0 1.0 for broken tools at a gap
//! of 1 2 3 4 6 8 doubts.

use rand_distr::{Distribution, StandardNormal, Uniform};
use rayon::prelude::*;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use trueonset::gauge::{Located, Quantum, Sequential, Side, ToothHeights, Touches, Wear, Weighed};
use trueonset_sim::model::rng;

/// Share of sets of `n` touches, of 100 nm each, that are not taken for one place.
fn refused(n: usize, sets: u64) -> f64 {
    let alarms: u64 = (0..sets)
        .into_par_iter()
        .map(|seed| {
            let mut rng = rng::stream(&[seed, n as u64, 5]);
            let mut touches = Touches::<31>::new();
            for _ in 0..n {
                let off: f64 = StandardNormal.sample(&mut rng);
                assert!(touches.push(30_000_000 + (off * 1e5).round() as i64));
            }
            let place = touches.locate(Side::Falling, 100_000_000);
            u64::from(!matches!(place, Located::At(place) if place.dropped == 0))
        })
        .sum();
    alarms as f64 / sets as f64
}

#[test]
fn one_set_in_a_thousand_is_a_false_alarm() {
    for n in [2, 3, 4, 5, 10, 30] {
        let sets = 2_000_000;
        let share = refused(n, sets);
        println!("{n} touches: false alarm {share:.6}");
        // Three standard errors are 6.7e-5.
        assert!((share / 1e-3 - 1.0).abs() < 0.08, "{n}: {share}");
    }
}

/// The limit itself, found from outside: two touches apart by more and more.
#[test]
fn limits_are_quantiles_of_chi_square() {
    for n in 2..=31_usize {
        let agree = |spread: i64| {
            let mut touches = Touches::<31>::new();
            // One touch apart from all others: Σ(x − mean)² is d²·(n − 1)/n.
            for k in 0..n {
                assert!(touches.push(if k == 0 { spread } else { 0 }));
            }
            matches!(touches.locate(Side::Growing, 50_000_000), Located::At(place) if place.dropped == 0)
        };
        let (mut inside, mut outside) = (0, 1 << 20);
        while outside - inside > 1 {
            let middle = (inside + outside) / 2;
            if agree(middle) {
                inside = middle;
            } else {
                outside = middle;
            }
        }
        let found = (inside as f64 / 5e4).powi(2) * (n as f64 - 1.0) / n as f64;
        let exact = ChiSquared::new(n as f64 - 1.0).unwrap().inverse_cdf(0.999);
        assert!((found / exact - 1.0).abs() < 1e-4, "{n}: {found} {exact}");
    }
}

/// Chips of 2 to 50 sigma in one of ten touches, sets of five: dropping one leaves a root mean
/// square of 0.48 sigma, where the plain mean has 4.8; 7.5 % end without a place.
#[test]
fn a_chip_among_five_is_dropped() {
    let sets = 200_000_u64;
    let all: Vec<Option<f64>> = (0..sets)
        .into_par_iter()
        .map(|seed| {
            let mut rng = rng::stream(&[seed, 6]);
            let unit = Uniform::new(0.0, 1.0).unwrap();
            let mut touches = Touches::<5>::new();
            for _ in 0..5 {
                let mut at: f64 = StandardNormal.sample(&mut rng);
                if unit.sample(&mut rng) < 0.1 {
                    at -= 2.0 + 48.0 * unit.sample(&mut rng);
                }
                assert!(touches.push((at * 1e4).round() as i64));
            }
            match touches.locate(Side::Growing, 10_000_000) {
                Located::At(place) => Some(place.mean_nm as f64 / 1e4),
                _ => None,
            }
        })
        .collect();
    let placed: Vec<f64> = all.iter().flatten().copied().collect();
    let without = 1.0 - placed.len() as f64 / sets as f64;
    let rms = (placed.iter().map(|x| x * x).sum::<f64>() / placed.len() as f64).sqrt();
    println!(
        "rms {rms:.3} sigma, {:.2} % without a place",
        100.0 * without
    );
    assert!((rms - 0.48).abs() < 0.02 && (without - 0.075).abs() < 0.01);
}

/// Mean and spread of the way to the first hit, by quadrature: half a tooth's feed and 1/√12 of it
/// are their limit at small feeds, 18 and 11 % off at 2 % of the radius.
#[test]
fn a_quantum_is_the_small_feed_limit_of_the_closed_form() {
    let (mut told, mut refused) = (0, 0);
    for line in include_str!("../data/reference/milling_touch_closed_form.csv")
        .lines()
        .skip(2)
    {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let (radius, teeth, rpm, feed) = (row[0], row[1], row[2], row[3]);
        let quantum = Quantum::known_teeth(
            (feed * 1e6 / 60.0).round() as i64,
            (rpm * 1e3 / 60.0).round() as u32,
            teeth as u8,
            0,
        );
        // Only what feeds more than 1 mm a turn is refused.
        let Ok(quantum) = quantum else {
            assert!(feed / rpm > 1.0, "{line} {quantum:?}");
            refused += 1;
            continue;
        };
        told += 1;
        let per_tooth = row[4] / radius;
        let off =
            |found_pm: u32, exact_mm: f64| (f64::from(found_pm) * 1e-9 / exact_mm - 1.0).abs();
        // The first order of what the closed form has more: the swing of the tooth.
        let most = 0.01 + 1.9 * per_tooth.sqrt();
        assert!(off(quantum.late_pm, row[5]) < most, "{line} {quantum:?}");
        assert!(off(quantum.doubt_pm, row[6]) < most, "{line} {quantum:?}");
    }
    assert!(told > 3 * refused, "{told} {refused}");
}

/// The case: four teeth, up to 1 µm a turn: what is left of the bias is below 0.1 µm where
/// the teeth are equal.
#[test]
fn a_radius_is_within_a_tenth_of_a_micrometre() {
    let (radius, teeth) = (5.0_f64, 4.0_f64);
    for per_turn in [0.1_f64, 0.3, 1.0] {
        let speed = 50.0;
        let feed = per_turn * 1e-3 * speed;
        let quantum = Quantum::known_teeth((feed * 1e6) as i64, 50_000, 4, 0).unwrap();
        // δ + (v/ω)·acos(1 − δ/R) = u, u even in a tooth's feed (closed form, see above).
        let swing = feed / (core::f64::consts::TAU * speed);
        let phases = 2_000;
        let mean: f64 = (0..phases)
            .map(|k| {
                let u = (f64::from(k) + 0.5) / f64::from(phases) * per_turn * 1e-3 / teeth;
                let (mut low, mut high) = (0.0, u);
                for _ in 0..60 {
                    let delta = f64::midpoint(low, high);
                    if delta + swing * (1.0 - delta / radius).acos() < u {
                        low = delta;
                    } else {
                        high = delta;
                    }
                }
                low / f64::from(phases)
            })
            .sum();
        let at_nm = (mean * 1e6).round() as i64;
        let bias_nm = quantum.corrected(Side::Growing, at_nm);
        println!("{per_turn} um a turn: bias {bias_nm} nm");
        assert!(bias_nm.abs() <= 100);
    }
}

/// Cycles left: the 95 % interval holds the first passage in at least 93 % at n = 30, for wear that
/// scatters by 10, 30 and 50 % of its rate.
#[test]
fn cycles_left_are_within_their_interval() {
    for (n, least) in [(15, 0.92), (30, 0.93)] {
        for scatter in [2.0_f64, 6.0, 10.0] {
            let tools = 20_000_u64;
            let held: u64 = (0..tools)
                .into_par_iter()
                .map(|seed| {
                    let mut rng = rng::stream(&[seed, n, scatter as u64, 7]);
                    let mut normal = |sd: f64| {
                        let x: f64 = StandardNormal.sample(&mut rng);
                        sd * x
                    };
                    // µm: 20 a cycle, measured within 5.
                    let (mut worn, mut wear) = (0.0, Wear::new());
                    for k in 0..n {
                        if k > 0 {
                            worn += 20.0 + normal(scatter);
                        }
                        let length = 30_000.0 - worn + normal(5.0);
                        let _expected = wear.push((length * 1e3).round() as i64);
                    }
                    let limit = worn + 600.0;
                    let left = wear.cycles_left(30_000_000, (limit * 1e3) as u32).unwrap();
                    let mut passage = 0_u64;
                    while worn < limit {
                        worn += 20.0 + normal(scatter);
                        passage += 1;
                    }
                    // The last cycle is passed within; whole cycles against thousandths.
                    let inside = left.low_milli <= passage * 1_000
                        && passage * 1_000 <= left.high_milli + 1_000;
                    u64::from(inside)
                })
                .sum();
            let share = held as f64 / tools as f64;
            println!("n {n}, scatter {scatter}: inside {share:.3}");
            assert!(share >= least, "{n} {scatter}: {share}");
        }
    }
}

/// Heights of teeth out of jittered widths: 500 turns a minute, 1 µm a turn, eight turns seen by
/// all teeth: 0.011 and 0.058 µm with edges of 10 and 50 µs, the highest found in all and in 97 %, by a
/// study that weighed hits by 1/w², which fits a jitter in time. All hits alike reach 1.6 times that,
/// and say so.
#[test]
fn heights_of_teeth_are_as_sure_as_the_edges() {
    for (jitter_us, spread_nm, highest) in [(10.0, 11.0, 0.985), (50.0, 58.0, 0.93)] {
        let cutters = 4_000_u64;
        let found: Vec<(f64, f64, bool)> = (0..cutters)
            .into_par_iter()
            .filter_map(|seed| {
                let mut rng = rng::stream(&[seed, jitter_us as u64, 8]);
                let unit = Uniform::new(0.0, 1.0).unwrap();
                let below: [f64; 4] = core::array::from_fn(|_| -5.0 * unit.sample(&mut rng));
                let top = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let omega = core::f64::consts::TAU * 500.0 / 60.0;
                // The gain is not told to core: 10 % off the geometry's.
                let gain = 8.0 / 5_000.0 / omega.powi(2) * 1.1;
                let mut heights = ToothHeights::<4>::new(4, 120_000_000).unwrap();
                // Until the lowest tooth has been seen for eight turns.
                for number in 0..4 * 14_u32 {
                    let depth = below[number as usize % 4] - top + 0.25 * f64::from(number);
                    if depth <= 0.0 {
                        continue;
                    }
                    let off: f64 = StandardNormal.sample(&mut rng);
                    let width = (gain * depth).sqrt() + off * jitter_us * 1e-6;
                    if width > 20e-6 {
                        heights.hit(number, (width * 1e9) as u32);
                    }
                }
                let told = heights.heights(250_000).ok()?;
                let tooth = (0..4).max_by(|a, b| below[*a].total_cmp(&below[*b]))?;
                let right = told[tooth].below_pm == 0;
                // Differences from the first tooth: the highest is not known for certain.
                let mut squares = 0.0;
                for k in 1..4 {
                    let said = f64::from(told[k].below_pm - told[0].below_pm) * 1e-3;
                    let off = said - (below[k] - below[0]) * 1e3;
                    squares += off * off / 3.0 / 2.0;
                }
                let doubt = f64::from(told[1].doubt_pm) * 1e-3;
                Some((squares, doubt * doubt, right))
            })
            .collect();
        let n = found.len() as f64;
        let rms = (found.iter().map(|f| f.0).sum::<f64>() / n).sqrt();
        let doubt = (found.iter().map(|f| f.1).sum::<f64>() / n).sqrt();
        let right = found.iter().filter(|f| f.2).count() as f64 / n;
        println!("{jitter_us} us: {rms:.1} nm, stated {doubt:.1} nm, highest {right:.3}, told {n}");
        assert!(n > 0.99 * cutters as f64);
        assert!((0.5..1.8).contains(&(rms / spread_nm)), "{rms}");
        assert!((0.8..1.6).contains(&(doubt / rms)), "{doubt} {rms}");
        assert!(right > highest, "{right}");
    }
}

/// Runs the test on a tool at `shift` doubts above the limit of wear: the end, the touches, and the
/// exact sum of the logarithms of likelihood.
fn weighed(ratio: u32, shift: f64, seed: u64) -> (Weighed, u8, f64) {
    let mut rng = rng::stream(&[seed, u64::from(ratio), 9]);
    // A doubt of 1 µm, in steps of 1 nm.
    let mut test = Sequential::new(ratio * 1_000, 1 << 30, 1_000_000, 250).unwrap();
    let gap = f64::from(ratio);
    let mut sum = 0.0;
    loop {
        let off: f64 = StandardNormal.sample(&mut rng);
        let at_nm = ((shift + off) * 1e3).round();
        sum += gap * (at_nm * 1e-3 + gap / 2.0);
        let said = test.push(at_nm as i64);
        if said != Weighed::More {
            return (said, test.touches(), sum);
        }
    }
}

/// A whole tool is called broken in at most 1e-3, a broken one whole in at most 1e-9 (told by whole
/// tools' runs with the weight of a broken one's), in as few touches as promised.
#[test]
fn a_sequential_test_keeps_its_errors_and_its_touches() {
    for (ratio, whole, broken) in [
        (1, 43.0, 15.0),
        (2, 11.0, 4.3),
        (3, 5.3, 2.2),
        (4, 3.2, 1.5),
        (6, 1.7, 1.0),
        (8, 1.1, 1.0),
    ] {
        let tools = 40_000_u64;
        let worn: Vec<_> = (0..tools)
            .into_par_iter()
            .map(|seed| weighed(ratio, 0.0, seed))
            .collect();
        let n = tools as f64;
        let touches = worn.iter().map(|one| f64::from(one.1)).sum::<f64>() / n;
        let wrong = worn.iter().filter(|one| one.0 == Weighed::Broken).count() as f64 / n;
        let open = worn.iter().filter(|one| one.0 == Weighed::Unproven).count() as f64 / n;
        let false_whole = worn
            .iter()
            .filter(|one| one.0 == Weighed::Whole)
            .map(|one| (-one.2).exp())
            .sum::<f64>()
            / n;
        let snapped: Vec<_> = (0..tools)
            .into_par_iter()
            .map(|seed| weighed(ratio, -f64::from(ratio), seed + tools))
            .collect();
        let short = snapped.iter().map(|one| f64::from(one.1)).sum::<f64>() / n;
        assert!(snapped.iter().all(|one| one.0 != Weighed::Whole));
        println!(
            "gap {ratio}: {touches:.2} touches whole, {short:.2} broken; false broken {wrong:.1e}, open \
             {open:.1e}, false whole {false_whole:.1e}"
        );
        // Two touches at least make a tool whole.
        let wanted = f64::max(whole, 2.0);
        assert!((touches / wanted - 1.0).abs() < 0.06, "{ratio}: {touches}");
        assert!((short / broken - 1.0).abs() < 0.06, "{ratio}: {short}");
        assert!(wrong <= 1e-3 && open <= 1e-3, "{ratio}: {wrong} {open}");
        assert!(false_whole <= 1e-9, "{ratio}: {false_whole}");
    }
}
