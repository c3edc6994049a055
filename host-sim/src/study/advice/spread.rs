//! How an error is spread that is the sum of a few independent ones: their distribution on a grid,
//! convolved exactly cell by cell, so that 99.9 % of it need no drawing.

use super::teeth::Teeth;
use crate::study::closed_form::distribution;

/// How one contribution is spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Normal; its size is the standard deviation.
    Normal,
    /// Evenly; its size is the half width.
    Flat,
    /// As a sine at a random phase; its size is the amplitude.
    Sine,
    /// As late as the first of teeth that differ, about its mean; its size is the latest.
    Teeth(Teeth),
}

/// One contribution to the error of a touch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// What it comes from.
    pub source: &'static str,
    /// Its size, m.
    pub size: f64,
    /// How it is spread.
    pub shape: Shape,
    /// How much farther a normal one reaches in one of a thousand than its standard deviation has it.
    pub reach: f64,
}

impl Term {
    /// Its standard uncertainty, m.
    #[must_use]
    pub fn u(&self) -> f64 {
        match self.shape {
            Shape::Normal => self.size,
            Shape::Flat => self.size / 3.0_f64.sqrt(),
            Shape::Sine => self.size * core::f64::consts::FRAC_1_SQRT_2,
            Shape::Teeth(teeth) => teeth.sd(),
        }
    }
}

/// Cells of the grid.
const CELLS: usize = 4096;
/// How far the grid reaches into the normal part, standard deviations.
const REACH: f64 = 5.5;
/// Phases that stand for a sine.
const PHASES: u32 = 128;
/// What is smaller, in cells, is left out.
const SMALL: f64 = 1e-3;

/// What a share `p` (0 to 1) of the errors does not exceed in size, m.
#[must_use]
pub fn quantile(terms: &[Term], p: f64) -> f64 {
    let normal = |term: &&Term| term.shape == Shape::Normal;
    let sigma = terms
        .iter()
        .filter(normal)
        .map(|term| (term.size * term.reach).powi(2))
        .sum::<f64>()
        .sqrt();
    let bounded = terms.iter().filter(|term| !normal(term));
    let half = REACH * sigma + bounded.clone().map(|term| term.size).sum::<f64>();
    if half <= 0.0 {
        return 0.0;
    }
    let mut grid = Grid::normal(half, sigma);
    for term in bounded {
        match term.shape {
            Shape::Normal => {}
            Shape::Flat => grid.flat(term.size),
            Shape::Sine => grid.sine(term.size),
            Shape::Teeth(teeth) => grid.places(&teeth.about_mean()),
        }
    }
    grid.size_of(p)
}

/// The distribution function at the borders of the cells, 0 before and 1 behind.
struct Grid {
    half: f64,
    step: f64,
    below: Vec<f64>,
}

impl Grid {
    fn normal(half: f64, sigma: f64) -> Self {
        let step = 2.0 * half / CELLS as f64;
        let at = |k: usize| step * k as f64 - half;
        let below = (0..=CELLS).map(|k| match at(k) {
            x if sigma > 0.0 => distribution(x / sigma),
            x => 0.5 + 0.5 * (x / step).clamp(-1.0, 1.0),
        });
        Self {
            half,
            step,
            below: below.collect(),
        }
    }

