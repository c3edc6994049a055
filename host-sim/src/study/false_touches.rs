//! False touches of a line at rest, by the hold: hours of spikes through the very line of the core.

use rayon::prelude::*;
use std::ops::Range;
use trueonset::edge::{Edge, Level};
use trueonset::onset::{Config, ConfigError, Event, Line};
use trueonset::time::{Instant, TickRate};

use crate::model::bursts::Environment;
use crate::model::rng;

/// Touches told in the hours of these numbers, for each of the holds (ns). Every hour has a random
/// stream of its own, so any split of them adds up to the same.
///
/// # Errors
/// A hold the core does not take.
pub fn false_touches(
    environment: &Environment,
    holds_ns: &[u64],
    hours: Range<u64>,
) -> Result<Vec<u64>, ConfigError> {
    let configs = holds_ns
        .iter()
        .map(|&hold| Config::new(TickRate::NANOSECONDS, hold))
        .collect::<Result<Vec<_>, _>>()?;
    let none = || vec![0; configs.len()];
    let add = |a: Vec<u64>, b: Vec<u64>| a.iter().zip(&b).map(|(a, b)| a + b).collect();
    let counts = hours
        .into_par_iter()
        .map(|hour| one_hour(environment, &configs, hour))
        .reduce(none, add);
    Ok(counts)
}

fn one_hour(environment: &Environment, configs: &[Config], hour: u64) -> Vec<u64> {
    let pulses = environment.draw(&mut rng::stream(&[hour]), 3_600.0);
    let ns = |t: f64| (t * 1e9) as u64;
    let touched = |event: Option<Event>| u64::from(matches!(event, Some(Event::Touch(_))));
    let count = |config: &Config| {
        let mut line = Line::new(config, Level::Low, Instant::from_ticks(0));
        let mut touches = 0;
        for &(begin, end) in &pulses {
            // A width cut to whole ns never reaches a hold it is shorter than.
            let begin_ns = ns(begin);
            let edges = [
                (begin_ns, Level::High),
                (begin_ns + ns(end - begin), Level::Low),
            ];
            for (at, level) in edges {
                let edge = Edge::new(Instant::from_ticks(at), level);
                touches += touched(line.edge(config, edge));
            }
        }
        touches + touched(line.poll(config, Instant::from_ticks(ns(3_700.0))))
    };
    configs.iter().map(count).collect()
}

/// What theory expects of single spikes alone: two that meet and together last a hold. Spikes of
/// log-uniform width `w` in [`shortest`, `longest`] at `rate` a second; holds (s) from the longest
/// on. A touch an hour.
#[must_use]
pub fn two_that_meet_per_hour(rate: f64, (shortest, longest): (f64, f64), hold: f64) -> f64 {
    let span = (longest / shortest).ln();
    let at_least = |w: f64| ((longest / w).ln() / span).clamp(0.0, 1.0);
    let steps = 2_000;
    let sum: f64 = (0..steps)
        .map(|i| {
            let first = shortest * ((f64::from(i) + 0.5) / f64::from(steps) * span).exp();
            // The second begins anywhere within the first.
            let inner: f64 = (0..200)
                .map(|k| at_least(hold - (f64::from(k) + 0.5) / 200.0 * first))
                .sum();
            inner / 200.0 * first
        })
        .sum();
    3_600.0 * rate * rate * sum / f64::from(steps)
}
