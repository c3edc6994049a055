//! Sets of bits with a name each: what all of them can do.

/// Gives a set over an unsigned number its operations; with `words`, also those names, of which
/// the constant `WORDS` has one a bit, lowest first.
macro_rules! bit_set {
    ($set:ty) => {
        impl $set {
            /// Whether nothing is set.
            #[must_use]
            pub const fn is_empty(self) -> bool {
                self.0 == 0
            }

            /// The set as a number, for a wire or a file.
            #[must_use]
            pub const fn bits(self) -> u32 {
                self.0 as u32
            }

            /// Whether all of `other` is set.
            #[must_use]
            pub const fn contains(self, other: Self) -> bool {
                self.0 & other.0 == other.0
            }

            /// Both sets together.
            #[must_use]
            pub const fn union(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }

            /// Whether any of `other` is set.
            #[must_use]
            pub const fn has(self, other: Self) -> bool {
                self.0 & other.0 != 0
            }

            /// Adds `other`.
            pub fn insert(&mut self, other: Self) {
                self.0 |= other.0;
            }

            /// Adds `other` where `condition` holds.
            pub fn insert_if(&mut self, other: Self, condition: bool) {
                if condition {
                    self.insert(other);
                }
            }
        }
    };
    ($set:ty, words) => {
        $crate::bits::bit_set!($set);

        impl $set {
            /// The words of what is set, in their fixed order.
            pub fn words(self) -> impl Iterator<Item = &'static str> {
                let named = Self::WORDS.into_iter().enumerate();
                named.filter_map(move |(bit, word)| (self.0 & 1 << bit != 0).then_some(word))
            }
        }
    };
}

pub(crate) use bit_set;
