//! What a standard deviation of few values says of the true one.

/// σ/s in 1e-5 at so many degrees of freedom: √(ν/χ²) at 0.025, 0.05, 0.95 and 0.975 of the chi
/// square distribution, computed.
type Row = (u16, [u32; 4]);

const ROWS: [Row; 29] = [
    (1, [3_191_016, 1_594_724, 51_021, 44_615]),
    (2, [628_473, 441_540, 57_776, 52_066]),
    (3, [372_855, 292_001, 61_959, 56_649]),
    (4, [287_356, 237_236, 64_931, 59_913]),
    (5, [245_261, 208_926, 67_205, 62_421]),
    (6, [220_207, 191_543, 69_030, 64_439]),
    (7, [203_527, 179_715, 70_542, 66_117]),
    (8, [191_577, 171_102, 71_825, 67_546]),
    (9, [182_561, 164_520, 72_935, 68_784]),
    (10, [175_493, 159_307, 73_908, 69_872]),
    (11, [169_788, 155_064, 74_772, 70_840]),
    (12, [165_074, 151_532, 75_546, 71_709]),
    (13, [161_104, 148_541, 76_246, 72_495]),
    (14, [157_710, 145_969, 76_883, 73_213]),
    (15, [154_769, 143_731, 77_466, 73_870]),
    (16, [152_193, 141_762, 78_003, 74_477]),
    (17, [149_914, 140_014, 78_500, 75_039]),
    (18, [147_882, 138_450, 78_962, 75_561]),
    (19, [146_057, 137_041, 79_393, 76_049]),
    (20, [144_407, 135_764, 79_795, 76_506]),
    (22, [141_535, 133_533, 80_530, 77_339]),
    (25, [138_041, 130_805, 81_484, 78_426]),
    (30, [133_667, 127_368, 82_786, 79_911]),
    (40, [127_950, 122_837, 84_698, 82_101]),
    (60, [121_744, 117_868, 87_104, 84_871]),
    (100, [116_074, 113_279, 89_679, 87_854]),
    (200, [110_862, 109_019, 92_451, 91_087]),
    (500, [106_608, 105_509, 95_076, 94_168]),
    (2_000, [103_199, 102_676, 97_470, 96_995]),
];
/// What all come to without end.
const ONE: u32 = 100_000;

/// Between what factors of `s` the true deviation lies, in 1e-5; within 0.0006 of the quantiles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DeviationLimits {
    /// Two-sided 95 %: upper and lower.
    pub two_sided: (u32, u32),
    /// One-sided 95 % each: upper and lower.
    pub one_sided: (u32, u32),
}

/// Limits at so many degrees of freedom; `None` for 0.
#[must_use]
pub fn deviation_limits(dof: u32) -> Option<DeviationLimits> {
    let at = ROWS.iter().rposition(|(row, _)| u32::from(*row) <= dof)?;
    let (low, here) = ROWS.get(at)?;
    let next = ROWS.get(at + 1);
    // Linear in 1/√ν, down to 0 beyond the last row.
    let [low, dof, high] = [
        inverse_root(u32::from(*low)),
        inverse_root(dof),
        next.map_or(0, |(row, _)| inverse_root(u32::from(*row))),
    ];
    let (done, all) = (low.saturating_sub(dof), low.saturating_sub(high));
    let between = |k: usize| {
        let from = here.get(k).map_or(0, |f| u64::from(*f));
        let to = match next {
            Some((_, row)) => row.get(k).map_or(0, |f| u64::from(*f)),
            None => u64::from(ONE),
        };
        let way = (from.abs_diff(to) * done + all / 2)
            .checked_div(all)
            .unwrap_or(0);
        (if to < from { from - way } else { from + way }) as u32
    };
    Some(DeviationLimits {
        two_sided: (between(0), between(3)),
        one_sided: (between(1), between(2)),
    })
}

/// 2^30/√ν.
fn inverse_root(dof: u32) -> u64 {
    (1_u64 << 60)
        .checked_div(u64::from(dof))
        .map_or(0, u64::isqrt)
}

/// √x, rounded up.
pub(super) fn isqrt_up(x: u128) -> u128 {
    let root = x.isqrt();
    root + u128::from(root * root < x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_close_in_on_the_deviation() {
        assert_eq!(deviation_limits(0), None);
        let mut before = deviation_limits(1).unwrap();
        for dof in 2..100_000 {
            let now = deviation_limits(dof).unwrap();
            assert!(now.two_sided.0 <= before.two_sided.0 && now.two_sided.0 >= ONE);
            assert!(now.two_sided.1 >= before.two_sided.1 && now.two_sided.1 <= ONE);
            assert!(now.one_sided.0 <= now.two_sided.0 && now.one_sided.1 >= now.two_sided.1);
            before = now;
        }
        assert!(deviation_limits(u32::MAX).unwrap().two_sided.0 < 100_010);
    }
}
