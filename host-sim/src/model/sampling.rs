//! The light as counts: noise added, converted at an even rate.
//!
//! White noise is sampled with the density that the scene's noise has in its
//! own band: variance `N0·rate/2`, `N0 = σ²/(1.026·fc)` at order 4. So the
//! receiver is taken as flat up to half the sampling rate and sharp above.
//! 1/f noise goes straight from node to node, four nodes in its shortest time.
//! Spikes of the line ([`super::glitches`]) belong to a comparator and do not
//! occur here. Sample k of a window stands at its begin plus k periods.

use rand_distr::{Distribution, StandardNormal};

use super::adc::{round, Adc};
use super::course::Course;
use super::pink::PinkNoise;
use super::rng::Rng;
use super::table::Table;
use super::touch::Scene;

/// How the light is sampled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sampling {
    /// Samples per second.
    pub rate: f64,
    /// Converter.
    pub adc: Adc,
}

/// Samples computed together.
const BLOCK: usize = 512;

/// What the sampler keeps within a touch, and its buffers.
#[derive(Debug, Clone)]
pub(super) struct Sampler {
    table: Table,
    course: Option<Course>,
    /// 1/f noise and the time (s) for which it stands.
    pink: Option<(PinkNoise, f64)>,
    light: Vec<f64>,
    counts: Vec<u16>,
}

impl Sampler {
    pub(super) fn new(scene: &Scene) -> Self {
        Self {
            table: Table::new(&scene.light.profile),
            course: None,
            pink: None,
            light: vec![0.0; BLOCK],
            counts: Vec::new(),
        }
    }

    /// Begins a touch that is watched between two times (s).
    pub(super) fn begin(&mut self, scene: &Scene, rng: &mut Rng, watch: (f64, f64)) {
        self.course = Some(Course::draw(scene, rng, watch));
        let density = scene.spectrum.density(scene.light.sigma);
        self.pink = scene
            .disturbance
            .pink
            .map(|pink| (pink.source(density, rng), watch.0));
    }

    /// Samples from `from` to before `to` (s).
    pub(super) fn window(
        &mut self,
        scene: &Scene,
        rng: &mut Rng,
        (from, to): (f64, f64),
        sampling: &Sampling,
    ) -> &[u16] {
        if self.course.is_none() {
            self.begin(scene, rng, (from, to));
        }
        self.counts.clear();
        let step = 1.0 / sampling.rate;
        // A window of a whole number of periods is not one longer by rounding.
        let total = ((to - from) * sampling.rate - 1e-6).ceil().max(0.0) as usize;
        self.counts.reserve(total);
        let gain = sampling.adc.counts_per_light();
        let most = f64::from(sampling.adc.full_scale());
        let sigma = gain
            * scene
                .spectrum
                .sampled_sigma(scene.light.sigma, sampling.rate);
        let mut done = 0;
        while done < total {
            let n = BLOCK.min(total - done);
            let begin = from + done as f64 * step;
            let light = &mut self.light[..n];
            if let Some(course) = &self.course {
                course.fill(scene, &self.table, begin, step, light);
            }
            if let (Some((noise, at)), Some(pink)) = (&mut self.pink, scene.disturbance.pink) {
                let apart = (0.25 * pink.shortest() * sampling.rate).clamp(1.0, BLOCK as f64);
                add_pink(noise, at, rng, (begin, step), apart as usize, light);
            }
            self.counts.extend(light.iter().map(|light| {
                let noise: f64 = StandardNormal.sample(rng);
                round(light * gain + sigma * noise, most)
            }));
            done += n;
        }
        &self.counts
    }
}

/// Adds 1/f noise, straight between nodes `apart` samples from each other.
fn add_pink(
    noise: &mut PinkNoise,
    at: &mut f64,
    rng: &mut Rng,
    (begin, step): (f64, f64),
    apart: usize,
    light: &mut [f64],
) {
    if begin > *at + 0.5 * step {
        noise.step(rng, begin - *at);
        *at = begin;
    }
    let mut now = noise.light();
    for piece in light.chunks_mut(apart) {
        let length = piece.len() as f64;
        let next = noise.step(rng, length * step);
        *at += length * step;
        for (k, light) in piece.iter_mut().enumerate() {
            *light += now + (next - now) * k as f64 / length;
        }
        now = next;
    }
}