    fn borders(&self) -> impl Iterator<Item = f64> + '_ {
        (0..=CELLS).map(|k| self.step * k as f64 - self.half)
    }

    /// Convolves with an even spread: the mean of the function over twice `size`.
    fn flat(&mut self, size: f64) {
        if size < SMALL * self.step {
            return;
        }
        // The integral of the function, which is straight within a cell.
        let mut area = Vec::with_capacity(CELLS + 1);
        let mut sum = 0.0;
        area.push(sum);
        for pair in self.below.windows(2) {
            sum += 0.5 * (pair[0] + pair[1]) * self.step;
            area.push(sum);
        }
        let to = |x: f64| {
            let place = ((x + self.half) / self.step).max(0.0);
            let k = place as usize;
            if k >= CELLS {
                return sum + x - self.half;
            }
            let part = place - k as f64;
            let rise = self.below[k + 1] - self.below[k];
            area[k] + self.step * part * (self.below[k] + 0.5 * part * rise)
        };
        let below: Vec<f64> = self
            .borders()
            .map(|x| (to(x + size) - to(x - size)) / (2.0 * size))
            .collect();
        self.below = below;
    }

    /// Convolves with a sine at a random phase.
    fn sine(&mut self, size: f64) {
        if size < SMALL * self.step {
            return;
        }
        let turn = core::f64::consts::PI / f64::from(PHASES);
        let place = |k: u32| size * ((f64::from(k) + 0.5) * turn).cos();
        let places: Vec<(f64, f64)> = (0..PHASES)
            .map(|k| (place(k), 1.0 / f64::from(PHASES)))
            .collect();
        self.places(&places);
    }

    /// Convolves with what takes few places, each with how likely it is.
    fn places(&mut self, places: &[(f64, f64)]) {
        let shifted = |x: f64| {
            let each = places
                .iter()
                .map(|(shift, likely)| likely * self.at(x - shift));
            each.sum::<f64>()
        };
        let below: Vec<f64> = self.borders().map(shifted).collect();
        self.below = below;
    }

    fn at(&self, x: f64) -> f64 {
        let place = (x + self.half) / self.step;
        if place <= 0.0 {
            return 0.0;
        }
        let k = place as usize;
        if k >= CELLS {
            return 1.0;
        }
        self.below[k] + (place - k as f64) * (self.below[k + 1] - self.below[k])
    }

    /// The size that a share `p` does not exceed.
    fn size_of(&self, p: f64) -> f64 {
        let middle = CELLS / 2;
        let inside = |k: usize| self.below[middle + k] - self.below[middle - k];
        let Some(k) = (1..=middle).find(|&k| inside(k) >= p) else {
            return self.half;
        };
        let (low, high) = (inside(k - 1), inside(k));
        self.step * (k as f64 - 1.0 + (p - low) / (high - low))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;
    use crate::study::statistics;
    use rand_distr::{Distribution, StandardNormal, StandardUniform};

    fn term(size: f64, shape: Shape) -> Term {
        Term {
            source: "",
            size,
            shape,
            reach: 1.0,
        }
    }

    #[test]
    fn one_kind_alone_has_its_textbook_quantile() {
        let one = |shape| quantile(&[term(2.0, shape)], 0.999);
        // Two-sided 99.9 % of a normal distribution: 3.290527 standard deviations.
        assert!((one(Shape::Normal) - 2.0 * 3.290_527).abs() < 1e-4);
        assert!((one(Shape::Flat) - 2.0 * 0.999).abs() < 1e-3);
        assert!((one(Shape::Sine) - 2.0).abs() < 2e-3);
        assert!(quantile(&[], 0.999).abs() < 1e-300);
    }

    #[test]
    fn sums_agree_with_drawing() {
        let terms = [
            term(0.3, Shape::Normal),
            term(1.0, Shape::Flat),
            term(0.4, Shape::Flat),
            term(0.5, Shape::Sine),
        ];
        let mut rng = rng::stream(&[7]);
        let mut drawn: Vec<f64> = (0..400_000)
            .map(|_| {
                let normal: f64 = StandardNormal.sample(&mut rng);
                let mut even = || -> f64 { StandardUniform.sample(&mut rng) };
                let flat = 2.0 * even() - 1.0 + 0.4 * (2.0 * even() - 1.0);
                let turn = core::f64::consts::TAU * even();
                (0.3 * normal + flat + 0.5 * turn.sin()).abs()
            })
            .collect();
        for p in [0.5, 0.95, 0.999] {
            let seen = statistics::quantile(&mut drawn, p).unwrap();
            let told = quantile(&terms, p);
            assert!((told / seen - 1.0).abs() < 0.01, "{p}: {told} {seen}");
        }
    }
}
