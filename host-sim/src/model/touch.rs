//! All stages together: the edges of one touch, with its truth.
//!
//! Only where the mean light is near enough to the trip level for noise to
//! reach it is there anything to simulate. Elsewhere the output stands still:
//! with 6.5 sigmas of margin the chance of a crossing left out is below
//! 1e-9 per noise cycle.

use super::approach::Approach;
use super::blade::Blade;
use super::capture::Capture;
use super::comparator::{Comparator, Output};
use super::glitches::{overlay, Glitches};
use super::light::Light;
use super::noise::{Noise, Spectrum};
use super::rng::Rng;

/// Noise sigmas beyond the hysteresis at which the simulation begins and ends.
const MARGIN: f64 = 6.5;
/// Longest stretch between two exact evaluations of the mean light, steps.
const BLOCK: usize = 1024;

/// One light barrier with one path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    /// Path of the blade.
    pub approach: Approach,
    /// Mounting of the blade.
    pub blade: Blade,
    /// Beam and noise level.
    pub light: Light,
    /// Band of the noise.
    pub spectrum: Spectrum,
    /// Trip level and hysteresis.
    pub comparator: Comparator,
    /// Spikes on the line.
    pub glitches: Glitches,
    /// Clock that stamps the edges.
    pub capture: Capture,
}

/// What really happened in one touch, s on the path's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// When the light without noise fell through the trip level.
    pub contact: Option<f64>,
    /// When it rose through it again.
    pub release: Option<f64>,
}

/// Simulator of a scene with its buffers.
#[derive(Debug, Clone)]
pub struct Simulator {
    scene: Scene,
    noise: Noise,
    samples: Vec<f64>,
    edges: Vec<(f64, bool)>,
}

impl Scene {
    /// Path position at which the light without noise is at the trip level, m.
    #[must_use]
    pub fn trip_position(&self) -> f64 {
        self.blade.offset + self.light.profile.edge_at(self.comparator.trip)
    }

    /// True instants of contact and release.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let x = self.trip_position();
        Truth {
            contact: self.approach.inward(x),
            release: self.approach.outward(x),
        }
    }

    /// Noise as a time at the crossing on the way in, s.
    #[must_use]
    pub fn sigma_t(&self) -> f64 {
        self.light.sigma_x() / self.approach.feed
    }

    /// Noise cycles per noise width, the number that rules the chatter.
    #[must_use]
    pub fn k(&self) -> f64 {
        self.sigma_t() * self.spectrum.corner
    }

    /// Mean light minus trip level at time `t`, in noise sigmas.
    fn mean(&self, t: f64) -> f64 {
        let covered = self
            .blade
            .covered(self.approach.position(t), &self.light.profile);
        (1.0 - covered - self.comparator.trip) / self.light.sigma
    }

    /// Stretches of time in which noise can reach a threshold, cut at the
    /// kinks of the path; stretches that touch share one run of noise.
    fn stretches(&self) -> Vec<(f64, f64)> {
        let reach = (MARGIN + self.comparator.half_hysteresis) * self.light.sigma;
        let edge_at = |level: f64| {
            // A trip level nearer to dark or full light than the noise reaches:
            // 20 radii out the light no longer changes.
            self.blade.offset + self.light.profile.edge_at(level.clamp(1e-300, 1.0))
        };
        let (first, last) = (
            edge_at(self.comparator.trip + reach),
            edge_at(self.comparator.trip - reach),
        );
        let path = &self.approach;
        let Some(begin) = path.inward(first) else {
            return Vec::new();
        };
        match (path.inward(last), path.outward(last), path.outward(first)) {
            (Some(dark), Some(light), Some(end)) => vec![(begin, dark), (light, end)],
            (Some(dark), _, _) => vec![(begin, dark)],
            (None, _, Some(end)) => {
                vec![
                    (begin, path.stop()),
                    (path.stop(), path.turn()),
                    (path.turn(), end),
                ]
            }
            (None, _, None) => vec![(begin, path.stop())],
        }
    }
}

impl Simulator {
    /// A simulator for `scene`.
    #[must_use]
    pub fn new(scene: Scene) -> Self {
        Self {
            noise: Noise::new(&scene.spectrum),
            scene,
            samples: vec![0.0; BLOCK],
            edges: Vec::new(),
        }
    }

    /// The scene simulated.
    #[must_use]
    pub fn scene(&self) -> &Scene {
        &self.scene
    }

    /// First and last time (s on the path's clock) at which noise can switch
    /// the output; none when the blade stays away from the beam.
    #[must_use]
    pub fn reach(&self) -> Option<(f64, f64)> {
        let stretches = self.scene.stretches();
        Some((stretches.first()?.0, stretches.last()?.1))
    }

    /// Edges of one touch as (time s, blocked after it) on the path's clock,
    /// in order. The output stands at light before the first. Spikes fall
    /// between `watch.0` and `watch.1` (s).
    pub fn edges(&mut self, rng: &mut Rng, watch: (f64, f64)) -> &[(f64, bool)] {
        self.edges.clear();
        let mut output = Output::new(&self.scene.comparator, false);
        let mut last_end = f64::NEG_INFINITY;
        let mut before = f64::INFINITY;
        for (begin, end) in self.scene.stretches() {
            if begin > last_end {
                self.noise.restart(rng);
            }
            last_end = end;
            before = self.stretch(rng, begin, end, before, &mut output);
        }
        if self.scene.glitches.rate > 0.0 {
            let spikes = self.scene.glitches.draw(rng, watch.0, watch.1);
            self.edges = overlay(&self.edges, false, &spikes);
        }
        &self.edges
    }

    /// Runs the noise from `begin` to `end`; `before` is the input at the end
    /// of the stretch before, the answer that at the end of this one.
    fn stretch(
        &mut self,
        rng: &mut Rng,
        begin: f64,
        end: f64,
        mut before: f64,
        output: &mut Output,
    ) -> f64 {
        let length = end - begin;
        let total = (length / self.scene.spectrum.step()).ceil().max(1.0);
        let step = length / total;
        // Short stretches see the exact light at each step, long ones straight
        // pieces of it: at least 256 over the whole, far below the noise.
        let block = ((total / 256.0) as usize).clamp(1, BLOCK);
        let total = total as usize;
        let mut done = 0;
        let mut level = self.scene.mean(begin);
        while done < total {
            let n = block.min(total - done);
            let next = self.scene.mean(begin + (done + n) as f64 * step);
            let rise = (next - level) / n as f64;
            self.noise.fill(rng, &mut self.samples[..n]);
            for (k, noise) in self.samples[..n].iter().enumerate() {
                let after = noise + level + rise * (k + 1) as f64;
                if let Some(share) = output.follow(before, after) {
                    let t = begin + ((done + k) as f64 + share) * step;
                    self.edges.push((t, output.blocked()));
                }
                before = after;
            }
            level = next;
            done += n;
        }
        before
    }
}
