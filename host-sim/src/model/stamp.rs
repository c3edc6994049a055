//! When a frame's edge is stamped, beside when it came.
//!
//! Three classes, as link hardware has them (invented figures): capture of the
//! frame's edge scatters by a few tenths of a microsecond, capture in a radio
//! by a microsecond in whole steps of its own clock, and software that reads a
//! clock in an interrupt is late by 20 µs on average in three of ten frames.
//! Limits: independent from frame to frame, no outages.

use rand_distr::{Distribution, Exp1, StandardNormal, StandardUniform};

use super::rng::Rng;

/// How arrivals scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stamp {
    /// Standard deviation of the normal part, s.
    pub sigma: f64,
    /// Step of a slower clock, phase at random against the frames, s.
    pub step: f64,
    /// Share of frames stamped late.
    pub late_share: f64,
    /// Mean lateness of those, exponential, s.
    pub late_mean: f64,
}

impl Stamp {
    /// Capture unit: 0.2 µs.
    pub const CAPTURE: Self = Self {
        sigma: 0.2e-6,
        step: 0.0,
        late_share: 0.0,
        late_mean: 0.0,
    };

    /// Radio: 1 µs and steps of 1 µs.
    pub const RADIO: Self = Self {
        sigma: 1e-6,
        step: 1e-6,
        ..Self::CAPTURE
    };

    /// Software: 1 µs, and 30 % late by 20 µs on average.
    pub const SOFTWARE: Self = Self {
        sigma: 1e-6,
        step: 0.0,
        late_share: 0.3,
        late_mean: 20e-6,
    };

    /// Stamp of a frame less its true arrival, s.
    pub fn draw(&self, rng: &mut Rng) -> f64 {
        let normal: f64 = StandardNormal.sample(rng);
        let mut off = self.sigma * normal;
        let mut unit = || -> f64 { StandardUniform.sample(rng) };
        if self.step > 0.0 {
            let phase = unit();
            off = ((off / self.step + phase).floor() - phase + 0.5) * self.step;
        }
        if self.late_share > 0.0 && unit() < self.late_share {
            let late: f64 = Exp1.sample(rng);
            off += self.late_mean * late;
        }
        off
    }

    /// Its standard deviation, s.
    #[must_use]
    pub fn sd(&self) -> f64 {
        let (p, m) = (self.late_share, self.late_mean);
        (self.sigma.powi(2) + self.step.powi(2) / 12.0 + p * (2.0 - p) * m * m).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::Stamp;
    use crate::model::rng;
    use crate::study::statistics::Moments;

    #[test]
    fn scatter_and_lateness_are_as_stated() {
        for (stamp, mean) in [
            (Stamp::CAPTURE, 0.0),
            (Stamp::RADIO, 0.0),
            (Stamp::SOFTWARE, 6e-6),
        ] {
            let mut rng = rng::stream(&[8]);
            let m: Moments = (0..200_000).map(|_| stamp.draw(&mut rng)).collect();
            assert!((m.mean() - mean).abs() < 4.0 * m.mean_error(), "{stamp:?}");
            assert!(
                (m.sd() - stamp.sd()).abs() < 4.0 * m.sd_error(),
                "{stamp:?}"
            );
        }
    }
}
