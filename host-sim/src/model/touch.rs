//! All stages together: the edges or the samples of one touch, with its truth.
//!
//! Only where the mean light is near enough to the trip level for noise to
//! reach it is there anything to simulate. Elsewhere the output stands still:
//! with 6.5 sigmas of margin the chance of a crossing left out is below
//! 1e-9 per noise cycle.

use super::approach::Approach;
use super::blade::Blade;
use super::capture::Capture;
use super::comparator::{Comparator, Output};
use super::course::{Course, Disturbance};
use super::glitches::{overlay, Glitches};
use super::light::Light;
use super::noise::{Noise, Spectrum};
use super::pink::PinkNoise;
use super::rng::Rng;
use super::sampling::{Sampler, Sampling};

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
    /// What disturbs beyond noise and spikes.
    pub disturbance: Disturbance,
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
    /// Stretches of the path, the same for every touch.
    path: Vec<(f64, f64)>,
    noise: Noise,
    samples: Vec<f64>,
    edges: Vec<(f64, bool)>,
    /// Built by the first window of samples.
    sampler: Option<Box<Sampler>>,
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

    /// Feed at the contact, m/s; the full feed where there is none.
    #[must_use]
    pub fn contact_feed(&self) -> f64 {
        let feed = self.truth().contact.map(|t| self.approach.velocity(t));
        feed.filter(|feed| *feed > 0.0)
            .unwrap_or(self.approach.feed)
    }

    /// Noise as a time at the crossing on the way in, s.
    #[must_use]
    pub fn sigma_t(&self) -> f64 {
        self.light.sigma_x() / self.contact_feed()
    }

    /// Times (s) at which the mean light falls through the levels `high` and
    /// `low` (shares of full light) on the way in; none when the blade does
    /// not get that far.
    #[must_use]
    pub fn fall(&self, high: f64, low: f64) -> Option<(f64, f64)> {
        let at = |level| {
            let x = self.blade.offset + self.light.profile.edge_at(level);
            self.approach.inward(x)
        };
        at(high).zip(at(low))
    }

    /// Noise cycles per noise width, the number that rules the chatter.
    #[must_use]
    pub fn k(&self) -> f64 {
        self.sigma_t() * self.spectrum.corner
    }
}

