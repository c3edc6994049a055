//! Why a tool is broken or unproven.

use crate::bits::bit_set;

/// Reasons, as bits; the lowest is the one to be told first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Reasons(u16);

impl Reasons {
    /// None.
    pub const NONE: Self = Self(0);
    /// `flag`: probe, link or latch remarked what forbids a verdict, or the axis did not go the
    /// planned way.
    pub const FLAG: Self = Self(1);
    /// `link`: READY fell, or no sign of life came after a release.
    pub const LINK: Self = Self(1 << 1);
    /// `doubt`: a doubt is missing, or the touch's own guard is wider than the window leaves.
    pub const DOUBT: Self = Self(1 << 2);
    /// `stuck`: blocked where it should be free, an edge too many, or no release where it was made.
    pub const STUCK: Self = Self(1 << 3);
    /// `held`: blocked for less than a hold.
    pub const HELD: Self = Self(1 << 4);
    /// `disagree`: the touches do not agree within their doubt.
    pub const DISAGREE: Self = Self(1 << 5);
    /// `early`: the tool is too long: a chip, a built-up edge, another tool.
    pub const EARLY: Self = Self(1 << 6);
    /// `grey`: too short to be whole, not short enough to be broken.
    pub const GREY: Self = Self(1 << 7);
    /// `silent`: no contact, and nothing that proves it.
    pub const SILENT: Self = Self(1 << 8);
    /// `short`: provably short.
    pub const SHORT: Self = Self(1 << 9);
    /// `absent`: the end of the travel without a touch, by a probe proven alive.
    pub const ABSENT: Self = Self(1 << 10);
    /// `late`: a step did not come in its time.
    pub const LATE: Self = Self(1 << 11);

    /// What may be gone the next time: a droplet or a pulse, a chip that is cleaned off or lies on
    /// another spot, air that was poor for a moment.
    const PASSING: Self =
        Self(Self::LINK.0 | Self::STUCK.0 | Self::HELD.0 | Self::DISAGREE.0 | Self::EARLY.0);

    const WORDS: [&'static str; 12] = [
        "flag", "link", "doubt", "stuck", "held", "disagree", "early", "grey", "silent", "short",
        "absent", "late",
    ];

    /// Whether nothing but what may pass is among them.
    pub(super) const fn may_pass(self) -> bool {
        self.0 & !Self::PASSING.0 == 0
    }

    /// The first word, if any.
    #[must_use]
    pub fn first(self) -> Option<&'static str> {
        self.words().next()
    }
}

bit_set!(Reasons, words);
