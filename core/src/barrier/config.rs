//! What a user decides about a barrier, checked once.

use crate::onset::{math, Band, GUARD_PERMILLE, HALF_PERMILLE};
use crate::time::{FineInstant, Instant, TickRate};

/// How the wide zone weighs its samples.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Method {
    /// Clipped area between 10 and 90 % of the light: additions only, any symmetric profile.
    #[default]
    Area,
    /// Soft clip by the slope of a Gaussian beam, 6 to 94 %: a table and two multiplications, 4 %
    /// less scatter.
    Matched,
}

/// Why a configuration was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum BarrierError {
    /// A sampling rate outside 1 kHz to 16 MHz.
    SamplingRate,
    /// A hold below one sample or above 2^31 − 1 of them.
    Hold,
    /// A converter with fewer than 8 or more than 16 bits.
    Bits,
    /// A trip point outside 200 to 800 ‰ of the rest level.
    Trip,
    /// The matched method with a trip point other than half the rest level.
    MatchedTrip,
    /// A rest level too low to be told from darkness, or above full scale.
    RestLevel,
    /// A rest time constant below 0.1 s or above 1000 s.
    RestTime,
}

impl core::fmt::Display for BarrierError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::SamplingRate => "sampling rate is not within 1 kHz to 16 MHz",
            Self::Hold => "hold is below one sample or above 2^31 - 1 samples",
            Self::Bits => "converter width is not within 8 to 16 bits",
            Self::Trip => "trip point is not within 200 to 800 per mille of the rest level",
            Self::MatchedTrip => {
                "the matched method needs a trip point of half the rest level; use the area method"
            }
            Self::RestLevel => "rest level is not within 1/16 of full scale to full scale",
            Self::RestTime => "rest time constant is not within 0.1 s to 1000 s",
        })
    }
}

impl core::error::Error for BarrierError {}

/// The settings of a barrier; one may serve many.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BarrierConfig {
    rate: TickRate,
    sampling_hz: u32,
    pub(super) hold: u32,
    /// From counts to 24 bits.
    shift: u8,
    /// The same as a factor.
    step: u32,
    /// Full scale, counts.
    pub(super) full_counts: u16,
    pub(super) method: Method,
    trip_permille: u16,
    /// Rest level with clean optics, 24 bit; 0 where it was not stated.
    pub(super) clean: u32,
    film_permille: u16,
    /// log2 of the samples of a sixteenth of a block.
    pub(super) part_bits: u8,
    /// These samples.
    pub(super) part: u32,
    /// Share of a block in the rest level, 1/65536.
    pub(super) rest_share_65536: u32,
    /// Fewest samples a blade takes through the wide zone.
    pub(super) fewest_inside: u32,
    /// Blocks the rest level may stay unfollowed.
    pub(super) vouched_blocks: u32,
    /// Samples after which a contact is taken for a stuck one.
    pub(super) longest_contact: u64,
    /// The same of a crossing.
    pub(super) longest_crossing: u32,
}

/// One of the two zones.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Width {
    Narrow,
    Wide,
}

/// Parts of a block: means of them show flicker, their sum the rest level.
pub(super) const PARTS: u32 = 16;

impl BarrierConfig {
    /// Settings for a 12-bit converter read `sampling_hz` times a second; a level must last
    /// `hold_ns` beyond the zone to count. Trip point at half the rest level, rest time constant
    /// 10 s, clipped area; a blade takes 100 µs or more through the zone, a contact up to 60 s,
    /// and the rest level may be 5 minutes old.
    ///
    /// # Errors
    /// [`BarrierError::SamplingRate`] and [`BarrierError::Hold`].
    pub const fn new(rate: TickRate, sampling_hz: u32, hold_ns: u64) -> Result<Self, BarrierError> {
        if sampling_hz < 1_000 || sampling_hz > 16_000_000 {
            return Err(BarrierError::SamplingRate);
        }
        let Ok(sampling) = TickRate::from_hz(sampling_hz) else {
            return Err(BarrierError::SamplingRate);
        };
        let hold = sampling.ticks_from_ns(hold_ns);
        if hold == 0 || hold > i32::MAX as u64 {
            return Err(BarrierError::Hold);
        }
        // A part is the power of two of samples next below 4 ms: four or more to a mains ripple.
        let part_bits = match (sampling_hz / 250).checked_ilog2() {
            Some(bits) => bits as u8,
            None => 0,
        };
        let config = Self {
            rate,
            sampling_hz,
            hold: hold as u32,
            shift: 12,
            step: 1 << 12,
            full_counts: 0xfff,
            method: Method::Area,
            trip_permille: 500,
            clean: 0,
            film_permille: 500,
            part_bits,
            part: 1 << part_bits,
            rest_share_65536: 256,
            fewest_inside: (sampling_hz / 10_000) + 1,
            vouched_blocks: 0,
            longest_contact: 60 * sampling_hz as u64,
            longest_crossing: 60 * sampling_hz,
        };
        let config = Self {
            vouched_blocks: config.blocks_in_ms(300_000),
            ..config
        };
        config.rest_time_ms(10_000)
    }

