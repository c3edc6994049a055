//! Budget: how sure a length is, out of what is known of each contribution.
//!
//! ```text
//! Term { u, dof, group, class } … ─▶ combine(touches) ─▶ u_c, ν_eff, k ─▶ U95 = k·u_c
//!                                                                      └▶ guard = bounds + factor(ν)·u_c
//! ```
//!
//! The law of propagation of the Guide to the expression of uncertainty in measurement (GUM,
//! JCGM 100:2008, 5.1.2 and 5.2.2), its effective degrees of freedom after Welch and Satterthwaite
//! (G.4.1), and the factor `k` of the t distribution, in integers:
//!
//! * members of one **group** move together and add up with their signs, groups in quadrature;
//! * of the **class** `touch`, the mean of `n` touches has a share of `1/n` of the variance, of
//!   `cycle` and `setup` the whole: more touches do not help;
//! * **dof** says how well an uncertainty is known itself; a group has the smallest of its members.
//!
//! For the difference of two positions, the terms they share are left out, or given once with the
//! difference of both: subtract first, then combine.
//!
//! Repeatability (the terms of class `touch` alone) is not uncertainty.

mod combine;
mod factors;
#[cfg(test)]
mod tests;

pub use combine::{combine, Combined};
pub use factors::{guard_milli, k_milli};

/// How well an uncertainty is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Dof {
    /// As good as exactly.
    Known,
    /// From an estimate with so many degrees of freedom; 0 counts as 1.
    N(u16),
}

impl Dof {
    /// The number, if it is finite.
    pub(crate) const fn finite(self) -> Option<u16> {
        match self {
            Self::Known => None,
            Self::N(0) => Some(1),
            Self::N(n) => Some(n),
        }
    }

    /// That which is known less well.
    pub(crate) const fn least(self, other: Self) -> Self {
        match (self.finite(), other.finite()) {
            (Some(a), Some(b)) if a > b => Self::N(b),
            (Some(a), _) => Self::N(a),
            (None, _) => other,
        }
    }
}

/// From touch to touch, from cycle to cycle, or from one setup to the next: when a contribution
/// is drawn anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Class {
    /// With every touch.
    Touch,
    /// With every cycle.
    Cycle,
    /// With every setup.
    Setup,
}

/// One contribution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Term {
    /// Standard uncertainty in the result, pm; its sign is that within its group.
    pub u_pm: i32,
    /// How well it is known.
    pub dof: Dof,
    /// What moves with it: all terms of one number above 0. 0 stands alone.
    pub group: u8,
    /// When it is drawn anew. A group is of class `touch` only if all its members are.
    pub class: Class,
}
