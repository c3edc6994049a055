//! Droplets and chips that fly or run through the beam.
//!
//! They come at random with a constant rate (Poisson); their widths (time
//! below half of the light they take) are spread log-uniformly; each takes a
//! share of the light, evenly spread from a least share to all of it. Light
//! falls and rises along straight flanks, each a tenth of the width. Limits:
//! no lens effect of a drop, no drop that stays.

use rand_distr::{Distribution, Exp, Uniform};

use super::rng::Rng;

/// Rate and kind of the droplets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Droplets {
    /// Mean number per hour.
    pub per_hour: f64,
    /// Shortest width, s.
    pub shortest: f64,
    /// Longest width, s.
    pub longest: f64,
    /// Least share of the light that one takes, 0 to 1; 1 for opaque ones.
    pub least: f64,
}

/// One droplet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shade {
    /// Time at which half of what it takes is gone, s.
    pub begin: f64,
    /// Time at which half of it is back, s.
    pub end: f64,
    /// Share of the light it takes.
    pub share: f64,
}

impl Droplets {
    /// Opaque ones of 50 µs to 5 ms.
    #[must_use]
    pub fn per_hour(per_hour: f64) -> Self {
        Self {
            per_hour,
            shortest: 50e-6,
            longest: 5e-3,
            least: 1.0,
        }
    }

    /// Droplets that come between `from` and `to` (s), in order.
    pub fn draw(&self, rng: &mut Rng, from: f64, to: f64) -> Vec<Shade> {
        let mut shades = Vec::new();
        let (Ok(gap), Ok(width), Ok(share)) = (
            Exp::new(self.per_hour / 3600.0),
            Uniform::new_inclusive(self.shortest.ln(), self.longest.ln()),
            Uniform::new_inclusive(self.least, 1.0),
        ) else {
            return shades;
        };
        if self.per_hour <= 0.0 || self.per_hour.is_infinite() {
            return shades;
        }
        let mut t = from + gap.sample(rng);
        while t < to {
            shades.push(Shade {
                begin: t,
                end: t + width.sample(rng).exp(),
                share: share.sample(rng),
            });
            t += gap.sample(rng);
        }
        shades
    }
}

impl Shade {
    /// First and last time (s) at which it takes any light.
    #[must_use]
    pub fn span(&self) -> (f64, f64) {
        let half_flank = 0.05 * (self.end - self.begin);
        (self.begin - half_flank, self.end + half_flank)
    }

    /// Share of the light that passes at time `t` (s).
    #[must_use]
    pub fn passes(&self, t: f64) -> f64 {
        let flank = 0.1 * (self.end - self.begin);
        let inside = (t - self.begin).min(self.end - t);
        1.0 - self.share * (inside / flank + 0.5).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::{Droplets, Shade};
    use crate::model::rng;

    #[test]
    fn number_and_widths_are_those_asked_for() {
        let hours = 200.0;
        let shades = Droplets::per_hour(60.0).draw(&mut rng::stream(&[2]), 0.0, hours * 3600.0);
        let longer = |width: f64| {
            let n = shades.iter().filter(|s| s.end - s.begin >= width).count();
            n as f64 / hours
        };
        // Log-uniform widths: 60 an hour, of them ln 5/ln 100 over 1 ms.
        for (width, expected) in [(0.0, 60.0), (200e-6, 41.94), (1e-3, 20.97), (2e-3, 11.94)] {
            let error = (expected / hours).sqrt();
            assert!((longer(width) - expected).abs() < 3.5 * error, "{width}");
        }
        assert!(shades.iter().all(|s| s.share >= 1.0));
    }

    #[test]
    fn half_of_the_shade_marks_the_width() {
        let shade = Shade {
            begin: 1.0,
            end: 2.0,
            share: 0.8,
        };
        for (t, passes) in [(0.9, 1.0), (1.0, 0.6), (1.5, 0.2), (2.0, 0.6), (2.051, 1.0)] {
            assert!((shade.passes(t) - passes).abs() < 1e-12, "{t}");
        }
        assert_eq!(shade.span(), (0.95, 2.05));
    }
}
