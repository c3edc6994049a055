//! Which slots were heard: a frame counts once.

/// The newest slot and the 32 up to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Window {
    newest: u64,
    /// Bit k: slot `newest − k` was heard.
    heard: u32,
}

impl Window {
    /// One that begins with `slot`.
    pub(super) const fn new(slot: u64) -> Self {
        Self {
            newest: slot,
            heard: 1,
        }
    }

    /// The newest slot.
    pub(super) const fn newest(&self) -> u64 {
        self.newest
    }

    /// Whether `slot` was heard, or is too old to tell.
    pub(super) fn has(&self, slot: u64) -> bool {
        match self.newest.checked_sub(slot) {
            None => false,
            Some(back) => back >= 32 || self.heard & (1 << back) != 0,
        }
    }

    /// Marks `slot`; whether it is the newest.
    pub(super) fn mark(&mut self, slot: u64) -> bool {
        match slot.checked_sub(self.newest) {
            Some(ahead) if ahead > 0 => {
                self.heard = if ahead < 32 {
                    self.heard << ahead | 1
                } else {
                    1
                };
                self.newest = slot;
                true
            }
            _ => {
                let back = self.newest.saturating_sub(slot);
                if back < 32 {
                    self.heard |= 1 << back;
                }
                false
            }
        }
    }

    /// On a zero `slots` later, where nothing below `oldest` can be heard any more.
    #[cfg(feature = "walk")]
    pub(super) fn moved(mut self, slots: u64, oldest: u64) -> Self {
        if self.newest < oldest {
            self = Self::new(oldest - 1);
        }
        let kept = self.newest - (oldest - 1);
        if kept < 32 {
            self.heard &= (1 << kept) - 1;
        }
        self.newest = self.newest.saturating_sub(slots);
        self
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::drawn::numbers;
    use std::collections::BTreeSet;

    /// As a set of all slots ever heard, of which those 32 back or more count as heard.
    #[test]
    fn it_is_the_set_of_slots() {
        let mut next = numbers(5);
        for _ in 0..300 {
            let first = next() % 90;
            let mut window = Window::new(first);
            let mut set = BTreeSet::from([first]);
            for _ in 0..60 {
                let slot = next() % 90;
                let newest = *set.last().unwrap();
                assert_eq!(window.has(slot), set.contains(&slot) || slot + 32 <= newest);
                assert_eq!(window.mark(slot), slot > newest);
                set.insert(slot);
                assert_eq!(window.newest, *set.last().unwrap());
            }
        }
    }

    #[test]
    fn the_ends_hold() {
        let mut window = Window::new(0);
        assert!(window.mark(u64::MAX));
        assert!(window.has(0) && window.has(u64::MAX) && !window.has(u64::MAX - 1));
        assert!(!window.mark(0));
    }
}