#[cfg(test)]
mod tests {
    use super::{Adc, Sampling};
    use crate::model::approach::{mm_per_min, Approach};
    use crate::model::carrier::Carrier;
    use crate::model::course::Disturbance;
    use crate::model::cutter::Cutter;
    use crate::model::droplets::Droplets;
    use crate::model::film::Film;
    use crate::model::flicker::Flicker;
    use crate::model::flutter::Flutter;
    use crate::model::light::Profile;
    use crate::model::pink::Pink;
    use crate::model::rng;
    use crate::model::touch::{Scene, Simulator};
    use crate::model::vibration::Vibration;
    use crate::study::closed_form::full_span_bound;
    use crate::study::runner::Cell;

    fn sampling() -> Sampling {
        Sampling {
            rate: 200e3,
            adc: Adc::new(12),
        }
    }

    fn scene(feed: f64, snr: f64) -> Scene {
        Cell::new(feed, snr).scene()
    }

    fn mean_and_sd(counts: &[u16]) -> (f64, f64) {
        let n = counts.len() as f64;
        let mean = counts.iter().map(|&c| f64::from(c)).sum::<f64>() / n;
        let square = counts
            .iter()
            .map(|&c| (f64::from(c) - mean).powi(2))
            .sum::<f64>();
        (mean, (square / n).sqrt())
    }

    #[test]
    fn rest_light_has_its_mean_and_its_noise() {
        for (snr, rate) in [(40.0, 200e3), (60.0, 200e3), (50.0, 50e3)] {
            let sampling = Sampling { rate, ..sampling() };
            let scene = scene(60.0, snr);
            let mut simulator = Simulator::new(scene);
            let far = -3.0;
            let counts = simulator.samples(&mut rng::stream(&[3]), far, far + 1.0, &sampling);
            assert_eq!(counts.len(), rate as usize);
            let (mean, sd) = mean_and_sd(counts);
            let sigma = 3276.0 * scene.spectrum.sampled_sigma(scene.light.sigma, rate);
            let expected = (sigma * sigma + 1.0 / 12.0).sqrt();
            assert!((mean - 3276.0).abs() < 5.0 * sd / rate.sqrt());
            assert!((sd / expected - 1.0).abs() < 0.01, "{snr}: {sd} {expected}");
        }
    }

    #[test]
    fn neighbours_are_independent() {
        let mut simulator = Simulator::new(scene(60.0, 40.0));
        let counts = simulator.samples(&mut rng::stream(&[5]), -3.0, -2.0, &sampling());
        let (mean, sd) = mean_and_sd(counts);
        for lag in [1, 2, 7] {
            let sum: f64 = counts
                .windows(lag + 1)
                .map(|w| (f64::from(w[0]) - mean) * (f64::from(w[lag]) - mean))
                .sum();
            let rho = sum / (sd * sd * counts.len() as f64);
            assert!(
                rho.abs() < 4.0 / (counts.len() as f64).sqrt(),
                "{lag} {rho}"
            );
        }
    }

    #[test]
    fn without_noise_the_counts_are_the_light() {
        let quiet = scene(300.0, 400.0);
        for profile in [
            Profile::gaussian(150e-6),
            Profile::circular(150e-6),
            Profile::diffraction(150e-6, 880e-9, 5e-3),
        ] {
            let mut scene = quiet;
            scene.light.profile = profile;
            scene.disturbance = Disturbance {
                film: Some(Film {
                    loss: 0.2,
                    per_hour: 0.5,
                }),
                flicker: Some(Flicker::mains(0.02)),
                vibration: Some(Vibration {
                    amplitude: 2e-6,
                    frequency: 300.0,
                }),
                carrier: Some(Carrier {
                    rate: 300.0,
                    length: 1e-3,
                    frequency: 38e3,
                    amplitude: 0.05,
                }),
                droplets: Some(Droplets {
                    least: 0.3,
                    ..Droplets::per_hour(3600.0 * 100.0)
                }),
                ..Disturbance::default()
            };
            let sampling = sampling();
            let mut simulator = Simulator::new(scene);
            let counts = simulator
                .samples(&mut rng::stream(&[8]), -0.02, 0.03, &sampling)
                .to_vec();
            let course = super::Course::draw(&scene, &mut rng::stream(&[8]), (-0.02, 0.03));
            assert!(!course.shades.is_empty() && !course.bursts.is_empty());
            for (k, &count) in counts.iter().enumerate() {
                let t = -0.02 + k as f64 / sampling.rate;
                let light = course.light(&scene, t) * sampling.adc.counts_per_light();
                assert!(
                    (light.max(0.0) - f64::from(count)).abs() < 0.53,
                    "{t} {light}"
                );
            }
        }
    }

