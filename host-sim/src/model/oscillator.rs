//! Oscillators of the probe: a crystal and an RC, as phase over true time.
//!
//! The phase x (s) is what the clock shows less the true time, its slope the
//! relative frequency y. Four things make y: a constant offset and a steady
//! drift, the parabola of a crystal over temperature, white noise of the
//! frequency and its random walk. Noise is stepped exactly for any step, by
//! the joint normal distribution of a random walk and its integral. Allan
//! variances (NIST SP 1065, 2008, section 3.3): white frequency noise s²/τ,
//! random walk w²τ/3, drift D²τ²/2; tested here and in `tests/`.
//!
//! Figures of real parts are typical ones from memory: 40 ppm and -0.034
//! ppm/K² about 25 °C for a crystal, 2 % and some ppm in a second for an RC.
//! Limits: no flicker of the frequency, no jumps, no retrace after power-up.

use rand_distr::{Distribution, StandardNormal};

use super::rng::Rng;

const PPM: f64 = 1e-6;
const YEAR: f64 = 365.25 * 86_400.0;

/// What an oscillator is made of; all relative frequencies in ppm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Parts {
    /// Constant offset; positive runs fast.
    pub offset_ppm: f64,
    /// Steady drift, ppm/s.
    pub drift_ppm_s: f64,
    /// Random walk: standard deviation of the change in one second, ppm.
    pub wander_ppm: f64,
    /// White frequency noise: standard deviation of the phase gained in one
    /// second, µs, that is of the frequency averaged over it, ppm.
    pub white_ppm: f64,
}

/// A crystal at a temperature that changes steadily.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crystal {
    /// Offset at the turnover temperature, ppm.
    pub offset_ppm: f64,
    /// Curvature, ppm/K², negative.
    pub parabola_ppm_k2: f64,
    /// Temperature less that of the turnover at time 0, K.
    pub from_turnover_k: f64,
    /// Its change, K/s.
    pub warming_k_s: f64,
    /// Ageing, ppm in a year.
    pub ageing_ppm_year: f64,
    /// Random walk, ppm in a second.
    pub wander_ppm: f64,
}

impl Default for Crystal {
    /// 40 ppm fast at the turnover, 20 K above it and warming by 1 K a minute:
    /// -0.023 ppm/s.
    fn default() -> Self {
        Self {
            offset_ppm: 40.0,
            parabola_ppm_k2: -0.034,
            from_turnover_k: 20.0,
            warming_k_s: 1.0 / 60.0,
            ageing_ppm_year: 3.0,
            wander_ppm: 1e-4,
        }
    }
}

impl Crystal {
    /// What it comes to; the curve of the parabola over time included.
    #[must_use]
    pub fn oscillator(&self) -> Oscillator {
        let (p, from, by) = (self.parabola_ppm_k2, self.from_turnover_k, self.warming_k_s);
        let mut oscillator = Oscillator::new(Parts {
            offset_ppm: self.offset_ppm + p * from * from,
            drift_ppm_s: 2.0 * p * from * by + self.ageing_ppm_year / YEAR,
            wander_ppm: self.wander_ppm,
            white_ppm: 0.0,
        });
        oscillator.bend = p * by * by * PPM;
        oscillator
    }
}

/// A running oscillator.
#[derive(Debug, Clone)]
pub struct Oscillator {
    /// Frequency (relative) without white noise, and its drift, 1/s.
    frequency: f64,
    drift: f64,
    /// Half the second derivative of the frequency, 1/s².
    bend: f64,
    wander: f64,
    white: f64,
    time: f64,
    phase: f64,
}

impl Oscillator {
    /// At true time 0, showing 0.
    #[must_use]
    pub fn new(parts: Parts) -> Self {
        Self {
            frequency: parts.offset_ppm * PPM,
            drift: parts.drift_ppm_s * PPM,
            bend: 0.0,
            wander: parts.wander_ppm * PPM,
            white: parts.white_ppm * PPM,
            time: 0.0,
            phase: 0.0,
        }
    }

    /// The true time it has come to, s.
    #[must_use]
    pub fn time(&self) -> f64 {
        self.time
    }

    /// What the clock shows less the true time, s.
    #[must_use]
    pub fn phase(&self) -> f64 {
        self.phase
    }

    /// Relative frequency now, without its white noise.
    #[must_use]
    pub fn frequency(&self) -> f64 {
        self.frequency
    }

    /// How fast its frequency changes now, 1/s; wander aside.
    fn slope(&self) -> f64 {
        // The bend is about time 0.
        self.drift + 2.0 * self.bend * self.time
    }

    /// Turns round where it would go farther than `most` (relative) off nominal: from then on it takes the frequencies
    /// it came by in the opposite order, as a crystal does whose temperature turns.
    pub fn keep_within(&mut self, most: f64) {
        if self.frequency.abs() > most && self.frequency * self.slope() > 0.0 {
            self.drift = -(self.drift + 4.0 * self.bend * self.time);
        }
    }

    /// Goes on by `dt` of true time, s.
    pub fn step(&mut self, rng: &mut Rng, dt: f64) {
        let drift = self.slope();
        self.phase += dt * (self.frequency + dt * (drift / 2.0 + dt * self.bend / 3.0));
        self.frequency += dt * (drift + dt * self.bend);
        if self.wander > 0.0 {
            let mut normal = || -> f64 { StandardNormal.sample(rng) };
            let (a, b) = (normal(), normal());
            let step = self.wander * dt.sqrt();
            self.frequency += step * a;
            self.phase += step * dt * (0.5 * a + b / 12_f64.sqrt());
        }
        if self.white > 0.0 {
            let normal: f64 = StandardNormal.sample(rng);
            self.phase += self.white * dt.sqrt() * normal;
        }
        self.time += dt;
    }

