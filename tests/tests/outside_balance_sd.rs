//! Spread of the core's balance point against formulas.
//!
//! Independent bits along a ramp are the dose-response case: the
//! Spearman-Kärber mean of a normal tolerance of width σ, one subject every d,
//! has variance `σ·d/√π` (Finney, Statistical Method in Biological Assay).
//! Correlated noise: the closed form of `study::closed_form::balance_sd`, an
//! integral over the bivariate normal distribution, for a Butterworth spectrum.

use rand_distr::{Distribution, Uniform};
use trueonset::edge::{Edge, Level};
use trueonset::onset::{Config, Event, Line};
use trueonset::time::{Instant, TickRate};
use trueonset_sim::model::rng;
use trueonset_sim::study::closed_form::{balance_sd, distribution};
use trueonset_sim::study::runner::{run, Cell, Plan, Station};
use trueonset_sim::study::statistics::Moments;
use trueonset_sim::study::summary::Summary;

#[test]
fn independent_bits_give_spearman_and_kaerber_s_variance() {
    // One bit every 1000 ticks, the ramp 25 bits wide; hold 200 bits.
    let (step, sigma, half) = (1_000_u64, 25.0, 200_i32);
    let config = Config::new(TickRate::NANOSECONDS, 200 * step).unwrap();
    let unit = Uniform::new(0.0, 1.0).unwrap();
    let mut rng = rng::stream(&[7]);
    let mut errors = Moments::default();
    for _ in 0..20_000 {
        let truth = unit.sample(&mut rng);
        let mut line = Line::new(&config, Level::Low, Instant::from_ticks(0));
        let mut blocked = false;
        let at = |k: i32| Instant::from_ticks((k + half) as u64 * step);
        for k in -half..half {
            let now = unit.sample(&mut rng) < distribution((f64::from(k) - truth) / sigma);
            if now != blocked {
                let level = if now { Level::High } else { Level::Low };
                assert_eq!(line.edge(&config, Edge::new(at(k), level)), None);
                blocked = now;
            }
        }
        let Some(Event::Touch(touch)) = line.poll(&config, at(half + 200)) else {
            panic!("a touch was missed");
        };
        let whole = touch.balance.whole().since(at(0)).ticks() as f64;
        errors.add(whole / step as f64 - truth);
    }
    let expected = (sigma / core::f64::consts::PI.sqrt()).sqrt();
    assert!((errors.sd() - expected).abs() < 3.5 * errors.sd_error());
    // A sampled level is known from its sample on: half a step late on average.
    assert!((errors.mean() - 0.5).abs() < 3.5 * errors.mean_error());
}

#[test]
fn correlated_noise_gives_the_closed_form() {
    for (feed, order) in [(300.0, 4), (1000.0, 4), (5000.0, 4), (300.0, 8)] {
        let cell = Cell {
            order,
            ..Cell::new(feed, 40.0)
        };
        let plan = Plan {
            stations: vec![Station {
                hold_ns: 1_000_000,
                class: false,
                bandwidth_hz: 0,
            }],
            seeds: 1..=4_000,
            devices: 4,
            school: 0,
            warm_up: 0,
        };
        let s = Summary::of(&run(&cell, &plan).unwrap()[0]);
        let expected = balance_sd(order, cell.k()) * cell.light().sigma_x() * 1e9;
        let (sd, error) = (s.balance.sd(), s.balance.sd_error());
        // 1 % for the finite step of the simulated noise.
        assert!(
            (sd - expected).abs() < 3.0 * error + 0.01 * expected,
            "{feed} mm/min, order {order}: {sd:.2} against {expected:.2} +- {error:.2} nm"
        );
    }
}
