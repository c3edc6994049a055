//! How a probe counts its starts.
//!
//! Every start has a number of its own, stored before the first frame: two starts with one number
//! would use the same tags for different frames. Two records are written in turn, so that one torn
//! by a power loss costs nothing; a place that keeps nothing any more is found out by reading back,
//! and the other is used alone. With both bad the probe does not know what it has used, and sends
//! nothing until it is paired anew.
//!
//! ```
//! # use trueonset::{frame::{Key, Mark}, head::{HeadConfig, Waking}, link::{LinkPlan, RECORD}, time::{Instant, TickRate}};
//! # let config = HeadConfig::new(TickRate::from_hz(8_000_000)?, 5, &LinkPlan::INFRARED)?;
//! # let key = Key::new(*b"an invented key!").map_err(|why| why.to_string())?;
//! # let mut memory: [[u8; RECORD]; 2] = [Mark::default().record(5); 2];
//! # let now = Instant::from_ticks(0);
//! let mut waking = Waking::read(&config, [&memory[0], &memory[1]]).ok_or("pair anew")?;
//! let counted = loop {
//!     let (place, record) = waking.write();
//!     memory[usize::from(place)] = record; // and read both places again
//!     match waking.stored([&memory[0], &memory[1]]) {
//!         Ok(counted) => break Some(counted),
//!         Err(Some(again)) => waking = again, // the other place
//!         Err(None) => break None, // neither keeps it: send nothing
//!     }
//! };
//! let head = counted.ok_or("memory is worn out")?.head(key, now, false);
//! # let _ = head;
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```

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
    /// Whether one place was tried in vain.
    tried: bool,
}

/// The number of this start is durable.
#[must_use]
pub struct Counted {
    boot: u32,
}

impl Counted {
    /// Slot 0 begins `now`. `touched`: what the probe sees.
    #[must_use]
    pub fn head(self, key: Key, now: Instant, touched: bool) -> Head {
        Head::new(key, self.boot, now, touched)
    }
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
        (boot <= Mark::LAST_BOOT).then_some(Self {
            boot,
            place,
            id,
            tried: false,
        })
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

    /// What both places hold after the write.
    ///
    /// # Errors
    /// Neither holds the number: write once more, to the other place. `None` where both were tried:
    /// a probe that cannot count its starts sends nothing.
    pub fn stored(self, records: [&[u8; RECORD]; 2]) -> Result<Counted, Option<Self>> {
        let boot = |record| Mark::of_record(record, self.id).map(|mark| mark.boot);
        if records.map(boot).contains(&Some(self.boot)) {
            return Ok(Counted { boot: self.boot });
        }
        Err((!self.tried).then_some(Self {
            place: self.place ^ 1,
            tried: true,
            ..self
        }))
    }
}