    /// Goes on to about when the clock shows `reading` (s, later than now) and
    /// tells the true time at which it does. The rest of a step too short or
    /// too long is made up at the frequency it ends with.
    pub fn shows(&mut self, rng: &mut Rng, reading: f64) -> f64 {
        let left = reading - (self.time + self.phase);
        self.step(rng, (left / (1.0 + self.frequency)).max(0.0));
        let left = reading - (self.time + self.phase);
        self.time + left / (1.0 + self.frequency)
    }
}

#[cfg(test)]
mod tests {
    use super::{Crystal, Oscillator, Parts};
    use crate::model::rng;
    use crate::study::allan::overlapping;

    /// Phases every `dt`.
    fn phases(parts: Parts, dt: f64, n: usize, seed: u64) -> Vec<f64> {
        let mut rng = rng::stream(&[seed]);
        let mut oscillator = Oscillator::new(parts);
        (0..n)
            .map(|_| {
                let phase = oscillator.phase();
                oscillator.step(&mut rng, dt);
                phase
            })
            .collect()
    }

    #[test]
    fn allan_deviations_are_those_of_the_handbook() {
        let (white, wander, drift) = (0.3, 2.0, 5.0);
        for (m, dt) in [(1, 0.01), (10, 0.01), (100, 0.01), (10, 0.1)] {
            let tau = dt * m as f64;
            let alone = |parts| overlapping(&phases(parts, dt, 200_000, m as u64), dt, m) * 1e6;
            let check = |name, found: f64, exact: f64| {
                // Some 2000 independent differences at the longest.
                assert!(
                    (found / exact - 1.0).abs() < 0.06,
                    "{name} {tau}: {found} {exact}"
                );
            };
            let none = Parts::default();
            check(
                "white",
                alone(Parts {
                    white_ppm: white,
                    ..none
                }),
                white / tau.sqrt(),
            );
            check(
                "walk",
                alone(Parts {
                    wander_ppm: wander,
                    ..none
                }),
                wander * (tau / 3.0).sqrt(),
            );
            check(
                "drift",
                alone(Parts {
                    drift_ppm_s: drift,
                    ..none
                }),
                drift * tau / 2_f64.sqrt(),
            );
        }
    }

    #[test]
    fn a_crystal_follows_its_parabola() {
        let crystal = Crystal {
            wander_ppm: 0.0,
            ageing_ppm_year: 0.0,
            ..Crystal::default()
        };
        let mut rng = rng::stream(&[1]);
        let mut oscillator = crystal.oscillator();
        assert!((oscillator.drift * 1e6 + 0.0227).abs() < 1e-4);
        let mut phase = 0.0;
        for k in 0..6_000 {
            oscillator.step(&mut rng, 0.1);
            let kelvin = 20.0 + f64::from(k + 1) * 0.1 / 60.0;
            let ppm = 40.0 - 0.034 * kelvin * kelvin;
            assert!((oscillator.frequency() * 1e6 - ppm).abs() < 1e-6, "{k}");
            // Middle of the step: Simpson's rule is exact for a parabola.
            let mid = kelvin - 0.05 / 60.0;
            let before = kelvin - 0.1 / 60.0;
            let square = (before * before + 4.0 * mid * mid + kelvin * kelvin) / 6.0;
            phase += 0.1e-6 * (40.0 - 0.034 * square);
            assert!((oscillator.phase() - phase).abs() < 1e-12);
        }
    }

    #[test]
    fn a_crystal_that_turns_round_stays_within_its_limits_for_days() {
        let crystal = Crystal {
            wander_ppm: 0.0,
            ..Crystal::default()
        };
        let mut rng = rng::stream(&[5]);
        let mut oscillator = crystal.oscillator();
        let (mut least, mut most) = (f64::MAX, f64::MIN);
        for _ in 0..200_000 {
            oscillator.step(&mut rng, 1.0);
            oscillator.keep_within(60e-6);
            let ppm = oscillator.frequency() * 1e6;
            (least, most) = (least.min(ppm), most.max(ppm));
        }
        // One step beyond at the most; the top of the parabola is 40 ppm.
        assert!((-60.1..-59.9).contains(&least), "{least}");
        assert!((39.9..=60.1).contains(&most), "{most}");
    }

    #[test]
    fn it_shows_what_it_is_asked_for() {
        let mut rng = rng::stream(&[3]);
        let mut oscillator = Oscillator::new(Parts {
            offset_ppm: -20_000.0,
            drift_ppm_s: 17.0,
            ..Parts::default()
        });
        for k in 1..10_000 {
            let reading = f64::from(k) * 1e-3;
            let t = oscillator.shows(&mut rng, reading);
            let shown = t * (1.0 - 0.02 + 0.5 * 17e-6 * t);
            assert!((shown - reading).abs() < 1e-12, "{k}: {shown}");
        }
        // Random walk: the same seed, the same times.
        let run = || {
            let mut rng = rng::stream(&[4]);
            let mut rc = Oscillator::new(Parts {
                wander_ppm: 3.0,
                white_ppm: 0.01,
                ..Parts::default()
            });
            (1..100)
                .map(|k| rc.shows(&mut rng, f64::from(k) * 1e-3).to_bits())
                .collect::<Vec<_>>()
        };
        assert_eq!(run(), run());
    }
}
