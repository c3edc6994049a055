//! From the bytes of a name to its number, fast for the short names that logs have.
//!
//! A name of up to [`SHORT`] bytes is its own key in one machine word, found by one multiplication. Its
//! multiplier is drawn afresh in every process, so that no log can be made to collide on purpose; results do
//! not depend on it.

use std::collections::HashMap;
use std::hash::{BuildHasher, RandomState};

/// Longest name, in bytes, that is looked up by its word.
pub(super) const SHORT: usize = 7;

/// Marks a free place; no name is empty, so no key is zero.
const FREE: u64 = 0;

/// Names and their numbers.
#[derive(Debug)]
pub(super) struct Lookup {
    multiplier: u64,
    shift: u32,
    slots: Vec<(u64, u32)>,
    taken: usize,
    long: HashMap<Box<[u8]>, u32>,
}

impl Lookup {
    pub(super) fn new() -> Self {
        const START: usize = 64;
        Self {
            multiplier: RandomState::new().hash_one(0) | 1,
            shift: u64::BITS - START.trailing_zeros(),
            slots: vec![(FREE, 0); START],
            taken: 0,
            long: HashMap::new(),
        }
    }

    /// The word of a short name: its bytes, the first one lowest, zeros above.
    pub(super) fn word(name: &[u8]) -> Option<u64> {
        if name.is_empty() || name.len() > SHORT {
            return None;
        }
        Some(name.iter().rev().fold(0, |word, &byte| word << 8 | u64::from(byte)))
    }

    /// The number of a short name given by its word.
    #[inline]
    pub(super) fn find_word(&self, word: u64) -> Option<u32> {
        let mut at = (word.wrapping_mul(self.multiplier) >> self.shift) as usize;
        loop {
            // At most half of the slots are taken, so the walk ends.
            let &(key, number) = self.slots.get(at)?;
            if key == word && key != FREE {
                return Some(number);
            }
            if key == FREE {
                return None;
            }
            at = (at + 1) & (self.slots.len() - 1);
        }
    }

    /// The number of a name.
    pub(super) fn find(&self, name: &[u8]) -> Option<u32> {
        match Self::word(name) {
            Some(word) => self.find_word(word),
            None => self.long.get(name).copied(),
        }
    }

    /// Adds a name that is not in yet.
    pub(super) fn insert(&mut self, name: &[u8], number: u32) {
        match Self::word(name) {
            Some(word) => {
                if (self.taken + 1) * 2 > self.slots.len() {
                    self.grow();
                }
                self.place(word, number);
                self.taken += 1;
            }
            None => {
                self.long.insert(name.into(), number);
            }
        }
    }

    fn grow(&mut self) {
        let doubled = vec![(FREE, 0); self.slots.len() * 2];
        let old = std::mem::replace(&mut self.slots, doubled);
        self.shift -= 1;
        for (key, number) in old.into_iter().filter(|&(key, _)| key != FREE) {
            self.place(key, number);
        }
    }

    fn place(&mut self, word: u64, number: u32) {
        let mut at = (word.wrapping_mul(self.multiplier) >> self.shift) as usize;
        while self.slots[at].0 != FREE {
            at = (at + 1) & (self.slots.len() - 1);
        }
        self.slots[at] = (word, number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn thousands_of_names_are_told_apart() {
        let mut lookup = Lookup::new();
        let names: Vec<String> = (0..10_000_u32).map(|n| format!("{n}")).collect();
        for (number, name) in names.iter().enumerate() {
            assert_eq!(lookup.find(name.as_bytes()), None);
            lookup.insert(name.as_bytes(), number as u32);
        }
        for (number, name) in names.iter().enumerate() {
            assert_eq!(lookup.find(name.as_bytes()), Some(number as u32));
        }
    }

    proptest! {
        #[test]
        fn agrees_with_a_map(names in proptest::collection::vec(proptest::collection::vec(1_u8.., 1..12), 1..200)) {
            let mut lookup = Lookup::new();
            let mut map = HashMap::new();
            for (number, name) in names.iter().enumerate() {
                if !map.contains_key(name) {
                    map.insert(name.clone(), number as u32);
                    lookup.insert(name, number as u32);
                }
            }
            for name in &names {
                prop_assert_eq!(lookup.find(name), map.get(name).copied());
            }
        }
    }
}