    /// A converter of `bits`.
    ///
    /// # Errors
    /// [`BarrierError::Bits`].
    pub const fn bits(mut self, bits: u8) -> Result<Self, BarrierError> {
        if bits < 8 || bits > 16 {
            return Err(BarrierError::Bits);
        }
        self.shift = 24 - bits;
        self.step = 1 << self.shift;
        self.full_counts = (0xffff_u32 >> (16 - bits)) as u16;
        Ok(self)
    }

    /// How the wide zone weighs its samples.
    ///
    /// # Errors
    /// [`BarrierError::MatchedTrip`].
    pub const fn method(mut self, method: Method) -> Result<Self, BarrierError> {
        self.method = method;
        self.checked_trip()
    }

    /// The trip point in ‰ of the rest level, 200 to 800.
    ///
    /// # Errors
    /// [`BarrierError::Trip`] and [`BarrierError::MatchedTrip`].
    pub const fn trip_permille(mut self, trip_permille: u16) -> Result<Self, BarrierError> {
        if trip_permille < 200 || trip_permille > 800 {
            return Err(BarrierError::Trip);
        }
        self.trip_permille = trip_permille;
        self.checked_trip()
    }

    const fn checked_trip(self) -> Result<Self, BarrierError> {
        match self.method {
            Method::Matched if self.trip_permille != 500 => Err(BarrierError::MatchedTrip),
            _ => Ok(self),
        }
    }

    /// The rest level with clean optics in counts, against which film is told; the flag `film` is
    /// raised from `film_permille` of lost light on.
    ///
    /// # Errors
    /// [`BarrierError::RestLevel`].
    pub const fn clean(mut self, counts: u16, film_permille: u16) -> Result<Self, BarrierError> {
        let scaled = (counts as u32) << self.shift;
        if scaled < DARKEST || scaled >= 1 << 24 {
            return Err(BarrierError::RestLevel);
        }
        self.clean = scaled;
        self.film_permille = film_permille;
        Ok(self)
    }

    /// The time constant with which the rest level is followed, ms.
    ///
    /// # Errors
    /// [`BarrierError::RestTime`] outside 100 to 1 000 000.
    pub const fn rest_time_ms(mut self, ms: u32) -> Result<Self, BarrierError> {
        if ms < 100 || ms > 1_000_000 {
            return Err(BarrierError::RestTime);
        }
        let blocks = self.blocks_in_ms(ms);
        self.rest_share_65536 = match 65_536_u32.checked_div(blocks) {
            Some(0) => 1,
            Some(share) => share,
            None => 65_536,
        };
        Ok(self)
    }

    /// The longest contact, after which the light is taken for stuck, ms.
    #[must_use]
    pub const fn longest_contact_ms(mut self, ms: u32) -> Self {
        self.longest_contact = ms as u64 * self.sampling_hz as u64 / 1_000;
        self.longest_crossing = if self.longest_contact < u32::MAX as u64 {
            self.longest_contact as u32
        } else {
            u32::MAX - 1
        };
        self
    }

    /// The shortest time in which a blade can take the light from one end of the wide zone to the
    /// other, ns: faster light is no blade (`dark`).
    #[must_use]
    pub const fn fastest_blade_ns(mut self, ns: u32) -> Self {
        self.fewest_inside = (ns as u64 * self.sampling_hz as u64 / 1_000_000_000) as u32;
        self
    }

    /// How long the rest level may stay unfollowed before touches are flagged `not_settled`, ms.
    #[must_use]
    pub const fn vouched_ms(mut self, ms: u32) -> Self {
        self.vouched_blocks = self.blocks_in_ms(ms);
        self
    }

    pub(super) const fn blocks_in_ms(&self, ms: u32) -> u32 {
        let samples = ms as u64 * self.sampling_hz as u64 / 1_000;
        let blocks = samples >> self.part_bits as u32;
        (blocks / PARTS as u64) as u32
    }

    /// The tick rate of all instants.
    #[must_use]
    pub const fn rate(&self) -> TickRate {
        self.rate
    }

    /// Samples a second.
    #[must_use]
    pub const fn sampling_hz(&self) -> u32 {
        self.sampling_hz
    }

    /// A light count in 24 bits; counts beyond full scale are beyond 24 bits as well.
    #[inline]
    pub(super) fn scaled(&self, counts: u16) -> u32 {
        u32::from(counts) * self.step
    }

    /// Places from counts to 16 bits.
    pub(super) fn up_to_16(&self) -> u32 {
        u32::from(self.shift) - 8
    }

