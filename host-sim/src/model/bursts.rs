//! Bursts of spikes: a relay or drive nearby switches, and the line sees a
//! train of short pulses.
//!
//! Bursts come at random with a constant rate (Poisson). One lasts a fixed
//! time, carries a Poisson number of pulses at even places in it, each of a
//! log-uniform width. Pulses that meet are merged. Limits: every burst is as
//! dense as every other, pulses all go to the same level.

use rand_distr::{Distribution, Exp, Poisson, Uniform};

use super::glitches::Glitches;
use super::rng::Rng;

/// How often, how long, how dense.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bursts {
    /// Mean number a second.
    pub rate: f64,
    /// How long one lasts, s.
    pub length: f64,
    /// Mean number of pulses in one.
    pub pulses: f64,
    /// Shortest and longest pulse, s.
    pub width: (f64, f64),
}

/// Single spikes together with bursts on a line at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Environment {
    /// Single spikes.
    pub single: Glitches,
    /// Bursts.
    pub bursts: Bursts,
}

impl Environment {
    /// A workshop: ten single spikes of 0.5 to 50 µs a second, and a burst of a
    /// millisecond every ten seconds with 37.4 pulses of 0.5 to 5 µs, which
    /// makes 49 475 pulses an hour.
    #[must_use]
    pub fn workshop() -> Self {
        Self {
            single: Glitches::per_second(10.0),
            bursts: Bursts {
                rate: 0.1,
                length: 1e-3,
                pulses: 37.43,
                width: (0.5e-6, 5e-6),
            },
        }
    }

    /// Begins and ends (s) of the pulses that start between 0 and `to` (s), in
    /// order, without overlap.
    pub fn draw(&self, rng: &mut Rng, to: f64) -> Vec<(f64, f64)> {
        let mut pulses = self.single.draw(rng, 0.0, to);
        self.bursts.draw(rng, to, &mut pulses);
        pulses.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let mut merged: Vec<(f64, f64)> = Vec::with_capacity(pulses.len());
        for pulse in pulses {
            match merged.last_mut() {
                Some(last) if pulse.0 <= last.1 => last.1 = last.1.max(pulse.1),
                _ => merged.push(pulse),
            }
        }
        merged
    }
}

impl Bursts {
    fn draw(&self, rng: &mut Rng, to: f64, pulses: &mut Vec<(f64, f64)>) {
        let (Ok(gap), Ok(count), Ok(place), Ok(width)) = (
            Exp::new(self.rate),
            Poisson::new(self.pulses),
            Uniform::new(0.0, self.length),
            Uniform::new_inclusive(self.width.0.ln(), self.width.1.ln()),
        ) else {
            return;
        };
        let mut t: f64 = gap.sample(rng);
        while t < to {
            let n: f64 = count.sample(rng);
            for _ in 0..n as u32 {
                let begin = t + place.sample(rng);
                pulses.push((begin, begin + width.sample(rng).exp()));
            }
            t += gap.sample(rng);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;

    #[test]
    fn an_hour_has_its_pulses_in_order_and_apart() {
        let mut all = 0;
        for hour in 0..4 {
            let pulses = Environment::workshop().draw(&mut rng::stream(&[hour]), 3_600.0);
            assert!(pulses.windows(2).all(|w| w[0].1 < w[1].0));
            all += pulses.len();
        }
        // Of 49 475 an hour some in bursts meet: 37 of 1.95 µs on average in a millisecond.
        let per_hour = all as f64 / 4.0;
        assert!((47_500.0..49_500.0).contains(&per_hour), "{per_hour}");
    }
}
