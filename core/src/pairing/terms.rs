//! What both sides must agree on besides the key.

use crate::clock::Oscillator;
use crate::frame::crc16;
use crate::link::{is_slot, LinkPlan};

/// What the probe's slots are timed by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum OscillatorKind {
    /// [`Oscillator::CRYSTAL`].
    Crystal = 1,
    /// [`Oscillator::RC`].
    Rc = 2,
}

impl OscillatorKind {
    /// Its limits.
    #[must_use]
    pub const fn oscillator(self) -> Oscillator {
        match self {
            Self::Crystal => Oscillator::CRYSTAL,
            Self::Rc => Oscillator::RC,
        }
    }

    const fn of(byte: u8) -> Option<Self> {
        match byte {
            1 => Some(Self::Crystal),
            2 => Some(Self::Rc),
            _ => None,
        }
    }
}

/// Number of the probe and shape of its slots.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Terms {
    /// T: from one slot to the next, ns; 0.1 to 100 ms in whole steps of 125 ns.
    pub slot_ns: u32,
    /// H: from one beat to the next without an edge, slots; not 0.
    pub beat_slots: u16,
    /// The probe's oscillator.
    pub oscillator: OscillatorKind,
    /// Check sum over what else of the plan is built into both sides, see [`of_plan`](Self::of_plan).
    pub plan_check: u16,
}

/// Length of terms in records and messages: slot (4 bytes), beat (2), oscillator (1), check (2).
pub(super) const TERMS: usize = 9;

impl Terms {
    /// Those of a plan. Delay, least time between edges and silence after a start are built into
    /// both sides: a CRC-16 over the three, in ns, 4 bytes each, tells whether both have the same.
    #[must_use]
    pub fn of_plan(plan: &LinkPlan, oscillator: OscillatorKind) -> Self {
        let [a, b, c, d] = plan.delay_ns.to_be_bytes();
        let [e, f, g, h] = plan.apart_ns.to_be_bytes();
        let [i, j, k, l] = plan.quiet_ns.to_be_bytes();
        Self {
            slot_ns: plan.slot_ns,
            beat_slots: plan.beat_slots,
            oscillator,
            plan_check: crc16(&[a, b, c, d, e, f, g, h, i, j, k, l]),
        }
    }

    /// Whether a side with this plan may work under these terms: ask it at every start, before a
    /// [`Head`](crate::head::Head) or a [`Receiver`](crate::receiver::Receiver) is made. A probe
    /// whose plan does not fit sends nothing, and the pairing ends without it.
    #[must_use]
    pub fn fits(&self, plan: &LinkPlan) -> bool {
        *self == Self::of_plan(plan, self.oscillator)
    }

    pub(super) const fn bytes(self) -> [u8; TERMS] {
        let [a, b, c, d] = self.slot_ns.to_be_bytes();
        let [e, f] = self.beat_slots.to_be_bytes();
        let [g, h] = self.plan_check.to_be_bytes();
        [a, b, c, d, e, f, self.oscillator as u8, g, h]
    }

    /// `None` where they are outside their ranges.
    pub(super) fn of(bytes: [u8; TERMS]) -> Option<Self> {
        let [a, b, c, d, e, f, oscillator, g, h] = bytes;
        let terms = Self {
            slot_ns: u32::from_be_bytes([a, b, c, d]),
            beat_slots: u16::from_be_bytes([e, f]),
            oscillator: OscillatorKind::of(oscillator)?,
            plan_check: u16::from_be_bytes([g, h]),
        };
        terms.are_sound().then_some(terms)
    }

    pub(super) const fn are_sound(self) -> bool {
        is_slot(self.slot_ns) && self.beat_slots != 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn terms_fit_the_plan_they_were_made_of_and_no_other() {
        for oscillator in [OscillatorKind::Crystal, OscillatorKind::Rc] {
            let plan = LinkPlan::INFRARED;
            let terms = Terms::of_plan(&plan, oscillator);
            assert!(terms.fits(&plan) && !terms.fits(&LinkPlan::RADIO));
            assert_eq!(Terms::of(terms.bytes()), Some(terms));
            for change in [
                (|plan| plan.slot_ns = 2_000_000) as fn(&mut LinkPlan),
                |plan| plan.beat_slots = 6,
                |plan| plan.delay_ns = 101_000_000,
                |plan| plan.apart_ns = 3_100_000,
                |plan| plan.quiet_ns = 300_000_000,
            ] {
                let mut other = plan;
                change(&mut other);
                assert!(!terms.fits(&other), "{other:?}");
            }
        }
    }
}
