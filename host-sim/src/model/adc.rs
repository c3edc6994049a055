//! The converter: light to counts.
//!
//! Light 0 gives 0 counts, light `top` gives `2^bits − 1`; in between the
//! nearest count, outside the end (saturation). Limits: no offset, no
//! non-linearity, no jitter of the sampling instant.

/// An analogue-to-digital converter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adc {
    /// Resolution, 1 to 16 bits.
    pub bits: u32,
    /// Light at full scale, in shares of full light.
    pub top: f64,
}

impl Adc {
    /// `bits` of resolution with full light at 80 % of full scale.
    #[must_use]
    pub fn new(bits: u32) -> Self {
        Self { bits, top: 1.25 }
    }

    /// Largest count; it means saturation.
    #[must_use]
    pub fn full_scale(&self) -> u16 {
        u16::try_from((1_u32 << self.bits.min(16)) - 1).unwrap_or(u16::MAX)
    }

    /// Counts per full light.
    #[must_use]
    pub fn counts_per_light(&self) -> f64 {
        f64::from(self.full_scale()) / self.top
    }

    /// Counts for `light`, in shares of full light.
    #[must_use]
    #[inline]
    pub fn counts(&self, light: f64) -> u16 {
        round(
            light * self.counts_per_light(),
            f64::from(self.full_scale()),
        )
    }
}

/// Nearest whole count within 0 to `most`; the cast rounds down.
#[inline]
pub(super) fn round(counts: f64, most: f64) -> u16 {
    // Kept below the type's end, where a cast would already be exact.
    (counts + 0.5).min(most).max(0.0) as u16
}

#[cfg(test)]
mod tests {
    use super::Adc;

    #[test]
    fn counts_round_and_saturate() {
        let adc = Adc { bits: 12, top: 1.0 };
        let light = |counts: f64| counts / 4095.0;
        for (counts, expected) in [
            (0.0, 0),
            (0.49, 0),
            (0.51, 1),
            (2047.49, 2047),
            (2047.51, 2048),
            (4094.4, 4094),
            (4094.6, 4095),
            (9000.0, 4095),
            (-3.0, 0),
        ] {
            assert_eq!(adc.counts(light(counts)), expected, "{counts}");
        }
        assert_eq!(Adc { bits: 16, top: 1.0 }.counts(2.0), 65_535);
        assert_eq!(Adc::new(12).counts(1.0), 3276);
    }

    #[test]
    fn rounding_adds_a_twelfth_of_a_squared_count() {
        let adc = Adc { bits: 12, top: 1.0 };
        let n = 100_000;
        let sum: f64 = (0..n)
            .map(|k| {
                let light = 0.2 + 0.5 * f64::from(k) / f64::from(n);
                (f64::from(adc.counts(light)) - light * 4095.0).powi(2)
            })
            .sum();
        assert!((sum / f64::from(n) * 12.0 - 1.0).abs() < 0.01);
    }
}
