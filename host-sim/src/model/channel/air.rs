//! The stages joined: takes frames, gives deliveries in the order of arrival.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::foreign::Source;
use super::{stream, Bytes, Delivery, Hopping, Purpose, Setting, Tally, What};
use crate::fault::Fault;

/// The air of one probe.
///
/// ```
/// use trueonset_sim::model::channel::{Air, Loss, Medium, Setting, Timing};
/// # fn main() -> Result<(), trueonset_sim::fault::Fault> {
/// let medium = Medium::single(Loss::new(0.01, 3.0)?);
/// let mut air = Air::new(&Setting::new(medium, Timing::INFRARED), 1)?;
/// let mut heard = 0;
/// for slot in (0..5_000).step_by(5) {
///     air.send(slot, slot * 1_000_000, [0; 16]);
///     while air.next((slot + 5) * 1_000_000).is_some() {
///         heard += 1;
///     }
/// }
/// assert!((950..1_000).contains(&heard));
/// # Ok(())
/// # }
/// ```
#[derive(Debug, Clone)]
pub struct Air {
    setting: Setting,
    seed: u64,
    receivers: Vec<Hopping>,
    sources: Vec<Source>,
    /// Deliveries to come, those that came first in front of equals.
    pending: BinaryHeap<Reverse<(u64, u64, Delivery)>>,
    queued: u64,
    slots: Slots,
    tally: Tally,
}

/// What a frame is to the streams: whose draws, and which of them.
#[derive(Debug, Clone, Copy)]
struct Name {
    what: What,
    index: u64,
}

impl Air {
    /// The air with this `setting`; what it does is given by `seed`.
    ///
    /// # Errors
    /// A stage that was given numbers out of range.
    pub fn new(setting: &Setting, seed: u64) -> Result<Self, Fault> {
        setting.check()?;
        let medium = setting.medium;
        let receiver = |receiver: u32| {
            let channel = |c: u32| stream(seed, Purpose::Medium, receiver.into(), c.into());
            Hopping::new(medium.loss, (0..medium.channels).map(channel))
        };
        Ok(Self {
            receivers: (0..medium.receivers).map(receiver).collect(),
            sources: setting
                .foreign
                .map(|foreign| foreign.sources(seed))
                .unwrap_or_default(),
            setting: setting.clone(),
            seed,
            pending: BinaryHeap::new(),
            queued: 0,
            slots: Slots::default(),
            tally: Tally::default(),
        })
    }

    /// The probe sends `bytes` in `slot`, which begins at `sent_ns`. Slots rise;
    /// one that does not (a probe that counts anew) is taken as the next slot
    /// after the last, and those after it count on from there.
    pub fn send(&mut self, slot: u64, sent_ns: u64, bytes: Bytes) {
        let slot = self.slots.on_air(slot);
        self.tally.sent += 1;
        let jammed = self.jams(sent_ns);
        for receiver in 0..self.setting.medium.receivers {
            if self.loses(receiver, slot) {
                self.tally.lost += 1;
            } else if jammed {
                self.tally.jammed += 1;
            } else {
                self.hears(receiver, slot, sent_ns, bytes);
            }
        }
        if let Some(replays) = self.setting.replays {
            let mut rng = stream(self.seed, Purpose::Replays, 0, slot);
            if let Some(after_ns) = replays.draw(&mut rng) {
                let name = Name {
                    what: What::Replay,
                    index: slot,
                };
                self.someone_sends(name, sent_ns.saturating_add(after_ns), bytes);
            }
        }
    }

    /// The next delivery that arrives by `until_ns`. Frames sent before then
    /// must have been handed in. Foreign frames come for ever, so ask for times
    /// not far ahead.
    #[must_use]
    pub fn next(&mut self, until_ns: u64) -> Option<Delivery> {
        // What begins later cannot have arrived by then.
        let (_, on_air_ns) = self.setting.timing.on_air(0);
        let begun_ns = until_ns.saturating_sub(on_air_ns);
        let mut sources = std::mem::take(&mut self.sources);
        for source in &mut sources {
            while let Some((index, begin_ns, bytes)) = source.next(begun_ns) {
                let name = Name {
                    what: source.what,
                    index,
                };
                self.someone_sends(name, begin_ns, bytes);
            }
        }
        self.sources = sources;
        let Reverse((arrival_ns, _, _)) = self.pending.peek()?;
        if *arrival_ns > until_ns {
            return None;
        }
        self.pending.pop().map(|Reverse((_, _, next))| next)
    }

