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

    /// Light minus trip level at time `t` without noise, in noise sigmas.
    fn mean(&self, course: &Course, t: f64) -> f64 {
        (course.light(self, t) - self.comparator.trip) / self.light.sigma
    }

    /// How far noise and stray light can move the light, share of full light.
    fn swing(&self) -> f64 {
        let d = &self.disturbance;
        let density = self.spectrum.density(self.light.sigma);
        (MARGIN + self.comparator.half_hysteresis) * self.light.sigma
            + d.flicker.map_or(0.0, |flicker| flicker.depth)
            + d.pink.map_or(0.0, |pink| MARGIN * pink.sigma(density))
    }

    /// Stretches of the path in which noise can reach a threshold, cut at the
    /// kinks of the path; stretches that touch share one run of noise.
    fn stretches(&self) -> Vec<(f64, f64)> {
        let d = &self.disturbance;
        let reach = self.swing();
        let left = d.film.map_or(1.0, |film| {
            film.left(self.truth().contact.unwrap_or_default())
        });
        let sway = d.vibration.map_or(0.0, |vibration| vibration.amplitude);
        let edge_at = |level: f64| {
            // A trip level nearer to dark or full light than the noise reaches:
            // 20 radii out the light no longer changes.
            self.blade.offset
                + self
                    .light
                    .profile
                    .edge_at((level / left).clamp(1e-300, 1.0))
        };
        let (first, last) = (
            edge_at(self.comparator.trip + reach) - sway,
            edge_at(self.comparator.trip - reach) + sway,
        );
        let path = &self.approach;
        let Some(begin) = path.inward(first).or_else(|| {
            // The blade may start where noise already reaches the threshold.
            (path.start().is_finite() && path.position(path.start()) > first).then(|| path.start())
        }) else {
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

    /// Stretches of one touch, in order and without overlap.
    fn stretches_of(&self, course: &Course) -> Vec<(f64, f64)> {
        let mut all = self.stretches();
        if let Some(hits) = &course.hits {
            // Hits have no flanks; the path counts again after them.
            all.retain(|stretch| stretch.0 >= hits.until);
        }
        if course.shades.is_empty() && course.bursts.is_empty() {
            return all;
        }
        all.extend(course.shades.iter().map(super::droplets::Shade::span));
        all.extend(course.bursts.iter().map(|burst| (burst.begin, burst.end)));
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut apart: Vec<(f64, f64)> = Vec::with_capacity(all.len());
        for stretch in all {
            match apart.last_mut() {
                Some(last) if stretch.0 < last.1 => last.1 = last.1.max(stretch.1),
                _ => apart.push(stretch),
            }
        }
        let kinks = [self.approach.stop(), self.approach.turn()];
        let mut cut = Vec::with_capacity(apart.len());
        for (mut begin, end) in apart {
            for kink in kinks {
                if begin < kink && kink < end {
                    cut.push((begin, kink));
                    begin = kink;
                }
            }
            cut.push((begin, end));
        }
        cut
    }

    /// Longest time in which the mean light between `begin` and `end` (s) may
    /// be taken as straight, s; infinite without disturbance.
    fn straight(&self, course: &Course, begin: f64, end: f64) -> f64 {
        let d = &self.disturbance;
        let cycle = |frequency: f64| 1.0 / (64.0 * frequency);
        let meets = |from: f64, to: f64| from < end && to > begin;
        let mut longest = f64::INFINITY;
        if let Some(vibration) = &d.vibration {
            longest = longest.min(cycle(vibration.frequency));
        }
        if let Some(flicker) = &d.flicker {
            longest = longest.min(cycle(flicker.frequency));
        }
        if let Some(pink) = &d.pink {
            longest = longest.min(0.25 * pink.shortest());
        }
        for burst in &course.bursts {
            if meets(burst.begin, burst.end) {
                longest = d
                    .carrier
                    .map_or(longest, |c| longest.min(cycle(c.frequency)));
            }
        }
        for shade in &course.shades {
            let (from, to) = shade.span();
            if meets(from, to) {
                longest = longest.min((to - from) / 256.0);
            }
        }
        longest
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
        let stretches = self.scene.stretches();
        Some((stretches.first()?.0, stretches.last()?.1))
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
        for (begin, end) in self.scene.stretches_of(&course) {
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

    /// Wherever the light without noise is clear of the trip level, the line
    /// must show its side of it.
    fn assert_follows_light(scene: &Scene, clear: f64, watch: (f64, f64)) {
        for touch in 0..4 {
            let course = Course::draw(scene, &mut rng::stream(&[touch]), watch);
            let edges = Simulator::new(*scene)
                .edges(&mut rng::stream(&[touch]), watch)
                .to_vec();
            assert!(edges
                .windows(2)
                .all(|w| w[0].0 <= w[1].0 && w[0].1 != w[1].1));
            let (mut judged, mut blocked_seen) = (0, 0);
            for k in 0..200_000 {
                let t = watch.0 + (watch.1 - watch.0) * f64::from(k) / 200_000.0;
                let over = course.light(scene, t) - scene.comparator.trip;
                // A sudden change is spread over one step of the noise.
                let settled = [t - 1e-6, t + 1e-6].iter().all(|&near| {
                    let near = course.light(scene, near) - scene.comparator.trip;
                    near.abs() > clear && (near > 0.0) == (over > 0.0)
                });
                if over.abs() > clear && settled {
                    let after = edges.partition_point(|edge| edge.0 <= t);
                    let blocked = after.checked_sub(1).is_some_and(|k| edges[k].1);
                    assert_eq!(blocked, over < 0.0, "touch {touch} at {t}: {over}");
                    judged += 1;
                    blocked_seen += u32::from(blocked);
                }
            }
            assert!(
                judged > 100_000 && blocked_seen > 1000,
                "{judged} {blocked_seen}"
            );
        }
    }

    fn disturbed(feed: f64, disturbance: &Disturbance) -> Scene {
        let mut scene = crate::study::runner::Cell::new(feed, 60.0).scene();
        scene.approach = Approach {
            depth: 100e-6,
            stand: 0.02,
            retract: 0.002,
            limits: crate::model::ramp::Limits {
                acceleration: 0.5,
                jerk: 50.0,
            },
            ..scene.approach
        };
        scene.disturbance = *disturbance;
        scene
    }

    #[test]
    fn edges_follow_the_light_under_every_disturbance() {
        let all = Disturbance {
            film: Some(crate::model::film::Film {
                loss: 0.2,
                per_hour: 0.5,
            }),
            flicker: Some(crate::model::flicker::Flicker::mains(0.03)),
            pink: Some(crate::model::pink::Pink {
                corner: 500.0,
                lowest: 1.0,
            }),
            carrier: Some(crate::model::carrier::Carrier {
                rate: 50.0,
                length: 1e-3,
                frequency: 10e3,
                amplitude: 0.6,
            }),
            droplets: Some(crate::model::droplets::Droplets {
                least: 0.3,
                ..crate::model::droplets::Droplets::per_hour(50.0 * 3600.0)
            }),
            vibration: Some(crate::model::vibration::Vibration {
                amplitude: 5e-6,
                frequency: 300.0,
            }),
            ..Disturbance::default()
        };
        // 10 sigmas of the white noise, 6 of the 1/f noise, and the width of a flank.
        assert_follows_light(&disturbed(300.0, &all), 0.03, (-0.1, 0.3));
        let turning = Disturbance {
            cutter: Some(crate::model::cutter::Cutter {
                speed: 50.0,
                teeth: 3,
                radius: 5e-3,
                run_out: 5e-6,
            }),
            plate: Some(crate::model::plate::Plate {
                mass: 0.02,
                preload: 1.5,
                rate: 100.0,
                restitution: 0.3,
            }),
            ..all
        };
        assert_follows_light(&disturbed(60.0, &turning), 0.03, (-0.1, 0.3));
        let fluttering = Disturbance {
            flutter: Some(crate::model::flutter::Flutter::default()),
            ..all
        };
        assert_follows_light(&disturbed(300.0, &fluttering), 0.03, (-0.1, 0.3));
    }

    #[test]
    fn film_moves_a_fixed_trip_point_as_far_as_the_study_says() {
        for (loss, moved) in [(0.01, 404e-9), (0.10, 4.5e-6)] {
            let film = crate::model::film::Film {
                loss,
                per_hour: 0.0,
            };
            let mut scene = disturbed(
                300.0,
                &Disturbance {
                    film: Some(film),
                    ..Disturbance::default()
                },
            );
            scene.light.sigma = 1e-6;
            let edges = Simulator::new(scene)
                .edges(&mut rng::stream(&[1]), (-0.1, 0.3))
                .to_vec();
            assert!(edges[0].1);
            let early = -scene.approach.position(edges[0].0);
            // The study gives the slope at no loss; the profile bends by 1 % until here.
            assert!((early / moved - 1.0).abs() < 0.015, "{loss}: {early}");
        }
    }

    #[test]
    fn a_contact_during_the_start_has_the_feed_it_has_then() {
        let mut scene = disturbed(1000.0, &Disturbance::default());
        scene.approach.clearance = 100e-6;
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
