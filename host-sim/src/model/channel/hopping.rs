//! Several channels in turn: slot by slot the next one.
//!
//! Slot `k` is sent on channel `k mod n`, and every channel is a medium of its
//! own with the same law, so a burst on one leaves the other slots alone. A
//! second receiver is a set of further channels in the same way. Limits: the
//! order is fixed and known to the receiver at once; channels share no
//! interferer, which real ones next to each other do; a chain runs on in all
//! slots, those of the other channels too.

use super::gilbert::{Gilbert, Loss};
use crate::fault::Fault;
use crate::model::rng::Rng;

/// Most channels in turn.
pub const MAX_CHANNELS: u32 = 64;
/// Most receivers.
pub const MAX_RECEIVERS: u32 = 2;

/// What is between probe and board: bursts, channels in turn, receivers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium {
    /// Loss of each channel at each receiver.
    pub loss: Loss,
    /// Channels in turn, 1 for no hopping, at most [`MAX_CHANNELS`].
    pub channels: u32,
    /// Receivers with independent losses, 1 or 2: a frame counts if any hears it.
    pub receivers: u32,
}

impl Medium {
    /// One channel, one receiver.
    #[must_use]
    pub fn single(loss: Loss) -> Self {
        Self {
            loss,
            channels: 1,
            receivers: 1,
        }
    }

    /// # Errors
    /// No channel or receiver, or too many.
    pub(super) fn check(&self) -> Result<(), Fault> {
        let range = |what: &str, found: u32, most: u32| {
            if (1..=most).contains(&found) {
                return Ok(());
            }
            Err(Fault::new(
                format!("{found} {what}"),
                format!("1 to {most}"),
                "state another number",
            ))
        };
        range("channels in turn", self.channels, MAX_CHANNELS)?;
        range("receivers", self.receivers, MAX_RECEIVERS)
    }
}

/// The channels as one receiver hears them.
#[derive(Debug, Clone)]
pub struct Hopping {
    channels: Vec<Gilbert>,
}

impl Hopping {
    /// As many channels as `streams` has random streams, each lossy as `loss`.
    pub fn new(loss: Loss, streams: impl IntoIterator<Item = Rng>) -> Self {
        Self {
            channels: streams
                .into_iter()
                .map(|stream| Gilbert::new(loss, stream))
                .collect(),
        }
    }

    /// Whether a frame in `slot` is lost. Slots are asked for in order.
    pub fn loses(&mut self, slot: u64) -> bool {
        let turn = slot % (self.channels.len() as u64).max(1);
        self.channels
            .get_mut(turn as usize)
            .is_some_and(|channel| channel.loses(slot))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;

    #[test]
    fn a_burst_holds_only_the_slots_of_its_channel() {
        let loss = Loss::new(0.2, 50.0).unwrap();
        let streams = || (0..4).map(|c| rng::stream(&[c]));
        let mut hopping = Hopping::new(loss, streams());
        let mut alone: Vec<Gilbert> = streams().map(|s| Gilbert::new(loss, s)).collect();
        for slot in 0..20_000 {
            assert_eq!(hopping.loses(slot), alone[slot as usize % 4].loses(slot));
        }
        let mut none = Hopping::new(loss, []);
        assert!(!none.loses(5));
    }

    #[test]
    fn numbers_out_of_range_are_refused() {
        let medium = Medium::single(Loss::NONE);
        for (channels, receivers) in [(0, 1), (65, 1), (1, 0), (1, 3)] {
            let medium = Medium {
                channels,
                receivers,
                ..medium
            };
            assert!(medium.check().is_err());
        }
        let many = Medium {
            channels: 64,
            receivers: 2,
            ..medium
        };
        assert!(medium.check().is_ok() && many.check().is_ok());
    }
}
