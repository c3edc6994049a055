//! All walks there are.

use crate::cycle::{self, Cycle};
use crate::join::{self, Joins, Plan};
use crate::pairing::{self, Pairings};
use crate::setting::{self, Setting};
use crate::walk::{walk, Walked};
use crate::world::Edges;

/// One of them.
#[derive(Clone, Copy)]
pub(crate) enum Small {
    /// Edges, latches and lines.
    Edges(&'static Setting),
    /// Joins and the store.
    Joins(&'static Plan),
    /// A key for probe and board.
    Pairing(&'static pairing::Plan),
    /// A check for breakage.
    Cycle(&'static cycle::Plan),
}

/// Those whose name contains `part`.
pub(crate) fn named(part: &str) -> Vec<Small> {
    let joins = join::ALL.iter().map(Small::Joins);
    let edges = setting::ALL.iter().map(Small::Edges);
    let pairings = pairing::ALL.iter().map(Small::Pairing);
    let cycles = cycle::ALL.iter().map(Small::Cycle);
    cycles
        .chain(joins)
        .chain(edges)
        .chain(pairings)
        .filter(|small| small.name().contains(part))
        .collect()
}

impl Small {
    pub(crate) const fn name(&self) -> &'static str {
        match self {
            Self::Edges(setting) => setting.name,
            Self::Joins(plan) => plan.name,
            Self::Pairing(plan) => plan.name,
            Self::Cycle(plan) => plan.name,
        }
    }

    /// Walks through at most `limit` states of it.
    ///
    /// # Errors
    /// It breaks a rule of the constructor.
    pub(crate) fn walk(&self, limit: u64) -> Result<Walked, String> {
        match self {
            Self::Edges(setting) => Ok(walk(&Edges::new(setting)?, limit)),
            Self::Joins(plan) => Ok(walk(&Joins::new(plan)?, limit)),
            Self::Pairing(plan) => Ok(walk(&Pairings::new(plan)?, limit)),
            Self::Cycle(plan) => Ok(walk(&Cycle::new(plan)?, limit)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The constructor takes every setting, and no rule breaks in what is near the start.
    #[test]
    fn every_setting_can_be_walked_through() {
        for small in named("") {
            let walked = small.walk(1_000).unwrap();
            assert!(walked.states == 1_000 && !walked.closed, "{}", small.name());
            assert!(
                walked.broken.is_none(),
                "{}: {:?}",
                small.name(),
                walked.broken
            );
        }
    }

    #[test]
    fn the_smallest_closes() {
        for small in named("small standby") {
            let walked = small.walk(u64::MAX).unwrap();
            assert!(walked.closed && walked.broken.is_none(), "{walked:?}");
        }
    }
}
