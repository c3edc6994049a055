//! Head: the probe's side of a link, from edges to frames.
//!
//! ```text
//!  records ─▶ Waking ── number of this start stored ──▶ Head
//!  edges (onset) ─────────────────────────────────────▶  │ next slot, its frame
//! ```
//!
//! A frame begins exactly with its slot: the caller lets a compare unit start the sender. After an
//! edge every slot has a frame until the edge has long left at the receiver; otherwise every beat
//! has one, and every fourth of those is a hello. In a burst every fourth frame tells the age of the
//! edge before, so that a touch and its release in one outage are both timed.

mod boot;
mod config;

pub use boot::{Counted, Waking};
pub use config::{HeadConfig, HeadConfigError};

use crate::frame::{Contact, Key, Kind, Mark, Quality, Report, Signs, SlowValue, AGE_STEPS, FRAME};
use crate::onset::Event;
use crate::time::Instant;

/// Every so manieth beat is a hello, every so manieth frame of a burst one of the older edge.
const EVERY: u64 = 4;

/// Why an edge was refused. Nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum EdgeRefused {
    /// The level is that already told.
    SameLevel,
    /// A touch nearer to the release before than the plan allows: debounce for longer.
    TooClose,
}

impl core::fmt::Display for EdgeRefused {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::SameLevel => "the level is that already told",
            Self::TooClose => "a touch nearer to the release before than the plan allows",
        })
    }
}

impl core::error::Error for EdgeRefused {}

/// What a probe says besides edges.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct HeadStatus {
    /// It measures; otherwise it stands by.
    pub signs: Signs,
    /// An edge is being confirmed.
    pub between: bool,
    /// It cannot tell whether there is contact.
    pub fault: bool,
}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Edge {
    at: Instant,
    quality: Quality,
}

/// The probe's side of a link.
pub struct Head {
    key: Key,
    boot: u32,
    /// When slot 0 began.
    zero: Instant,
    number: u8,
    newest: Option<Edge>,
    older: Option<Edge>,
    status: HeadStatus,
    slow: Option<SlowValue>,
    /// Newest slot whose frame was made, or is made no more.
    made: u64,
}

impl Head {
    fn new(key: Key, boot: u32, zero: Instant, touched: bool) -> Self {
        Self {
            key,
            boot,
            zero,
            number: u8::from(touched),
            newest: None,
            older: None,
            status: HeadStatus::default(),
            slow: None,
            made: 0,
        }
    }

    /// Number of this start.
    #[must_use]
    pub const fn boot(&self) -> u32 {
        self.boot
    }

    /// What is said besides edges, from the next frame on.
    pub fn set_status(&mut self, status: HeadStatus) {
        self.status = status;
    }

    /// The slow value that the next frames carry.
    pub fn set_slow(&mut self, slow: SlowValue) {
        self.slow = Some(slow);
    }

    /// An edge whose onset was `at`. A release that comes too soon after its touch is told as if
    /// it had come when the plan allows it.
    ///
    /// # Errors
    /// [`EdgeRefused`].
    pub fn edge(
        &mut self,
        config: &HeadConfig,
        at: Instant,
        touched: bool,
        quality: Quality,
    ) -> Result<(), EdgeRefused> {
        if self.touched() == touched {
            return Err(EdgeRefused::SameLevel);
        }
        let since = |edge: Edge| at.ticks_since(edge.at);
        let near = self.newest.filter(|edge| since(*edge) < config.apart);
        let at = match near {
            // Later than it was: that only lengthens the stop.
            Some(touch) if !touched => touch.at.later(config.apart),
            Some(_) => return Err(EdgeRefused::TooClose),
            None => at,
        };
        self.older = self.newest;
        self.newest = Some(Edge { at, quality });
        self.number = (self.number + 1) & 31;
        Ok(())
    }

    /// What a line has confirmed: touches and releases are told, with how clean they were.
    ///
    /// # Errors
    /// [`EdgeRefused`]. The level told is then another than that of the line: take it for a fault
    /// until [`touched`](Self::touched) and the line agree again.
    pub fn event(&mut self, config: &HeadConfig, event: &Event) -> Result<(), EdgeRefused> {
        let (touched, contact) = match event {
            Event::Touch(contact) => (true, contact),
            Event::Release(contact) => (false, contact),
            _ => return Ok(()),
        };
        let quality = Quality::of_contact(contact);
        self.edge(config, contact.onset.nearest(), touched, quality)
    }

    /// Whether the newest edge told was a touch.
    #[must_use]
    pub const fn touched(&self) -> bool {
        self.number & 1 == 1
    }

    /// The frame to be handed to the sender at `now`, with the begin of its slot: `lead` ticks
    /// before that or less, once. A slot that has begun without its frame is left out.
    pub fn make(
        &mut self,
        config: &HeadConfig,
        now: Instant,
        lead: u32,
    ) -> Option<(Instant, [u8; FRAME])> {
        let slot = self.slot(config, now.plus(lead));
        let begin = self.begin(config, slot);
        let before = slot.checked_sub(1)?;
        let due = slot > self.made && begin > now && self.next(config, before) == slot;
        self.made = self.made.max(slot);
        due.then(|| (begin, self.frame(config, slot)))
    }

