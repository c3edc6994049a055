//! A zone of light levels round the trip point, and the instant a ramp crossed its middle.
//!
//! While the light falls through the zone, what each sample shows above its lower end, held to
//! the zone, is summed. A zone's worth of sum is one sample of time: the sum tells how many
//! samples the light spent above the middle, whatever the feed and however often it turned back.
//! For samples of a symmetric profile that is the instant of half light (trapezoid rule of the
//! area under a clipped ramp); the error of the rule is below 1/256 sample for ten samples in the
//! zone and more. Guards outside the zone say when the light has really left it, so that noise at
//! the edge of the zone does not end the sum early.

use super::math;
use super::soft_clip;

/// Levels of a zone, in 2^-24 of full scale, falling light.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Band {
    /// Light above it has left the zone upwards.
    pub high_guard: u32,
    /// Upper end.
    pub high: u32,
    /// Lower end.
    pub low: u32,
    /// Light below it has left the zone downwards.
    pub low_guard: u32,
}

impl Band {
    /// The zone `half` to either side of `trip`, with guards `guard` to either side.
    pub(crate) fn round(trip: u32, half: u32, guard: u32) -> Self {
        Self {
            high_guard: trip.saturating_add(guard),
            high: trip.saturating_add(half),
            low: trip.saturating_sub(half),
            low_guard: trip.saturating_sub(guard),
        }
    }

    /// The same zone for light mirrored at its middle.
    pub(crate) fn mirrored(self, twice_trip: u32) -> Self {
        let mirror = |x: u32| twice_trip.saturating_sub(x);
        Self {
            high_guard: mirror(self.low_guard),
            high: mirror(self.low),
            low: mirror(self.high),
            low_guard: mirror(self.high_guard),
        }
    }

    /// Light above the lower end, held to the zone.
    #[inline]
    pub(crate) fn plain(self, light: u32) -> u32 {
        light.min(self.high).saturating_sub(self.low)
    }

    /// Height of the zone.
    #[inline]
    pub(crate) fn height(self) -> u32 {
        self.high.wrapping_sub(self.low)
    }
}

/// How a sample in the zone is weighed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weigh {
    /// As it stands: clipped area.
    Plain,
    /// By the slope of a Gaussian beam, a soft clip; `reciprocal` is 2^48 / rest level.
    Soft { reciprocal: u32 },
}

/// What a step of a zone says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Left {
    /// Nothing yet.
    Not,
    /// Back to where it came from.
    Back,
    /// Through.
    Through,
}

/// A zone being crossed.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Zone {
    sum: u64,
    /// Samples since it opened, that one included; 0 while closed.
    samples: u32,
    /// Of these, samples between its ends.
    inside: u32,
    /// Samples beyond a guard in a row.
    beyond: u32,
    /// Whether these are beyond the lower guard.
    below: bool,
}

impl Zone {
    #[inline]
    pub(crate) fn is_open(&self) -> bool {
        self.samples > 0
    }

    pub(crate) fn close(&mut self) {
        self.samples = 0;
    }

    /// Samples since it opened, 0 while closed.
    pub(crate) fn samples(&self) -> u32 {
        self.samples
    }

    /// Samples that showed the light between the ends of the zone.
    pub(crate) fn inside(&self) -> u32 {
        self.inside
    }

    /// A sample of falling light, its weight above the lower end, of `full` at the upper end.
    #[inline]
    pub(crate) fn add(&mut self, weight: u32, full: u32) {
        self.samples = self.samples.saturating_add(1);
        self.sum += u64::from(weight);
        // Neither nothing nor all.
        self.inside += u32::from(weight.wrapping_sub(1) < full.wrapping_sub(1));
    }

    /// It lies between the guards.
    #[inline]
    pub(crate) fn stay(&mut self) {
        self.beyond = 0;
    }

    /// It lies beyond a guard; after `hold` such samples in a row the light has left the zone.
    #[inline]
    pub(crate) fn leave(&mut self, below: bool, hold: u32) -> Left {
        if self.below != below {
            self.below = below;
            self.beyond = 0;
        }
        self.beyond = self.beyond.saturating_add(1);
        if self.beyond < hold {
            Left::Not
        } else if below {
            Left::Through
        } else {
            Left::Back
        }
    }

    /// How many samples before the middle of the present one the crossing lies, in 1/65536;
    /// negative where it lies after.
    ///
    /// A step between two samples, which is all the first sample of the zone can be, is taken for
    /// half way.
    pub(crate) fn ago_65536(&self, band: Band, weigh: Weigh) -> i64 {
        let height = match weigh {
            Weigh::Plain => band.height().max(1),
            Weigh::Soft { .. } => soft_clip::FULL,
        };
        let above = math::quotient_256(self.sum.saturating_mul(256), height).min(1 << 48);
        (i64::from(self.samples) << 16) - (1 << 15) - above as i64
    }

    /// Standard uncertainty of the crossing in samples, as a fraction: noise·√samples inside, and
    /// what the trip point itself is unsure of, over the height. `noise` is that of one sample.
    /// `None` beyond what the arithmetic holds: nothing is understated.
    pub(crate) fn scatter(
        &self,
        band: Band,
        weigh: Weigh,
        rest: u32,
        noise: u32,
        trip_scatter: u32,
    ) -> Option<(u32, u32)> {
        let inside = u64::from(self.inside.max(1));
        let (own, height) = match weigh {
            Weigh::Plain => (inside << 10, band.height().max(1)),
            Weigh::Soft { .. } => (inside * u64::from(soft_clip::SCATTER_1024), rest.max(1)),
        };
        let own = (u128::from(own) * u128::from(math::square(noise))) >> 10;
        let moved = u128::from(trip_scatter) * u128::from(inside);
        let variance = u64::try_from(own + moved * moved).ok()?;
        Some((math::root_up(variance), height))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    /// Slow and noisy: beyond 64 bits on the way, or beyond what can be stated at all.
    #[test]
    fn a_long_crossing_states_its_whole_scatter_or_none() {
        let zone = Zone {
            inside: 1_000_000,
            ..Zone::default()
        };
        let band = Band::round(7 << 20, 5 << 20, 6 << 20);
        for (weigh, share) in [
            (Weigh::Plain, 1.0),
            (Weigh::Soft { reciprocal: 1 }, 1_201.0 / 1_024.0),
        ] {
            for noise in [200_u32, 20_000, 220_000] {
                let (scatter, _) = zone.scatter(band, weigh, 14 << 20, noise, 0).unwrap();
                let exact = f64::from(noise) * f64::sqrt(1e6 * share);
                let ratio = f64::from(scatter) / exact;
                assert!((1.0..1.000_2).contains(&ratio), "{noise} {ratio}");
            }
        }
        let endless = Zone {
            inside: u32::MAX,
            ..zone
        };
        let none = endless.scatter(band, Weigh::Plain, 14 << 20, 1 << 23, u32::MAX);
        assert_eq!(none, None);
    }
}
