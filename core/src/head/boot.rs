//! How a probe counts its starts.
//!
//! Every start has a number of its own, stored before the first frame: two starts with one number
//! would use the same tags for different frames. Two records are written in turn, so that one torn
//! by a power loss costs nothing; with both bad the probe does not know what it has used, and sends
//! nothing until it is paired anew.

use super::{Head, HeadConfig};
use crate::frame::{Key, Mark};
use crate::link::RECORD;
use crate::time::Instant;

/// A probe that has just got power, its number not stored yet. It cannot send.
#[must_use]
pub struct Waking {
    boot: u32,
    place: u8,
    id: u16,
}

impl Waking {
    /// What two records, of which each may be blank or torn, make the number of this start. `None`
    /// where both are bad or no number is left: pair anew, with a new key.
    #[must_use]
    pub fn read(config: &HeadConfig, records: [&[u8; RECORD]; 2]) -> Option<Self> {
        let id = config.id;
        let boots = records.map(|record| Mark::of_record(record, id).map(|mark| mark.boot));
        let (boot, place) = match boots {
            [Some(one), Some(other)] if one >= other => (one + 1, 1),
            [Some(_), Some(other)] => (other + 1, 0),
            // The bad one may have held the number after it, and been used.
            [Some(one), None] => (one + 2, 1),
            [None, Some(other)] => (other + 2, 0),
            [None, None] => return None,
        };
        (boot <= Mark::LAST_BOOT).then_some(Self { boot, place, id })
    }

    /// The two records of a probe that was just paired.
    #[must_use]
    pub fn paired(config: &HeadConfig) -> [u8; RECORD] {
        Mark::default().record(config.id)
    }

    /// What to write, and to which of the two places.
    #[must_use]
    pub fn write(&self) -> (u8, [u8; RECORD]) {
        let mark = Mark {
            boot: self.boot,
            slot: 0,
        };
        (self.place, mark.record(self.id))
    }

    /// The number is durable: slot 0 begins `now`. `touched`: what the probe sees.
    #[must_use]
    pub fn stored(self, key: Key, now: Instant, touched: bool) -> Head {
        Head::new(key, self.boot, now, touched)
    }
}
