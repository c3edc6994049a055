//! From the bytes of a name to its number, fast for the short names that logs have.
//!
//! A name of up to [`SHORT`] bytes is its own key of one machine word, found by one multiplication. Its
//! multiplier is drawn afresh in every process, so that no log can be made to collide on purpose; results do
//! not depend on it.

use std::collections::HashMap;
use std::hash::{BuildHasher, RandomState};

/// Longest name, in bytes, that has a key.
pub(crate) const SHORT: usize = 7;

/// Marks a free place; no name is empty, and a key holds the length, so none is zero.
const FREE: u64 = 0;

/// Names and their numbers.
#[derive(Debug)]
pub(crate) struct Lookup {
    multiplier: u64,
    shift: u32,
    slots: Vec<(u64, u32)>,
    taken: usize,
    long: HashMap<Box<[u8]>, u32>,
}

impl Lookup {
    pub(super) fn new() -> Self {
        const START: usize = 256;
        Self {
            multiplier: RandomState::new().hash_one(0) | 1,
            shift: u64::BITS - START.trailing_zeros(),
            slots: vec![(FREE, 0); START],
            taken: 0,
            long: HashMap::new(),
        }
    }

    /// The key of a short name: its bytes, the first one lowest, and its length on top, without which a zero byte
    /// would be no byte.
    pub(crate) fn key(name: &[u8]) -> Option<u64> {
        if name.is_empty() || name.len() > SHORT {
            return None;
        }
        let bytes = name
            .iter()
            .rev()
            .fold(0, |word, &byte| word << 8 | u64::from(byte));
        Some(bytes | (name.len() as u64) << 56)
    }

    /// The number of a short name given by its key.
    #[inline]
    pub(crate) fn find_key(&self, key: u64) -> Option<u32> {
        let at = (key.wrapping_mul(self.multiplier) >> self.shift) as usize;
        match self.slots.get(at) {
            Some(&(taken, number)) if taken == key && key != FREE => Some(number),
            _ => self.walk(key, at),
        }
    }

    /// Looks at one slot after another, from `at` on.
    #[cold]
    #[inline(never)]
    fn walk(&self, key: u64, mut at: usize) -> Option<u32> {
        loop {
            // At most half of the slots are taken, so the walk ends.
            let &(taken, number) = self.slots.get(at)?;
            if taken == FREE {
                return None;
            }
            if taken == key {
                return Some(number);
            }
            at = (at + 1) & (self.slots.len() - 1);
        }
    }

    /// The number of a name.
    pub(crate) fn find(&self, name: &[u8]) -> Option<u32> {
        match Self::key(name) {
            Some(key) => self.find_key(key),
            None => self.long.get(name).copied(),
        }
    }

    /// Adds a name that is not in yet.
    pub(super) fn insert(&mut self, name: &[u8], number: u32) {
        match Self::key(name) {
            Some(key) => {
                if (self.taken + 1) * 2 > self.slots.len() {
                    self.grow();
                }
                self.place(key, number);
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

    fn place(&mut self, key: u64, number: u32) {
        let mut at = (key.wrapping_mul(self.multiplier) >> self.shift) as usize;
        while self.slots[at].0 != FREE {
            at = (at + 1) & (self.slots.len() - 1);
        }
        self.slots[at] = (key, number);
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
        fn agrees_with_a_map(names in proptest::collection::vec(proptest::collection::vec(0..3_u8, 1..12), 1..200)) {
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
