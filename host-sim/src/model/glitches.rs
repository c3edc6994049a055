//! Spikes on the line: short pulses away from the level they meet.
//!
//! They come at random with a constant rate (Poisson), their widths are spread
//! log-uniformly, and each forces the output to the opposite of the level it
//! found, so both signs occur and none is invisible. A pulse that meets
//! another is merged with it. Limits: no bursts, no memory.

use rand_distr::{Distribution, Exp, Uniform};

use super::rng::Rng;

/// Rate and widths of the spikes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glitches {
    /// Mean number per second, 0 for none.
    pub rate: f64,
    /// Shortest width, s.
    pub shortest: f64,
    /// Longest width, s.
    pub longest: f64,
}

impl Glitches {
    /// Widths from 0.5 to 50 µs at `rate` per second.
    #[must_use]
    pub fn per_second(rate: f64) -> Self {
        Self {
            rate,
            shortest: 0.5e-6,
            longest: 50e-6,
        }
    }

    /// Begins and ends (s) of the spikes that start between `from` and `to` (s),
    /// in order, without overlap.
    pub fn draw(&self, rng: &mut Rng, from: f64, to: f64) -> Vec<(f64, f64)> {
        let mut spikes: Vec<(f64, f64)> = Vec::new();
        let (Ok(gap), Ok(width)) = (
            Exp::new(self.rate),
            Uniform::new_inclusive(self.shortest.ln(), self.longest.ln()),
        ) else {
            return spikes;
        };
        if self.rate <= 0.0 || self.rate.is_infinite() {
            return spikes;
        }
        let mut t = from + gap.sample(rng);
        while t < to {
            let end = t + width.sample(rng).exp();
            match spikes.last_mut() {
                Some(last) if t <= last.1 => last.1 = last.1.max(end),
                _ => spikes.push((t, end)),
            }
            t += gap.sample(rng);
        }
        spikes
    }
}

/// Lays `spikes` over the edges of a line that starts at `blocked`: inside a
/// spike the level is the opposite of the one at its begin. `edges` are
/// (time s, blocked after it), in order; so is the result.
#[must_use]
pub fn overlay(edges: &[(f64, bool)], blocked: bool, spikes: &[(f64, f64)]) -> Vec<(f64, bool)> {
    let mut out = Vec::with_capacity(edges.len() + 2 * spikes.len());
    let mut shown = blocked;
    let mut below = blocked;
    let mut next = edges.iter().copied().peekable();
    for &(begin, end) in spikes {
        while let Some((t, level)) = next.next_if(|edge| edge.0 < begin) {
            below = level;
            push(&mut out, &mut shown, t, level);
        }
        push(&mut out, &mut shown, begin, !below);
        while let Some((_, level)) = next.next_if(|edge| edge.0 < end) {
            below = level;
        }
        push(&mut out, &mut shown, end, below);
    }
    for (t, level) in next {
        push(&mut out, &mut shown, t, level);
    }
    out
}

fn push(out: &mut Vec<(f64, bool)>, shown: &mut bool, t: f64, level: bool) {
    if *shown != level {
        *shown = level;
        out.push((t, level));
    }
}

#[cfg(test)]
mod tests {
    use super::{overlay, Glitches};
    use crate::model::rng;

    #[test]
    fn number_and_widths_are_those_asked_for() {
        let spikes = Glitches::per_second(100.0).draw(&mut rng::stream(&[1]), 0.0, 100.0);
        let n = spikes.len() as f64;
        assert!((n - 10_000.0).abs() < 400.0, "{n}");
        let mean_log = spikes.iter().map(|s| (s.1 - s.0).ln()).sum::<f64>() / n;
        assert!((mean_log - (25e-12_f64.ln() / 2.0)).abs() < 0.06);
        assert!(Glitches::per_second(0.0)
            .draw(&mut rng::stream(&[1]), 0.0, 100.0)
            .is_empty());
    }

    #[test]
    fn a_spike_hides_the_edges_below_it() {
        let edges = [(1.0, true), (2.0, false), (5.0, true)];
        assert_eq!(
            overlay(&edges, false, &[(0.2, 0.3), (1.5, 2.5), (4.0, 6.0)]),
            [
                (0.2, true),
                (0.3, false),
                (1.0, true),
                (1.5, false),
                (4.0, true)
            ]
        );
    }
}
