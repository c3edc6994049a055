//! A turning cutter touches with a tooth, not with its circle: how much later.

use crate::budget::{Class, Dof, Term};
use crate::gauge::FirstHit;
use crate::latch::FASTEST_NM_S;

/// How late the first hit of a turning cutter is.
///
/// The first tooth arrives up to the feed per tooth `f_z = v/(n·z)` after the circle would have
/// touched, evenly spread where the feed is small against the radius (`f_z/R` up to 0.001): half
/// of it is taken off, `f_z/√12` is left. Unless the teeth are known to be equal, the longest may
/// come round once a turn only: then it is the feed per turn, `f_z = v/n`. Where the hits were
/// measured one by one, [`by_hits`](Self::by_hits) takes off what they say instead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Quantum {
    /// Mean way from contact of the circle to the first hit, pm.
    pub late_pm: u32,
    /// Its standard uncertainty, anew with every touch, pm.
    pub doubt_pm: u32,
    /// Of teeth that differ by a known run-out: its share, pm.
    pub run_out_pm: u32,
    /// Way on after the first hit that shows the second: two turns, nm.
    pub confirm_nm: u32,
}

/// Why there is no such thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum QuantumError {
    /// A spindle that stands, or a cutter without teeth.
    Still,
    /// A feed beyond 100 m/min, or of more than 1 mm a turn.
    Feed,
    /// Teeth that differ by more than 3.7 mm.
    RunOut,
}

impl core::fmt::Display for QuantumError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Still => {
                "the spindle stands or the cutter has no teeth: touch it as a still tool"
            }
            Self::RunOut => "the run-out is above 3.7 mm; check its unit (nm)",
            Self::Feed => "more than 1 mm a turn, or above 100 m/min: feed slower or turn faster",
        })
    }
}

impl core::error::Error for QuantumError {}

/// 1/√12 and 1/√3 in millionths, rounded up.
const ROOT_12: u64 = 288_676;
const ROOT_3: u64 = 577_351;

impl Quantum {
    /// Of a cutter whose teeth may differ by anything.
    ///
    /// # Errors
    /// [`QuantumError`].
    pub const fn any_teeth(feed_nm_s: i64, spindle_mhz: u32) -> Result<Self, QuantumError> {
        Self::known_teeth(feed_nm_s, spindle_mhz, 1, 0)
    }

    /// Of a cutter with so many teeth whose heights lie within ± `run_out_nm`; 0 for equal ones.
    ///
    /// # Errors
    /// [`QuantumError`].
    pub const fn known_teeth(
        feed_nm_s: i64,
        spindle_mhz: u32,
        teeth: u8,
        run_out_nm: u32,
    ) -> Result<Self, QuantumError> {
        let feed = feed_nm_s.unsigned_abs();
        if feed > FASTEST_NM_S.unsigned_abs() {
            return Err(QuantumError::Feed);
        }
        // nm/s over milli-turns a second: pm.
        let Some(turn_pm) = (feed * 1_000_000).checked_div(spindle_mhz as u64) else {
            return Err(QuantumError::Still);
        };
        if turn_pm > 1_000_000_000 {
            return Err(QuantumError::Feed);
        }
        let Some(tooth_pm) = turn_pm.checked_div(teeth as u64) else {
            return Err(QuantumError::Still);
        };
        let run_out = (run_out_nm as u64 * ROOT_3).div_ceil(1_000);
        if run_out >= i32::MAX as u64 {
            return Err(QuantumError::RunOut);
        }
        Ok(Self {
            late_pm: tooth_pm.div_ceil(2) as u32,
            doubt_pm: (tooth_pm * ROOT_12).div_ceil(1_000_000) as u32,
            run_out_pm: run_out as u32,
            confirm_nm: (2 * turn_pm).div_ceil(1_000) as u32,
        })
    }

    /// The same by what the hits themselves said of the first one: no matter how the teeth differ.
    #[must_use]
    pub const fn by_hits(self, first: FirstHit) -> Self {
        Self {
            late_pm: first.late_pm,
            doubt_pm: clip(first.doubt_pm as u64),
            run_out_pm: 0,
            confirm_nm: self.confirm_nm,
        }
    }

    /// What it adds to a budget: the share anew with every touch, and the run-out in `group`.
    #[must_use]
    pub const fn terms(&self, group: u8) -> [Term; 2] {
        [
            Term {
                u_pm: self.doubt_pm as i32,
                dof: Dof::Known,
                group: 0,
                class: Class::Touch,
            },
            Term {
                u_pm: self.run_out_pm as i32,
                dof: Dof::Known,
                group,
                class: Class::Setup,
            },
        ]
    }

    /// The position where the circle would have touched, nm, from that of the first hit.
    #[must_use]
    pub const fn corrected(&self, side: super::Side, at_nm: i64) -> i64 {
        let late_nm = (self.late_pm as i64 + 500) / 1_000;
        match side {
            super::Side::Growing => at_nm.saturating_sub(late_nm),
            super::Side::Falling => at_nm.saturating_add(late_nm),
        }
    }
}

const fn clip(pm: u64) -> u32 {
    if pm > i32::MAX as u64 {
        i32::MAX as u32
    } else {
        pm as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gauge::Side;

    /// 3000 turns a minute are 50 a second; 60 mm/min are 20 µm a turn, 5 µm a tooth of four.
    #[test]
    fn a_quantum_is_the_feed_per_tooth_or_per_turn() {
        let any = Quantum::any_teeth(-1_000_000, 50_000).unwrap();
        assert_eq!((any.late_pm, any.doubt_pm), (10_000_000, 5_773_520));
        assert_eq!(any.confirm_nm, 40_000);
        let equal = Quantum::known_teeth(1_000_000, 50_000, 4, 0).unwrap();
        assert_eq!((equal.late_pm, equal.doubt_pm), (2_500_000, 1_443_380));
        assert_eq!(equal.corrected(Side::Growing, 100_000), 97_500);
        assert_eq!(equal.corrected(Side::Falling, 100_000), 102_500);
        let uneven = Quantum::known_teeth(1_000_000, 50_000, 4, 3_000).unwrap();
        assert_eq!(uneven.run_out_pm, 1_732_053);
        let first = FirstHit {
            late_pm: 700_000,
            doubt_pm: 20_000,
        };
        let told = uneven.by_hits(first);
        assert_eq!(told.corrected(Side::Growing, 100_000), 99_300);
        assert_eq!(told.terms(9)[1].u_pm, 0);
        assert_eq!(told.confirm_nm, uneven.confirm_nm);
        let [touch, setup] = uneven.terms(9);
        assert_eq!((touch.u_pm, touch.class), (1_443_380, Class::Touch));
        assert_eq!((setup.u_pm, setup.group), (1_732_053, 9));
    }

    #[test]
    fn what_does_not_turn_has_none() {
        let still = QuantumError::Still;
        assert_eq!(Quantum::any_teeth(1, 0).unwrap_err(), still);
        assert_eq!(Quantum::known_teeth(1, 50_000, 0, 0).unwrap_err(), still);
        let fast = QuantumError::Feed;
        assert_eq!(Quantum::any_teeth(i64::MIN, 50_000).unwrap_err(), fast);
        // 1 mm a turn, and a little more.
        assert!(Quantum::any_teeth(50_000_000, 50_000).is_ok());
        assert_eq!(Quantum::any_teeth(50_000_100, 50_000).unwrap_err(), fast);
    }
}
