//! Invented edge logs: ramps of chatter, glitches and bounces from a seed.
//!
//! The model is coarse on purpose: a level drawn anew after each random dwell, with a chance of
//! contact that rises along the ramp. It makes every path of the estimators happen; the physics
//! of a real barrier is the business of `host-sim`.

use fastrand::Rng;

use super::{Input, Level};

/// What to draw.
#[derive(Clone, Debug)]
pub struct Recipe {
    /// Touches, each followed by a release.
    pub touches: u32,
    /// Most dwells of a ramp; each ramp draws its own number below. 0 gives single edges.
    pub dwells: u32,
    /// Mean dwell within a ramp, ticks.
    pub mean_dwell: f64,
    /// Ticks of steady level between ramps: drawn log-uniform from this range.
    pub rest: (f64, f64),
    /// Chance of a lone pulse in each rest.
    pub glitches: f64,
    /// Longest lone pulse, ticks.
    pub longest_glitch: f64,
    /// Chance of contact flutter after a ramp.
    pub bounces: f64,
    /// Chance that the capture unit reports an over-capture at an edge.
    pub overcaptures: f64,
    /// First instant.
    pub start: i128,
    /// Whether contact is a high line.
    pub touched_high: bool,
}

/// An edge log of one line.
#[derive(Clone, Debug)]
pub struct Log {
    /// The level at the start.
    pub initial: Level,
    /// When the log starts.
    pub start: i128,
    /// Its edges.
    pub inputs: Vec<Input>,
    /// When it ends.
    pub end: i128,
}

struct Draw<'a> {
    recipe: &'a Recipe,
    rng: Rng,
    now: f64,
    touching: bool,
    inputs: Vec<Input>,
}

impl Recipe {
    /// The log of `seed`.
    #[must_use]
    pub fn draw(&self, seed: u64) -> Log {
        let mut draw = Draw {
            recipe: self,
            rng: Rng::with_seed(seed),
            now: 0.0,
            touching: false,
            inputs: Vec::new(),
        };
        for _ in 0..self.touches {
            draw.rest();
            draw.ramp(true);
            draw.rest();
            draw.ramp(false);
        }
        draw.rest();
        Log {
            initial: level(self.touched_high, false),
            start: self.start,
            inputs: draw.inputs,
            end: self.start + draw.now as i128,
        }
    }
}

impl Draw<'_> {
    fn set(&mut self, touching: bool) {
        if touching != self.touching {
            self.touching = touching;
            let spoiled = self.rng.f64() < self.recipe.overcaptures;
            self.inputs.push(Input {
                at: self.recipe.start + self.now as i128,
                level: level(self.recipe.touched_high, touching),
                remark: spoiled.then_some("overcapture"),
            });
        }
    }

    fn dwell(&mut self, mean: f64) {
        self.now -= mean * self.rng.f64().max(1e-9).ln();
    }

    fn log_uniform(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.rng.f64())
    }

    fn ramp(&mut self, up: bool) {
        let steps = self.rng.u32(0..=self.recipe.dwells);
        for step in 0..steps {
            let along = 6.0 * (f64::from(step) + 0.5) / f64::from(steps) - 3.0;
            let chance = 1.0 / (1.0 + (-1.7 * along).exp());
            let there = self.rng.f64() < chance;
            self.set(there == up);
            self.dwell(self.recipe.mean_dwell);
        }
        self.set(up);
        if self.rng.f64() < self.recipe.bounces {
            for _ in 0..self.rng.u32(1..4) {
                self.dwell(20.0 * self.recipe.mean_dwell);
                self.set(!up);
                self.dwell(10.0 * self.recipe.mean_dwell);
                self.set(up);
            }
        }
    }

    fn rest(&mut self) {
        let level = self.touching;
        let (low, high) = self.recipe.rest;
        let whole = self.log_uniform(low, high);
        let mut left = whole;
        if self.rng.f64() < self.recipe.glitches {
            let before = whole * self.rng.f64();
            self.now += before;
            self.set(!level);
            self.now += self.log_uniform(1.0, self.recipe.longest_glitch);
            self.set(level);
            left -= before;
        }
        self.now += left;
    }
}

fn level(touched_high: bool, touching: bool) -> Level {
    if touched_high == touching {
        Level::High
    } else {
        Level::Low
    }
}