impl Simulator {
    /// A simulator for `scene`.
    #[must_use]
    pub fn new(scene: Scene) -> Self {
        Self {
            noise: Noise::new(&scene.spectrum),
            path: scene.stretches(),
            scene,
            samples: vec![0.0; BLOCK],
            edges: Vec::new(),
            sampler: None,
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
        Some((self.path.first()?.0, self.path.last()?.1))
    }

    /// Edges of one touch as (time s, blocked after it) on the path's clock,
    /// in order. The output stands at light before the first. Spikes fall
    /// between `watch.0` and `watch.1` (s).
    pub fn edges(&mut self, rng: &mut Rng, watch: (f64, f64)) -> &[(f64, bool)] {
        self.edges.clear();
        let course = Course::draw(&self.scene, rng, watch);
        let mut output = Output::new(&self.scene.comparator, false);
        let mut last_end = f64::NEG_INFINITY;
        let mut before = f64::INFINITY;
        let density = self.scene.spectrum.density(self.scene.light.sigma);
        let mut pink = self
            .scene
            .disturbance
            .pink
            .map(|pink| pink.source(density, rng));
        for (begin, end) in self.scene.stretches_of(&course, &self.path) {
            self.hits(&course, (last_end, begin), &mut output);
            if begin > last_end {
                self.noise.restart(rng);
                if let (Some(pink), true) = (&mut pink, last_end.is_finite()) {
                    pink.step(rng, begin - last_end);
                }
            }
            last_end = end;
            before = self.stretch(rng, (begin, end), before, &mut output, (&course, &mut pink));
        }
        self.hits(&course, (last_end, f64::INFINITY), &mut output);
        if self.scene.glitches.rate > 0.0 {
            let spikes = self.scene.glitches.draw(rng, watch.0, watch.1);
            self.edges = overlay(&self.edges, false, &spikes);
        }
        &self.edges
    }

    /// Edges of hits between two stretches of noise (s); within one the noise
    /// itself meets them.
    fn hits(&mut self, course: &Course, (from, to): (f64, f64), output: &mut Output) {
        let Some(hits) = &course.hits else {
            return;
        };
        // Whatever lasts until the path counts again goes on in the path.
        let to = to.min(hits.until);
        for (t, blocked) in hits
            .blocked
            .iter()
            .flat_map(|hit| [(hit.0, true), (hit.1, false)])
        {
            if from < t && t < to && blocked != output.blocked() {
                output.set(blocked);
                self.edges.push((t, blocked));
            }
        }
    }

    /// The light of a new touch in counts, from `from` to before `to` (s on the
    /// path's clock). Noise, disturbances and rounding are in it; spikes on the
    /// line are not. Sample k stands at `from` plus k sampling periods.
    pub fn samples(&mut self, rng: &mut Rng, from: f64, to: f64, sampling: &Sampling) -> &[u16] {
        self.begin(rng, (from, to));
        self.more_samples(rng, from, to, sampling)
    }

    /// Begins a sampled touch that is watched between two times (s): draws its
    /// disturbances, for [`Self::more_samples`].
    pub fn begin(&mut self, rng: &mut Rng, watch: (f64, f64)) {
        let scene = &self.scene;
        self.sampler
            .get_or_insert_with(|| Box::new(Sampler::new(scene)))
            .begin(scene, rng, watch);
    }

    /// A further window of the touch that [`Self::begin`] or [`Self::samples`]
    /// began; windows go forward in time and may leave gaps.
    pub fn more_samples(
        &mut self,
        rng: &mut Rng,
        from: f64,
        to: f64,
        sampling: &Sampling,
    ) -> &[u16] {
        let scene = &self.scene;
        self.sampler
            .get_or_insert_with(|| Box::new(Sampler::new(scene)))
            .window(scene, rng, (from, to), sampling)
    }

    /// Runs the noise from `begin` to `end`; `before` is the input at the end
    /// of the stretch before, the answer that at the end of this one.
    fn stretch(
        &mut self,
        rng: &mut Rng,
        (begin, end): (f64, f64),
        mut before: f64,
        output: &mut Output,
        (course, pink): (&Course, &mut Option<PinkNoise>),
    ) -> f64 {
        let length = end - begin;
        let total = (length / self.scene.spectrum.step()).ceil().max(1.0);
        let step = length / total;
        // Short stretches see the exact light at each step, long ones straight
        // pieces of it: at least 256 over the whole, far below the noise.
        let straight = self.scene.straight(course, begin, end) / step;
        let block = ((total / 256.0).min(straight) as usize).clamp(1, BLOCK);
        let total = total as usize;
        let mut done = 0;
        let sigma = self.scene.light.sigma;
        let mut level = self.scene.mean(course, begin);
        if let Some(pink) = pink {
            level += pink.light() / sigma;
        }
        while done < total {
            let n = block.min(total - done);
            let mut next = self.scene.mean(course, begin + (done + n) as f64 * step);
            if let Some(pink) = pink {
                next += pink.step(rng, n as f64 * step) / sigma;
            }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::approach::Approach;
    use crate::model::rng;

    /// Mixes the bits of all edges (FNV-1a over 64-bit words).
    fn print(scene: &Scene) -> u64 {
        let mut hash = 0xCBF2_9CE4_8422_2325_u64;
        for touch in 0..5 {
            let mut rng = rng::stream(&[7, touch]);
            for &(t, blocked) in Simulator::new(*scene).edges(&mut rng, (-0.2, 0.3)) {
                hash = (hash ^ t.to_bits() ^ u64::from(blocked)).wrapping_mul(0x0100_0000_01B3);
            }
        }
        hash
    }

    #[test]
    fn a_contact_during_the_start_has_the_feed_it_has_then() {
        let mut scene = crate::study::runner::Cell::new(1000.0, 60.0).scene();
        scene.approach = Approach {
            clearance: 100e-6,
            limits: crate::model::ramp::Limits {
                acceleration: 0.5,
                jerk: 50.0,
            },
            ..scene.approach
        };
        let feed = scene.contact_feed();
        assert!(feed > 0.0 && feed < 0.9 * scene.approach.feed, "{feed}");
        let (high, low) = scene.fall(0.9, 0.1).unwrap();
        let contact = scene.truth().contact.unwrap();
        assert!(high < contact && contact < low);
    }

    #[test]
    fn a_scene_without_disturbance_makes_the_edges_it_always_made() {
        use crate::study::runner::Cell;
        let endless = Cell {
            glitches: 50.0,
            ..Cell::new(60.0, 50.0)
        }
        .scene();
        let mut there_and_back = endless;
        there_and_back.approach = Approach {
            feed: 0.001,
            depth: 20e-6,
            stand: 0.03,
            retract: 0.005,
            ..Approach::endless(0.001)
        };
        let mut shallow = there_and_back;
        shallow.approach.depth = 0.5e-6;
        let seen = [&endless, &there_and_back, &shallow].map(print);
        // Of the first version, in which no stage could disturb.
        let always = [
            0xA78D_E2EF_A810_34A1,
            0x7CC4_3D66_8625_2FA9,
            0xCD16_4A02_2A37_5E78,
        ];
        assert_eq!(seen, always);
    }
}
