//! The latch: stop stays stop until a person arms the line again.

use super::Causes;
use crate::edge::Level;
use crate::time::Instant;

/// Why a rise of the re-arm wire did nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum RearmRefused {
    /// Too soon after the rise before, granted or not.
    Locked,
    /// Nothing is latched.
    NothingLatched,
    /// The link does not live, or a wired probe is not judged sound.
    NotLive,
    /// Contact was not seen open for long enough since the latch.
    NotOpen,
    /// An edge is on its way, or known to be missing.
    EdgePending,
    /// What caused the latch goes on.
    CausePersists,
}

impl core::fmt::Display for RearmRefused {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Locked => "too soon after the last try",
            Self::NothingLatched => "nothing is latched",
            Self::NotLive => "no live link",
            Self::NotOpen => "contact was not open for long enough",
            Self::EdgePending => "an edge is still on its way",
            Self::CausePersists => "the cause goes on",
        })
    }
}

/// What a rise of the re-arm wire came to.
pub type Rearmed = Result<(), RearmRefused>;

/// What stands in the way of a re-arm at present, besides the latch's own rules.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Obstacles {
    pub(crate) live: bool,
    pub(crate) edge_pending: bool,
    pub(crate) cause_persists: bool,
}

/// Causes, the re-arm wire and how often contact was seen open since the last cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Latch {
    causes: Causes,
    /// The re-arm wire was low when it was seen last. Not at power-up, so that a stuck wire never
    /// arms, and not after it could not be read, so that only a rise that was seen does.
    low: bool,
    /// No rise counts before this.
    locked_until: Instant,
    /// Observations of open contact in a row since the last cause.
    open: u8,
}

impl Latch {
    pub(crate) const fn new() -> Self {
        Self {
            causes: Causes::NONE,
            low: false,
            locked_until: Instant::from_ticks(0),
            open: 0,
        }
    }

    pub(crate) const fn causes(&self) -> Causes {
        self.causes
    }

    /// One more cause.
    pub(crate) fn set(&mut self, cause: Causes) {
        self.causes.insert(cause);
        self.open = 0;
    }

    /// Contact as the newest word has it.
    pub(crate) fn observe(&mut self, open: bool) {
        self.open = if open { self.open.saturating_add(1) } else { 0 };
    }

    /// The wire's level; what came of it, if it rose. One that cannot be read is a fault.
    pub(crate) fn wire(
        &mut self,
        level: Level,
        now: Instant,
        lock: u64,
        open_needed: u8,
        obstacles: Obstacles,
    ) -> Option<Rearmed> {
        if level == Level::Unknown {
            self.set(Causes::FAULT);
        }
        let rose = level == Level::High && self.low;
        self.low = level == Level::Low;
        if !rose {
            return None;
        }
        let locked = now < self.locked_until;
        self.locked_until = now.later(lock);
        let refused = if locked {
            RearmRefused::Locked
        } else if self.causes.is_empty() {
            RearmRefused::NothingLatched
        } else if !obstacles.live {
            RearmRefused::NotLive
        } else if self.open < open_needed {
            RearmRefused::NotOpen
        } else if obstacles.edge_pending {
            RearmRefused::EdgePending
        } else if obstacles.cause_persists {
            RearmRefused::CausePersists
        } else {
            self.causes = Causes::NONE;
            return Some(Ok(()));
        };
        Some(Err(refused))
    }

    /// On a zero `ticks` later, without what no longer tells.
    #[cfg(feature = "walk")]
    pub(crate) fn moved(mut self, ticks: u64, now: Instant, open_needed: u8) -> Self {
        self.locked_until = self.locked_until.max(now).earlier(ticks);
        self.open = self.open.min(open_needed);
        self
    }
}
