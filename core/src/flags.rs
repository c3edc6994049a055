//! What was unusual about a touch, in words that do not change.

use crate::bits::bit_set;

/// A set of remarks on a touch, a release or an edge.
///
/// Each has a fixed bit and a fixed lower-case word; new ones are only appended.
#[derive(Clone, Copy, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Flags(u32);

const WORDS: [(Flags, &str); 20] = [
    (Flags::UPPER, "upper"),
    (Flags::SHORT_HOLD, "short_hold"),
    (Flags::ROUGH, "rough"),
    (Flags::SHALLOW, "shallow"),
    (Flags::HYBRID, "hybrid"),
    (Flags::OVERCAPTURE, "overcapture"),
    (Flags::LOST_EDGE, "lost_edge"),
    (Flags::TIME_BACK, "time_back"),
    (Flags::UNKNOWN_LEVEL, "unknown_level"),
    (Flags::INTERRUPTED, "interrupted"),
    (Flags::FLUTTER, "flutter"),
    (Flags::FILM, "film"),
    (Flags::DARK, "dark"),
    (Flags::SATURATED, "saturated"),
    (Flags::FLICKER, "flicker"),
    (Flags::STUCK, "stuck"),
    (Flags::NOT_SETTLED, "not_settled"),
    (Flags::GAP, "gap"),
    (Flags::VIBRATION, "vibration"),
    (Flags::SAME_SPOT, "same_spot"),
];

impl Flags {
    /// Nothing to remark.
    pub const NONE: Self = Self(0);
    /// `upper`: the stated doubt is an upper bound, not an estimate.
    pub const UPPER: Self = Self(1);
    /// `short_hold`: the hold is short against the chatter (below 25 mean dwells).
    pub const SHORT_HOLD: Self = Self(1 << 1);
    /// `rough`: the chatter is far too wide for its number of edges.
    pub const ROUGH: Self = Self(1 << 2);
    /// `shallow`: the release did not start from deep contact, its doubt is not known.
    pub const SHALLOW: Self = Self(1 << 3);
    /// `hybrid`: balance point and causal estimate disagreed; the causal one was used.
    pub const HYBRID: Self = Self(1 << 4);
    /// `overcapture`: the hardware overwrote a stamp before it was read.
    pub const OVERCAPTURE: Self = Self(1 << 5);
    /// `lost_edge`: two edges to the same level in a row, so at least one is missing.
    pub const LOST_EDGE: Self = Self(1 << 6);
    /// `time_back`: a stamp before its predecessor, or one whose high bits are in doubt.
    pub const TIME_BACK: Self = Self(1 << 7);
    /// `unknown_level`: the level could not be read for a while.
    pub const UNKNOWN_LEVEL: Self = Self(1 << 8);
    /// `interrupted`: the contact of a turning cutter, hits merged into one touch.
    pub const INTERRUPTED: Self = Self(1 << 9);
    /// `flutter`: contact that broke up several times before it held.
    pub const FLUTTER: Self = Self(1 << 10);
    /// `film`: dirt has taken a large part of the light.
    pub const FILM: Self = Self(1 << 11);
    /// `dark`: too little light, or light that went faster than any blade could take it.
    pub const DARK: Self = Self(1 << 12);
    /// `saturated`: more light than the converter can show.
    pub const SATURATED: Self = Self(1 << 13);
    /// `flicker`: foreign light changes with the mains or a lamp.
    pub const FLICKER: Self = Self(1 << 14);
    /// `stuck`: the light has not changed for too long.
    pub const STUCK: Self = Self(1 << 15);
    /// `not_settled`: the rest level was not known well enough.
    pub const NOT_SETTLED: Self = Self(1 << 16);
    /// `gap`: samples are missing.
    pub const GAP: Self = Self(1 << 17);

    /// `vibration`: the blade itself swings: chatter far too wide, and rich in edges.
    pub const VIBRATION: Self = Self(1 << 18);
    /// `same_spot`: touches that agree, but on one spot: a chip lying there would agree as well.
    pub const SAME_SPOT: Self = Self(1 << 19);

    /// All that optics can have wrong.
    pub const OPTICS: Self = Self::FILM
        .union(Self::DARK)
        .union(Self::SATURATED)
        .union(Self::FLICKER)
        .union(Self::STUCK)
        .union(Self::NOT_SETTLED)
        .union(Self::GAP);

    /// All that can be wrong with an edge itself.
    pub const FAULTS: Self = Self::OVERCAPTURE
        .union(Self::LOST_EDGE)
        .union(Self::TIME_BACK)
        .union(Self::UNKNOWN_LEVEL);

    /// The set of those bits that stand for a word.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits & ((1 << WORDS.len()) - 1))
    }

    /// These of a touch together with what its release adds: `shallow`, and what was wrong with its
    /// edges. How the release's own doubt came about is not among them.
    #[must_use]
    pub const fn with_release(self, release: Self) -> Self {
        self.union(release.only(Self::FAULTS.union(Self::SHALLOW)))
    }

    /// What is set here and in `other`.
    #[must_use]
    pub const fn only(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// What is set here and not in `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// The words of what is set, in their fixed order.
    pub fn words(self) -> impl Iterator<Item = &'static str> {
        WORDS
            .iter()
            .filter(move |(flag, _)| self.contains(*flag))
            .map(|(_, word)| *word)
    }

    /// The flag of a word, as [`words`](Self::words) writes it.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        WORDS
            .iter()
            .find(|(_, known)| *known == word)
            .map(|(flag, _)| *flag)
    }
}

bit_set!(Flags);

impl core::fmt::Debug for Flags {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        core::fmt::Display::fmt(self, f)
    }
}

/// The words, joined by `|`; empty for none.
impl core::fmt::Display for Flags {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        for (i, word) in self.words().enumerate() {
            if i > 0 {
                f.write_str("|")?;
            }
            f.write_str(word)?;
        }
        Ok(())
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Flags {
    fn format(&self, f: defmt::Formatter<'_>) {
        for (i, word) in self.words().enumerate() {
            if i > 0 {
                defmt::write!(f, "|");
            }
            defmt::write!(f, "{=str}", word);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn every_word_finds_its_flag_and_no_two_share_a_bit() {
        let mut all = Flags::NONE;
        for (flag, word) in WORDS {
            assert_eq!(Flags::from_word(word), Some(flag));
            assert_eq!(flag.to_string(), word);
            assert!(!all.contains(flag), "{word} shares a bit");
            all.insert(flag);
        }
        assert_eq!(Flags::from_bits(u32::MAX), all);
        assert_eq!(Flags::from_bits(all.bits()), all);
        assert_eq!(all.words().count(), WORDS.len());
        assert_eq!(Flags::from_word("fine"), None);
    }

    #[test]
    fn words_are_joined_in_their_fixed_order() {
        let flags = Flags::TIME_BACK.union(Flags::UPPER);
        assert_eq!(flags.to_string(), "upper|time_back");
        assert_eq!(Flags::NONE.to_string(), "");
    }
}
