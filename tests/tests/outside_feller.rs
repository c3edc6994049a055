//! False confirmations of random bits against Feller's theory of runs.
//!
//! W. Feller, An Introduction to Probability Theory and Its Applications, vol. 1,
//! XIII.7: independent trials with success p reach the first run of r successes
//! after `(1−p^r)/(q·p^r)` trials on average. A line that is sampled every T and
//! wrongly blocked with probability p confirms a touch exactly when r samples in
//! a row are wrong, if the hold is r·T. Tables: `data/runs_waiting.csv` (means and
//! variances) and `data/runs_in_n.csv` (chance within n trials), both exact.

use rand_distr::{Bernoulli, Distribution};
use trueonset::edge::{Edge, Level};
use trueonset::onset::{Config, Event, Line};
use trueonset::time::{Instant, TickRate};
use trueonset_sim::model::rng::{self, Rng};

/// Sampling interval, ticks.
const T: u64 = 1_000;

/// Rows below a comment and a header, split at commas.
fn table(text: &str) -> impl Iterator<Item = Vec<&str>> {
    text.lines().skip(2).map(|line| line.split(',').collect())
}

fn fraction(text: &str) -> f64 {
    let (over, under) = text.split_once('/').unwrap();
    over.parse::<f64>().unwrap() / under.parse::<f64>().unwrap()
}

fn config(run: u64) -> Config {
    Config::new(TickRate::NANOSECONDS, run * T).unwrap()
}

/// Samples that the line takes to a touch, at most `limit`.
fn wait(config: &Config, wrong: Bernoulli, limit: u64, rng: &mut Rng) -> Option<u64> {
    let mut line = Line::new(config, Level::Low, Instant::from_ticks(0));
    let mut blocked = false;
    for sample in 0..limit {
        let now = wrong.sample(rng);
        if now != blocked {
            let level = if now { Level::High } else { Level::Low };
            let edge = Edge::new(Instant::from_ticks(sample * T), level);
            assert!(!matches!(line.edge(config, edge), Some(Event::Touch(_))));
            blocked = now;
        }
        let end = Instant::from_ticks((sample + 1) * T);
        if let Some(Event::Touch(touch)) = line.poll(config, end) {
            assert_eq!(touch.confirmed, end);
            return Some(sample + 1);
        }
    }
    None
}

#[test]
fn mean_time_to_a_false_touch_is_feller_s() {
    for row in table(include_str!("../data/runs_waiting.csv")) {
        let (p, run) = (fraction(row[0]), row[1].parse::<u64>().unwrap());
        let (mean, variance): (f64, f64) = (row[3].parse().unwrap(), row[4].parse().unwrap());
        // As many waits as make about four million samples, at least a hundred.
        let waits = (4e6 / mean).clamp(1.0, 20_000.0).floor();
        if waits < 100.0 {
            continue;
        }
        let wrong = Bernoulli::new(p).unwrap();
        let config = config(run);
        let mut rng = rng::stream(&[run, p.to_bits()]);
        let total: u64 = (0..waits as u64)
            .map(|_| wait(&config, wrong, u64::MAX, &mut rng).unwrap())
            .sum();
        let (found, error) = (total as f64 / waits, (variance / waits).sqrt());
        assert!(
            (found - mean).abs() < 3.5 * error,
            "p {p} run {run}: {found:.2} against {mean:.2} +- {error:.2}"
        );
    }
}

#[test]
fn chance_of_a_false_touch_within_n_samples_is_feller_s() {
    for row in table(include_str!("../data/runs_in_n.csv")) {
        let (p, run) = (fraction(row[0]), row[1].parse::<u64>().unwrap());
        let (samples, chance): (u64, f64) = (row[2].parse().unwrap(), row[4].parse().unwrap());
        let trials = 4_000_000 / samples;
        if (trials as f64) * chance < 30.0 {
            continue;
        }
        let trials = trials.min(40_000);
        let wrong = Bernoulli::new(p).unwrap();
        let config = config(run);
        let mut rng = rng::stream(&[run, samples, p.to_bits()]);
        let hits = (0..trials)
            .filter(|_| wait(&config, wrong, samples, &mut rng).is_some())
            .count();
        let (found, n) = (hits as f64 / trials as f64, trials as f64);
        let error = (chance * (1.0 - chance) / n).sqrt();
        assert!(
            (found - chance).abs() < 3.5 * error,
            "p {p} run {run} in {samples}: {found:.5} against {chance:.5} +- {error:.5}"
        );
    }
}
