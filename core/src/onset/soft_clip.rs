//! The soft clip that meets the bound for a Gaussian beam: each light level weighs by the slope
//! of the beam there.
//!
//! weight(z) = ∫ φ(Φ⁻¹(u)) du from 0.06 to z, scaled to 65 535 over 0.06 to 0.94: the matched
//! filter of a known edge shape, integrated, so that a running sum gives its crossing time at any
//! feed. Symmetric about half light; valid for a trip point of half the rest level only.

use super::math;

/// The weight of full light.
pub(crate) const FULL: u32 = 65_535;
/// Variance of the weighted sum against samples inside and light, in 1/1024: 1.1727, the reciprocal
/// of (∫φ² dz · 2·1.5548) between 6 and 94 %.
pub(super) const SCATTER_1024: u32 = 1_201;
/// Ends of the zone, in 1/1000 of the rest level either side of half light.
pub(crate) const HALF_PERMILLE: u32 = 440;
/// Guards, likewise.
pub(crate) const GUARD_PERMILLE: u32 = 475;

/// Weight at every 1/256 of the rest level.
const WEIGHTS: [u16; 257] = [
    0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 72, 190, 313, 441, 575, 714, 858, 1_007, 1_161,
    1_319, 1_483, 1_651, 1_823, 2_000, 2_182, 2_368, 2_558, 2_752, 2_950, 3_153, 3_359, 3_570,
    3_784, 4_002, 4_224, 4_449, 4_678, 4_911, 5_147, 5_387, 5_630, 5_876, 6_126, 6_378, 6_634,
    6_894, 7_156, 7_421, 7_689, 7_961, 8_235, 8_512, 8_791, 9_074, 9_359, 9_647, 9_937, 10_230,
    10_525, 10_823, 11_124, 11_426, 11_731, 12_038, 12_348, 12_660, 12_974, 13_290, 13_608, 13_928,
    14_250, 14_574, 14_900, 15_227, 15_557, 15_888, 16_221, 16_556, 16_893, 17_231, 17_571, 17_912,
    18_255, 18_599, 18_944, 19_291, 19_640, 19_989, 20_340, 20_693, 21_046, 21_401, 21_756, 22_113,
    22_471, 22_830, 23_189, 23_550, 23_912, 24_274, 24_638, 25_002, 25_367, 25_732, 26_099, 26_466,
    26_833, 27_201, 27_570, 27_939, 28_309, 28_679, 29_049, 29_420, 29_791, 30_163, 30_534, 30_906,
    31_278, 31_650, 32_023, 32_395, 32_768, 33_140, 33_512, 33_885, 34_257, 34_629, 35_001, 35_372,
    35_744, 36_115, 36_486, 36_856, 37_226, 37_596, 37_965, 38_334, 38_702, 39_069, 39_436, 39_803,
    40_168, 40_533, 40_897, 41_261, 41_623, 41_985, 42_346, 42_705, 43_064, 43_422, 43_779, 44_134,
    44_489, 44_842, 45_195, 45_546, 45_895, 46_244, 46_591, 46_936, 47_280, 47_623, 47_964, 48_304,
    48_642, 48_979, 49_314, 49_647, 49_978, 50_308, 50_635, 50_961, 51_285, 51_607, 51_927, 52_245,
    52_561, 52_875, 53_187, 53_497, 53_804, 54_109, 54_411, 54_712, 55_010, 55_305, 55_598, 55_888,
    56_176, 56_461, 56_744, 57_023, 57_300, 57_574, 57_846, 58_114, 58_379, 58_641, 58_901, 59_157,
    59_409, 59_659, 59_905, 60_148, 60_388, 60_624, 60_857, 61_086, 61_311, 61_533, 61_751, 61_965,
    62_176, 62_382, 62_585, 62_783, 62_977, 63_167, 63_353, 63_535, 63_712, 63_884, 64_052, 64_216,
    64_374, 64_528, 64_677, 64_821, 64_960, 65_094, 65_222, 65_345, 65_463, 65_535, 65_535, 65_535,
    65_535, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535,
    65_535,
];

/// Weight of `light`, `reciprocal` = 2^48 / rest level, both in 2^-24 of full scale.
#[inline]
pub(crate) fn weight(light: u32, reciprocal: u32) -> u32 {
    // Samples have 16 bits at most. In 2^-16 of a step of the table; rest levels below 2^20 are
    // refused, so it fits 28 bits.
    let place = (math::product(reciprocal, light >> 8) >> 16) as u32;
    let (at, part) = ((place >> 16) as usize, place & 0xffff);
    let low = WEIGHTS.get(at).map_or(FULL, |w| u32::from(*w));
    let high = WEIGHTS.get(at + 1).map_or(FULL, |w| u32::from(*w));
    // Rounded: a step of the sum that was always cut off would be a nanometre of the zone.
    low + (((high - low) * part + 0x8000) >> 16)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_rise_and_are_symmetric_about_half_light() {
        for pair in WEIGHTS.windows(2) {
            assert!(pair[0] <= pair[1]);
        }
        for (low, high) in WEIGHTS.iter().zip(WEIGHTS.iter().rev()) {
            let sum = u32::from(*low) + u32::from(*high);
            assert!((65_534..=65_536).contains(&sum), "{low} {high}");
        }
        assert_eq!(WEIGHTS[128], 32_768);
    }

    #[test]
    fn weight_interpolates_and_holds_beyond_full_light() {
        let reciprocal = ((1_u64 << 48) / 0x80_0000) as u32;
        assert_eq!(weight(0, reciprocal), 0);
        assert_eq!(weight(0x40_0000, reciprocal), 32_768);
        assert_eq!(weight(0x80_0000, reciprocal), FULL);
        assert_eq!(weight(0xff_ff00, reciprocal), FULL);
        let between = weight(0x40_4000, reciprocal);
        assert!(u32::from(WEIGHTS[128]) < between && between < u32::from(WEIGHTS[129]));
        assert_eq!(weight(0xff_ff00, 1 << 28), FULL);
    }
}