    /// When to call [`make`](Self::make) again at the latest. Ask anew after every edge.
    #[must_use]
    pub fn wake(&self, config: &HeadConfig, now: Instant, lead: u32) -> Instant {
        let slot = self.slot(config, now.plus(lead));
        let begin = self.begin(config, self.next(config, slot));
        begin.earlier(u64::from(lead))
    }

    /// The newest slot that has begun by `at`.
    fn slot(&self, config: &HeadConfig, at: Instant) -> u64 {
        let since = at.ticks_since(self.zero);
        // The division is by a field that is not 0.
        since.checked_div(config.slot).unwrap_or(0)
    }

    /// When slot `slot` begins.
    #[must_use]
    pub fn begin(&self, config: &HeadConfig, slot: u64) -> Instant {
        let ticks = slot.saturating_mul(config.slot);
        self.zero.later(ticks)
    }

    /// The next slot after `slot` that has a frame. Ask again after every edge.
    #[must_use]
    pub fn next(&self, config: &HeadConfig, slot: u64) -> u64 {
        let next = slot.saturating_add(1).max(config.quiet);
        if !self.status.signs.measuring {
            return round_up(next, config.standby);
        }
        match self.place(config, self.newest, next) {
            Some(place) if place < config.repeats => next,
            _ => round_up(next, config.beat),
        }
    }

    /// Slots from the first one at or after an edge to `slot`.
    fn place(&self, config: &HeadConfig, edge: Option<Edge>, slot: u64) -> Option<u64> {
        let since = edge?.at.ticks_since(self.zero);
        // The division is by a field that is not 0.
        let before = since.checked_sub(1)?.checked_div(config.slot)?;
        Some(slot.saturating_sub(before.saturating_add(1)))
    }

    /// The frame of `slot`, to be on the air exactly from its begin on. It tells of edges before
    /// that.
    #[must_use]
    pub fn frame(&self, config: &HeadConfig, slot: u64) -> [u8; FRAME] {
        let begin = self.begin(config, slot);
        // An edge after the slot's begin belongs to the next frame.
        let early = self.newest.is_some_and(|edge| edge.at > begin);
        let (number, newest, older) = if early {
            (self.number.wrapping_sub(1) & 31, self.older, None)
        } else {
            (self.number, self.newest, self.older)
        };
        let kind = self.kind(config, slot, newest, older);
        let told = match kind {
            Kind::Normal => newest,
            Kind::Older => older,
            Kind::Hello => None,
        };
        let contact = if self.status.fault {
            Contact::Fault
        } else if self.status.between {
            Contact::Between
        } else if number & 1 == 1 {
            Contact::Touched
        } else {
            Contact::Open
        };
        let report = Report {
            kind,
            contact,
            signs: self.status.signs,
            number,
            quality: told.map_or(Quality::Clean, |edge| edge.quality),
            age_125ns: told.and_then(|edge| age(config, begin, edge.at)),
            slow: self.slow,
        };
        let who = Mark {
            boot: self.boot,
            slot: slot & Mark::LAST_SLOT,
        };
        report.seal(&self.key, config.id, who)
    }

    fn kind(
        &self,
        config: &HeadConfig,
        slot: u64,
        newest: Option<Edge>,
        older: Option<Edge>,
    ) -> Kind {
        match self.place(config, newest, slot) {
            Some(place) if place < config.repeats => {
                let fresh = self
                    .place(config, older, slot)
                    .is_some_and(|place| place < config.repeats);
                if place > 0 && place % EVERY == 0 && fresh {
                    Kind::Older
                } else {
                    Kind::Normal
                }
            }
            _ => {
                let beat = if self.status.signs.measuring {
                    config.beat
                } else {
                    config.standby
                };
                // The first one after the silence of a start is a hello.
                let first = round_up(config.quiet, beat);
                let count = slot.saturating_sub(first).checked_div(beat).unwrap_or(0);
                if count % EVERY == 0 {
                    Kind::Hello
                } else {
                    Kind::Normal
                }
            }
        }
    }
}

/// `slot`, or the next multiple of `beat`.
fn round_up(slot: u64, beat: u64) -> u64 {
    let over = slot.checked_rem(beat).unwrap_or(0);
    if over == 0 {
        slot
    } else {
        slot.saturating_add(beat - over)
    }
}

/// Age in 0.125 µs, to the nearest; none beyond what a frame can tell.
fn age(config: &HeadConfig, begin: Instant, at: Instant) -> Option<u32> {
    let ticks = begin.ticks().checked_sub(at.ticks())?;
    let hz = u64::from(config.rate.hz());
    // 2^20 steps are at most 2^30 ticks of the fastest clock.
    if ticks > 1 << 30 {
        return None;
    }
    let steps = (ticks * 8_000_000 + hz / 2).checked_div(hz)?;
    u32::try_from(steps).ok().filter(|steps| *steps < AGE_STEPS)
}

#[cfg(test)]
mod tests;
