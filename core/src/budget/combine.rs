//! Terms in, one uncertainty out.

use super::{k_milli, Class, Dof, Term};

/// What a budget comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Combined {
    /// Combined standard uncertainty, pm, rounded up and never 0.
    pub u_pm: u32,
    /// Effective degrees of freedom, cut to a whole number; [`Dof::Known`] where no term has a
    /// finite number.
    pub dof: Dof,
    /// Coverage factor for 95 %, in thousandths.
    pub k_milli: u16,
}

impl Combined {
    /// Expanded uncertainty for 95 %, pm, rounded up.
    #[must_use]
    pub const fn expanded_pm(&self) -> u64 {
        (self.u_pm as u64 * self.k_milli as u64).div_ceil(1_000)
    }
}

/// A group, or a term on its own.
struct Group {
    square: u64,
    dof: Dof,
}

/// Combines the terms for the mean of `touches` touches (0 counts as 1).
///
/// `None` where the result is above 4.29 mm: it has no end here.
#[must_use]
pub fn combine<const N: usize>(terms: &[Term; N], touches: u16) -> Option<Combined> {
    let mut sum = 0_u64;
    for group in groups(terms, touches) {
        sum = sum.checked_add(group?.square)?;
    }
    let root = sum.isqrt();
    let u_pm = u32::try_from(root + u64::from(root * root < sum)).ok()?;
    // Shares in 2^-31 of the variance, once everything fits into 33 bits.
    let shift = (64 - sum.leading_zeros()).saturating_sub(33);
    let whole = sum >> shift;
    let mut shared = 0_u64;
    let mut finite = false;
    for group in groups(terms, touches).flatten() {
        let Some(dof) = group.dof.finite() else {
            continue;
        };
        if group.square == 0 {
            continue;
        }
        finite = true;
        let share = ((group.square >> shift) << 31).checked_div(whole);
        let share = share.unwrap_or(0).min(1 << 31);
        shared = shared.saturating_add((share * share).checked_div(u64::from(dof)).unwrap_or(0));
    }
    let dof = if finite {
        let dof = (1_u64 << 62).checked_div(shared).unwrap_or(u64::MAX);
        Dof::N(u16::try_from(dof).unwrap_or(u16::MAX).max(1))
    } else {
        Dof::Known
    };
    Some(Combined {
        u_pm: u_pm.max(1),
        dof,
        k_milli: k_milli(dof),
    })
}

/// The groups, each with its first member; `None` for one beyond all measure.
fn groups(terms: &[Term], touches: u16) -> impl Iterator<Item = Option<Group>> + '_ {
    terms.iter().enumerate().filter_map(move |(k, term)| {
        let together = |other: &&Term| term.group != 0 && other.group == term.group;
        if terms.iter().take(k).any(|earlier| together(&earlier)) {
            return None;
        }
        let mut u = i64::from(term.u_pm);
        let (mut dof, mut touch) = (term.dof, term.class == Class::Touch);
        for other in terms.iter().skip(k + 1).filter(together) {
            u = u.saturating_add(i64::from(other.u_pm));
            dof = dof.least(other.dof);
            touch &= other.class == Class::Touch;
        }
        let size = u.unsigned_abs();
        let square = size.checked_mul(size).map(|square| {
            let share = if touch { touches.max(1) } else { 1 };
            square.div_ceil(u64::from(share))
        });
        Some(square.map(|square| Group { square, dof }))
    })
}