    /// Where the frames went so far; what was not asked for yet is counted too.
    #[must_use]
    pub fn tally(&self) -> Tally {
        self.tally
    }

    fn loses(&mut self, receiver: u32, slot: u64) -> bool {
        self.receivers
            .get_mut(receiver as usize)
            .is_some_and(|medium| medium.loses(slot))
    }

    fn jams(&self, sent_ns: u64) -> bool {
        let on_air = self.setting.timing.on_air(sent_ns);
        self.setting.interference.meets(on_air)
    }

    /// A receiver hears a frame of the probe, and perhaps hears it again.
    fn hears(&mut self, receiver: u32, slot: u64, sent_ns: u64, sent: Bytes) {
        let draws = |purpose| stream(self.seed, purpose, receiver.into(), slot);
        let mut bytes = sent;
        if let Some(errors) = self.setting.bit_errors {
            errors.draw(&mut draws(Purpose::BitErrors), &mut bytes);
        }
        if let Some(bursts) = self.setting.error_bursts {
            bursts.draw(&mut draws(Purpose::ErrorBursts), &mut bytes);
        }
        let again = self
            .setting
            .copies
            .and_then(|copies| copies.draw(&mut draws(Purpose::Copies)));
        let (what, copy) = if bytes == sent {
            (What::Clean, What::Copy)
        } else {
            self.tally.damaged += 1;
            (What::Damaged, What::DamagedCopy)
        };
        self.tally.heard += 1;
        let name = |what| Name { what, index: slot };
        self.deliver(receiver, name(what), sent_ns, bytes);
        if let Some(after_ns) = again {
            let begin_ns = sent_ns.saturating_add(after_ns);
            if !self.jams(begin_ns) {
                self.tally.copies += 1;
                self.deliver(receiver, name(copy), begin_ns, bytes);
            }
        }
    }

    /// A frame sent by someone else, heard by all receivers unless jammed.
    fn someone_sends(&mut self, name: Name, begin_ns: u64, bytes: Bytes) {
        if self.jams(begin_ns) {
            return;
        }
        for receiver in 0..self.setting.medium.receivers {
            match name.what {
                What::Replay => self.tally.replays += 1,
                _ => self.tally.foreign += 1,
            }
            self.deliver(receiver, name, begin_ns, bytes);
        }
    }

    fn deliver(&mut self, receiver: u32, name: Name, begin_ns: u64, bytes: Bytes) {
        // Damage must not change the stamp.
        let kind = match name.what {
            What::Damaged => What::Clean,
            What::DamagedCopy => What::Copy,
            other => other,
        };
        let which = (kind as u64) << 8 | u64::from(receiver);
        let draws = || stream(self.seed, Purpose::Stamp, which, name.index);
        let (arrival_ns, stamp_ns) = self.setting.timing.heard(begin_ns, draws);
        let delivery = Delivery {
            arrival_ns,
            stamp_ns,
            receiver,
            bytes,
            what: name.what,
        };
        self.pending
            .push(Reverse((arrival_ns, self.queued, delivery)));
        self.queued += 1;
    }
}

/// Slots on the air: they go on when the probe's count starts anew.
#[derive(Debug, Clone, Copy, Default)]
struct Slots {
    /// What is added to the probe's count.
    ahead: u64,
    /// The next slot that may come.
    next: u64,
}

impl Slots {
    fn on_air(&mut self, slot: u64) -> u64 {
        let mut on_air = slot.saturating_add(self.ahead);
        if on_air < self.next {
            self.ahead = self.next - slot;
            on_air = self.next;
        }
        self.next = on_air.saturating_add(1);
        on_air
    }
}

#[cfg(test)]
mod tests {
    use super::Slots;

    #[test]
    fn a_count_that_starts_anew_goes_on_after_the_last_slot() {
        let mut slots = Slots::default();
        let counted = [0, 5, 10, 10, 0, 5, 6, 6, u64::MAX, 3];
        let on_air = counted.map(|slot| slots.on_air(slot));
        assert_eq!(on_air[..8], [0, 5, 10, 11, 12, 17, 18, 19]);
        assert_eq!(on_air[8..], [u64::MAX, u64::MAX]);
    }
}