    /// The least count whose light is at least `level` (24 bit).
    pub(super) fn counts_from(&self, level: u32) -> u32 {
        (level + (self.step - 1)) >> self.shift
    }

    /// The greatest count whose light is at most `level` (24 bit).
    pub(super) fn counts_to(&self, level: u32) -> u32 {
        level >> self.shift
    }

    /// A level (24 bit) in 1/256 count.
    pub(super) fn counts_256(&self, level: u32) -> u32 {
        level >> self.shift.saturating_sub(8)
    }

    /// One count, 24 bit.
    pub(super) fn step(&self) -> u32 {
        self.step
    }

    /// A 24-bit level in counts, rounded.
    pub(super) fn counts(&self, level: u32) -> u16 {
        ((level + (self.step() >> 1)) >> self.shift) as u16
    }

    /// The trip point at this rest level, 24 bit.
    pub(super) fn trip(&self, rest: u32) -> u32 {
        permille(rest, u32::from(self.trip_permille))
    }

    /// The wide and the narrow zone at this rest level.
    pub(super) fn bands(&self, rest: u32) -> (Band, Band) {
        let trip = self.trip(rest);
        // The nearer end of the light, dark or rest.
        let margin = trip.min(rest - trip.min(rest));
        let narrow = Band::round(trip, margin / 8, margin / 4);
        let wide = match self.method {
            Method::Area => Band::round(trip, permille(margin, 800), permille(margin, 900)),
            Method::Matched => Band::round(
                trip,
                permille(rest, HALF_PERMILLE),
                permille(rest, GUARD_PERMILLE),
            ),
        };
        (wide, narrow)
    }

    /// What a blade that takes `inside` samples through a zone has taken from the trip point on its
    /// way there, while the rest level still followed the light: the integral of the tail of
    /// a Gaussian beam up to the gate, 0.00054 of its standard width (φ(z) − z·Q(z) at z = 2.9), a
    /// share of a block for each block.
    pub(super) fn drag(&self, trip: u32, inside: u32, zone: Width) -> u32 {
        // 0.00054 · 2^20 over the standard widths of the zone.
        let tail = match (zone, self.method) {
            (Width::Narrow, _) => 1_807,           // 0.3133
            (Width::Wide, Method::Area) => 221,    // 2.563
            (Width::Wide, Method::Matched) => 182, // 3.110
        };
        let blocks_36 = (u64::from(inside) * tail * u64::from(self.rest_share_65536))
            >> (u32::from(self.part_bits) + PARTS.ilog2());
        // Never more than the gate lets through.
        let share_36 = blocks_36.min(1 << (36 - 9));
        ((u64::from(trip) * share_36) >> 36) as u32
    }

    /// 2^48 / rest level: what the soft clip needs of it.
    pub(super) fn reciprocal(rest: u32) -> u32 {
        let rest = u64::from(rest);
        let exact = ((1_u64 << 48) + rest / 2).checked_div(rest);
        // A rest level below the darkest gives no weight at all.
        exact.map_or(0, |x| u32::try_from(x).unwrap_or(0))
    }

    /// Loss of rest light in ‰, where the clean level was stated.
    pub(super) fn film(&self, rest: u32) -> Option<u16> {
        if self.clean == 0 {
            return None;
        }
        let kept = math::quotient(u64::from(rest.min(self.clean)) * 1_000, self.clean);
        Some(1_000 - kept as u16)
    }

    pub(super) fn is_filmed(&self, rest: u32) -> bool {
        self.film(rest)
            .is_some_and(|lost| lost >= self.film_permille)
    }

    /// The instant `samples_65536` after the first sample at `start`.
    pub(super) fn instant(&self, start: Instant, samples_65536: u64) -> FineInstant {
        let (hz, ticks_hz) = (self.sampling_hz, u64::from(self.rate.hz()));
        let (whole, part) = (samples_65536 >> 16, samples_65536 & 0xffff);
        let rest = |x: u64, quotient: u64| x - quotient * u64::from(hz);
        let seconds = math::quotient(whole, hz);
        // rest < 2^24, ticks < 2^32.
        let fine = rest(whole, seconds) * ticks_hz;
        let ticks = math::quotient(fine, hz);
        let parts = math::quotient((rest(fine, ticks) << 16) + part * ticks_hz, hz) >> 8;
        let at = start
            .ticks()
            .saturating_add(seconds.saturating_mul(ticks_hz))
            .saturating_add(ticks);
        // At least 1 kHz of samples: below 2^31.
        FineInstant::new(Instant::from_ticks(at), parts as i32)
    }
}

/// A rest level of less, 1/16 of full scale, cannot be told from darkness.
pub(super) const DARKEST: u32 = 1 << 20;

/// `x` (24 bit) in parts of a thousand, rounded.
fn permille(x: u32, share: u32) -> u32 {
    ((u64::from(x) * u64::from(share) + 500) / 1_000) as u32
}
