//! When a frame is heard, and which instant the receiver captures for it.
//!
//! A frame begins at the receiver a constant delay after it began at the probe
//! (the flight of 10 m is 33 ns, detector and demodulator take more). The
//! captured stamp is the instant of that begin with a Gaussian error, rounded
//! to whole nanoseconds; the bytes are there when the frame has ended, never
//! before its stamp. Limits: no tail, as hardware capture has none (software
//! stamps do); the error does not depend on the strength of the signal; the
//! receiver's clock is the true time.

use rand_distr::{Distribution, StandardNormal};

use crate::fault::Fault;
use crate::model::rng::Rng;

/// Widest error of a stamp, one standard deviation, ns.
const MAX_JITTER_NS: f64 = 1e9;

/// Times of the way from probe to receiver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// From the begin at the probe to the begin at the receiver, ns.
    pub delay_ns: u64,
    /// How long the frame is on the air, ns.
    pub air_ns: u64,
    /// Error of the captured begin, one standard deviation, ns.
    pub jitter_ns: f64,
}

impl Timing {
    /// Infrared: 16 pulses in front and 64 symbols of two bits, 4 µs each.
    pub const INFRARED: Self = Self {
        delay_ns: 0,
        air_ns: 320_000,
        jitter_ns: 200.0,
    };
    /// Radio: 22 bytes at 1 Mbit/s.
    pub const RADIO: Self = Self {
        air_ns: 176_000,
        ..Self::INFRARED
    };

    /// # Errors
    /// A jitter that is no standard deviation.
    pub(super) fn check(&self) -> Result<(), Fault> {
        if (0.0..=MAX_JITTER_NS).contains(&self.jitter_ns) {
            return Ok(());
        }
        Err(Fault::new(
            format!("a jitter of {} ns", self.jitter_ns),
            "one standard deviation from 0 to 1 s",
            "state another jitter, 0 for none",
        ))
    }

    /// First and one after the last instant of the frame at the receiver, ns.
    pub(super) fn on_air(&self, sent_ns: u64) -> (u64, u64) {
        let begin = sent_ns.saturating_add(self.delay_ns);
        (begin, begin.saturating_add(self.air_ns))
    }

    /// Arrival and captured stamp of a frame sent at `sent_ns`, ns; `draws` is
    /// its stream, made only for a jitter.
    pub(super) fn heard(&self, sent_ns: u64, draws: impl FnOnce() -> Rng) -> (u64, u64) {
        let (begin, end) = self.on_air(sent_ns);
        if self.jitter_ns <= 0.0 {
            return (end, begin);
        }
        let sigmas: f64 = StandardNormal.sample(&mut draws());
        let error = (sigmas * self.jitter_ns).round() as i64;
        let stamp = begin.saturating_add_signed(error);
        (end.max(stamp), stamp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;
    use crate::study::statistics::Moments;

    #[test]
    fn stamps_scatter_about_the_delay_as_stated() {
        let timing = Timing {
            delay_ns: 5_000,
            jitter_ns: 150.0,
            ..Timing::INFRARED
        };
        let errors: Moments = (0..100_000)
            .map(|k| {
                let sent = 1_000_000 * (k + 1);
                let (arrival, stamp) = timing.heard(sent, || rng::stream(&[k]));
                assert_eq!(arrival, sent + 325_000);
                stamp as f64 - sent as f64
            })
            .collect();
        assert!((errors.mean() - 5_000.0).abs() < 4.0 * errors.mean_error());
        // Rounding to whole ns adds 1/12 ns² to the variance, below 1e-5 of it.
        assert!((errors.sd() - 150.0).abs() < 4.0 * errors.sd_error());
    }

    #[test]
    fn without_jitter_the_stamp_is_exact_and_never_after_the_arrival() {
        let still = Timing {
            jitter_ns: 0.0,
            ..Timing::RADIO
        };
        assert_eq!(still.heard(7, || rng::stream(&[1])), (176_007, 7));
        let wild = Timing {
            jitter_ns: MAX_JITTER_NS,
            ..Timing::RADIO
        };
        for sent in [0, 1, u64::MAX - 1, u64::MAX] {
            for k in 0..100 {
                let (arrival, stamp) = wild.heard(sent, || rng::stream(&[k]));
                assert!(stamp <= arrival);
            }
        }
        for jitter_ns in [-1.0, f64::NAN, f64::INFINITY] {
            assert!(Timing { jitter_ns, ..still }.check().is_err());
        }
        assert!(wild.check().is_ok());
    }
}