    /// With shape and feed known, least squares on the samples must reach the
    /// full-span bound: the noise then has the density it should have.
    #[test]
    fn least_squares_on_the_samples_meets_the_bound() {
        let sampling = Sampling {
            rate: 200e3,
            adc: Adc::new(16),
        };
        for profile in [
            Profile::gaussian(150e-6),
            Profile::circular(150e-6),
            Profile::diffraction(150e-6, 880e-9, 5e-3),
        ] {
            let mut scene = scene(1000.0, 50.0);
            scene.light.profile = profile;
            let (feed, sigma) = (scene.approach.feed, scene.light.sigma);
            let energy = profile.slope_energy();
            let bound = full_span_bound(feed, 100e3, 4, sigma, energy);
            // From the last crest of a diffracting edge, where its energy begins.
            let (from, to) = if profile.fringes() {
                // Six scales into the shadow hold all but 1e-4 of the energy.
                (profile.edge_at(2.0), 75e-6 + 6.0 * profile.detail())
            } else {
                profile.core()
            };
            let mut simulator = Simulator::new(scene);
            let touches = 1500;
            let mut square = 0.0;
            for touch in 0..touches {
                let mut rng = rng::stream(&[touch]);
                let begin = (from / feed) + touch as f64 / touches as f64 / sampling.rate;
                let counts = simulator.samples(&mut rng, begin, to / feed, &sampling);
                let (mut above, mut below) = (0.0, 0.0);
                for (k, &count) in counts.iter().enumerate() {
                    let x = feed * (begin + k as f64 / sampling.rate);
                    let slope = profile.slope_at(x);
                    let light = f64::from(count) / sampling.adc.counts_per_light();
                    above += (light - profile.transmitted(x)) * slope;
                    below += slope * slope;
                }
                square += (above / below).powi(2);
            }
            let ratio = (square / touches as f64).sqrt() / bound;
            let error = 3.5 / (2.0 * touches as f64).sqrt();
            assert!((ratio - 1.0).abs() < error + 0.01, "{profile:?}: {ratio}");
        }
    }

    #[test]
    fn windows_of_a_touch_go_on_where_the_last_one_ended() {
        let mut disturbed = scene(60.0, 50.0);
        disturbed.disturbance.pink = Some(Pink {
            corner: 200.0,
            lowest: 1.0,
        });
        let sampling = sampling();
        let whole = Simulator::new(disturbed)
            .samples(&mut rng::stream(&[1]), 0.0, 1024.0 / 200e3, &sampling)
            .to_vec();
        let mut simulator = Simulator::new(disturbed);
        let mut rng = rng::stream(&[1]);
        simulator.begin(&mut rng, (0.0, 1.0));
        let mut parts = Vec::new();
        for part in 0..2 {
            let from = f64::from(part) * 512.0 / 200e3;
            parts.extend_from_slice(simulator.more_samples(
                &mut rng,
                from,
                from + 512.0 / 200e3,
                &sampling,
            ));
        }
        assert_eq!(whole, parts);
    }

    #[test]
    fn flutter_and_cutter_block_the_light_in_their_hits() {
        let mut rng = rng::stream(&[2]);
        let mut fluttering = scene(60.0, 60.0);
        fluttering.disturbance.flutter = Some(Flutter::default());
        let mut turning = scene(10.0, 60.0);
        turning.approach = Approach::endless(mm_per_min(10.0));
        turning.disturbance.cutter = Some(Cutter {
            speed: 50.0,
            teeth: 4,
            radius: 5e-3,
            run_out: 5e-6,
        });
        for (scene, until) in [(fluttering, 0.02), (turning, 0.2)] {
            let mut simulator = Simulator::new(scene);
            let counts = simulator
                .samples(&mut rng, -0.001, until, &sampling())
                .to_vec();
            let dark = counts.iter().filter(|&&c| c < 100).count();
            let light = counts.iter().filter(|&&c| c > 3100).count();
            assert_eq!(dark + light, counts.len());
            let falls = counts
                .windows(2)
                .filter(|w| w[0] > 3100 && w[1] < 100)
                .count();
            assert!(falls >= 2, "{falls}");
            let edges = simulator.edges(&mut rng, (-0.001, until));
            assert!(edges.len() >= 3 && edges[0].1);
            assert!(edges
                .windows(2)
                .all(|w| w[0].0 < w[1].0 && w[0].1 != w[1].1));
        }
    }
}
