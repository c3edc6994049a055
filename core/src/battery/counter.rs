//! Charge used since the cells were new, from a counter that wraps and a memory that may be lost.

/// What the caller stores, and gives back after a start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct StoredCharge {
    /// Charge used since the cells were new, µAh.
    pub used_uah: u32,
    /// What may have been used beside it, unseen between a store and a loss of power, µAh.
    pub unseen_uah: u32,
}

/// A store that is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ChargeWrite {
    /// What to store; `None`: that the charge used is not known.
    pub charge: Option<StoredCharge>,
}

/// Charge used, and what of it is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Used {
    /// `None`: not known since when.
    pub charge: Option<StoredCharge>,
    /// Reading of the counter last seen; it begins at 0 with the power.
    counter: u32,
    /// Charge used that the newest store holds.
    stored: Option<StoredCharge>,
}

impl Used {
    /// After a start; `step_uah` is what may be used from one store to the next.
    pub(super) fn new(stored: Option<StoredCharge>, step_uah: u32) -> Self {
        let charge = stored.map(|stored| StoredCharge {
            unseen_uah: stored.unseen_uah.saturating_add(step_uah),
            ..stored
        });
        Self {
            charge,
            counter: 0,
            stored: None,
        }
    }

    /// The counter shows `counter`.
    pub(super) fn count(&mut self, counter: u32) {
        let more = counter.wrapping_sub(self.counter);
        self.counter = counter;
        if more > u32::MAX / 2 {
            self.charge = None;
        } else if let Some(charge) = &mut self.charge {
            charge.used_uah = charge.used_uah.saturating_add(more);
        }
    }

    /// The cells have been changed: for new ones, or for any.
    pub(super) fn changed(&mut self, new: bool) {
        self.charge = new.then_some(StoredCharge {
            used_uah: 0,
            unseen_uah: 0,
        });
    }

    /// What is to be stored now: after every change, and after every `step_uah`.
    pub(super) fn want(&self, step_uah: u32) -> Option<ChargeWrite> {
        let due = match (self.charge, self.stored) {
            (Some(charge), Some(stored)) => {
                let same = charge.unseen_uah == stored.unseen_uah;
                !same || charge.used_uah.wrapping_sub(stored.used_uah) >= step_uah
            }
            (charge, stored) => charge.is_some() != stored.is_some(),
        };
        due.then_some(ChargeWrite {
            charge: self.charge,
        })
    }

    /// The store of `charge` is durable.
    pub(super) fn stored(&mut self, write: ChargeWrite) {
        self.stored = write.charge;
    }
}
