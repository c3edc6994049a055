//! When there is anything to simulate on a line: the stretches of time in
//! which noise can reach a threshold.
//!
//! Only where the mean light is near enough to the trip level does noise
//! switch the output. Elsewhere it stands still: with 6.5 sigmas of margin the
//! chance of a crossing left out is below 1e-9 per noise cycle. Disturbances
//! widen these stretches by as much as they can move the light, and droplets
//! and bursts add stretches of their own. Limit: light that is disturbed for
//! longer than that, such as a film that takes more than the trip level, shows
//! only in the stretches of the path.

use super::course::Course;
use super::droplets::Shade;
use super::touch::Scene;

/// Noise sigmas beyond the hysteresis at which the simulation begins and ends.
pub(crate) const MARGIN: f64 = 6.5;

impl Scene {
    /// Light minus trip level at time `t` without noise, in noise sigmas.
    pub(super) fn mean(&self, course: &Course, t: f64) -> f64 {
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
    pub(super) fn stretches(&self) -> Vec<(f64, f64)> {
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

    /// Stretches of one touch, in order and without overlap; `path` are those
    /// of the path.
    pub(super) fn stretches_of(&self, course: &Course, path: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let mut all = path.to_vec();
        if let Some(hits) = &course.hits {
            // Hits have no flanks; the path counts again after them.
            all.retain(|stretch| stretch.0 >= hits.until);
        }
        if course.shades.is_empty() && course.bursts.is_empty() {
            return all;
        }
        all.extend(course.shades.iter().map(Shade::span));
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
    pub(super) fn straight(&self, course: &Course, begin: f64, end: f64) -> f64 {
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

#[cfg(test)]
mod tests {
    use super::{Course, Scene};
    use crate::model::approach::Approach;
    use crate::model::carrier::Carrier;
    use crate::model::course::Disturbance;
    use crate::model::cutter::Cutter;
    use crate::model::droplets::Droplets;
    use crate::model::film::Film;
    use crate::model::flicker::Flicker;
    use crate::model::flutter::Flutter;
    use crate::model::pink::Pink;
    use crate::model::plate::Plate;
    use crate::model::ramp::Limits;
    use crate::model::rng;
    use crate::model::touch::Simulator;
    use crate::model::vibration::Vibration;
    use crate::study::runner::Cell;

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
        let mut scene = Cell::new(feed, 60.0).scene();
        scene.approach = Approach {
            depth: 100e-6,
            stand: 0.02,
            retract: 0.002,
            limits: Limits {
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
            film: Some(Film {
                loss: 0.2,
                per_hour: 0.5,
            }),
            flicker: Some(Flicker::mains(0.03)),
            pink: Some(Pink {
                corner: 500.0,
                lowest: 1.0,
            }),
            carrier: Some(Carrier {
                rate: 50.0,
                length: 1e-3,
                frequency: 10e3,
                amplitude: 0.6,
            }),
            droplets: Some(Droplets {
                least: 0.3,
                ..Droplets::per_hour(50.0 * 3600.0)
            }),
            vibration: Some(Vibration {
                amplitude: 5e-6,
                frequency: 300.0,
            }),
            ..Disturbance::default()
        };
        // 10 sigmas of the white noise, 6 of the 1/f noise, and the width of a flank.
        assert_follows_light(&disturbed(300.0, &all), 0.03, (-0.1, 0.3));
        let turning = Disturbance {
            cutter: Some(Cutter {
                speed: 50.0,
                teeth: 3,
                radius: 5e-3,
                run_out: 5e-6,
            }),
            plate: Some(Plate {
                mass: 0.02,
                preload: 1.5,
                rate: 100.0,
                restitution: 0.3,
            }),
            ..all
        };
        assert_follows_light(&disturbed(60.0, &turning), 0.03, (-0.1, 0.3));
        let fluttering = Disturbance {
            flutter: Some(Flutter::default()),
            ..all
        };
        assert_follows_light(&disturbed(300.0, &fluttering), 0.03, (-0.1, 0.3));
    }

    #[test]
    fn film_moves_a_fixed_trip_point_as_far_as_the_study_says() {
        for (loss, moved) in [(0.01, 404e-9), (0.10, 4.5e-6)] {
            let film = Film {
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
}
