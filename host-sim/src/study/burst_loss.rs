//! What bursts of lost frames cost a link, in closed form.
//!
//! The medium is that of [`gilbert`](crate::model::channel::gilbert): a share
//! `p` of slots lost in bursts of `L` slots, memory `λ = 1 − 1/L − p/(L(1−p))`.
//! The `d`-step law of a chain of two states gives all else (Gilbert, Bell
//! Syst. Tech. J. 39 (1960) 1253; any textbook on Markov chains):
//!
//! - a bad slot is followed `d` later by a bad one with `B(d) = p + (1−p)·λ^d`;
//! - slots `k1 < k2 < ..` are all lost with `p·Π B(k(i+1) − k(i))`; channels in
//!   turn and receivers are independent, so their chances multiply;
//! - a beat is one frame every `H` slots. READY falls when the silence since
//!   the newest slot heard exceeds `T_dead`, that is when a heard beat is
//!   followed by `K` lost ones, `K` the beats that could still have been heard
//!   in time. With `Q(K)` the chance that `K` beats in a row are lost, that
//!   happens `(Q(K) − Q(K+1))/H` times a slot; for one receiver and channel
//!   `(1/H)(1−p)·p·(1−λ^H)·B(H)^(K−1)`.
//!
//! A beat that begins exactly `T_dead` after the last one heard comes too late:
//! it is heard only when it has ended. So `K = ⌊(T_dead − t)/H⌋`, `t` from the
//! begin of a slot until its frame is accepted, not `⌊T_dead/H⌋`.
//!
//! Limits: beats only, as a machine sees them between touches (dense frames
//! after an edge make drops rarer); READY returns with the next frame heard,
//! where a receiver that joins for some frames is not READY in between and so
//! falls less often; losses only, no wrong bits.

use crate::model::channel::{Loss, Medium};

/// Most repeats and beats looked through: 10⁵ of them lost in a row say that
/// nothing but another medium helps.
const MOST: usize = 100_000;
/// Nanoseconds of an hour.
const HOUR_NS: f64 = 3.6e12;

/// Chance that a slot is lost, `slots` after one that was: `B(d)`.
#[must_use]
pub fn bad_after(loss: Loss, slots: u64) -> f64 {
    let p = loss.share();
    p + (1.0 - p) * power(loss.memory(), slots)
}

/// Chance that the frames in all these `slots` are lost, at all receivers. Rising slots.
#[must_use]
pub fn all_lost(medium: &Medium, slots: &[u64]) -> f64 {
    let mut lost = Lost::new(medium);
    let mut chance = 1.0;
    for &slot in slots {
        chance = lost.also(slot);
    }
    chance
}

/// Chance that the first 1, 2, 3 .. of frames `every` so many slots are all lost.
pub fn lost_in_a_row(medium: &Medium, every: u64) -> impl Iterator<Item = f64> {
    let mut lost = Lost::new(medium);
    (0..MOST as u64).map(move |k| lost.also(k.saturating_mul(every)))
}

/// Fewest frames, one a slot, that are all lost with less than `chance`: so many
/// slots an edge must be repeated. None where 10⁵ are not enough.
#[must_use]
pub fn slots_needed(medium: &Medium, chance: f64) -> Option<usize> {
    let lost = lost_in_a_row(medium, 1).position(|lost| lost < chance)?;
    Some(lost + 1)
}

/// How a probe at rest sends, and when its frames are heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Beat {
    /// Length of a slot, ns.
    pub slot_ns: u64,
    /// A frame every so many slots, at least 1.
    pub every: u64,
    /// From the begin of a slot until its frame is heard, ns.
    pub heard_ns: u64,
}

impl Beat {
    /// Time between two beats, ns, at least 1.
    #[must_use]
    pub fn period_ns(self) -> u64 {
        self.every.saturating_mul(self.slot_ns).max(1)
    }

    /// Beats that can be heard before a silence of `dead_ns` is over: `K`.
    #[must_use]
    pub fn in_time(self, dead_ns: u64) -> usize {
        let left_ns = dead_ns.saturating_sub(self.heard_ns);
        (left_ns / self.period_ns()) as usize
    }

    /// Shortest silence in whole slots in which `beats` can be heard, ns.
    fn dead_for(self, beats: usize) -> u64 {
        let least_ns = self
            .period_ns()
            .saturating_mul(beats as u64)
            .saturating_add(self.heard_ns);
        let slot_ns = self.slot_ns.max(1);
        least_ns.div_ceil(slot_ns).saturating_mul(slot_ns)
    }
}

/// How often an hour READY falls by silence longer than `dead_ns`.
#[must_use]
pub fn drops_per_hour(medium: &Medium, beat: Beat, dead_ns: u64) -> f64 {
    let beats = beat.in_time(dead_ns);
    let mut rows = with_none(medium, beat).skip(beats);
    let (Some(lost), Some(one_more)) = (rows.next(), rows.next()) else {
        return 0.0;
    };
    per_hour(beat, lost, one_more)
}

/// Shortest silence in whole slots, ns, by which READY falls less than `drops`
/// times in `hours`. None where 10⁵ beats are not enough.
#[must_use]
pub fn dead_for_drops(medium: &Medium, beat: Beat, drops: f64, hours: f64) -> Option<u64> {
    shortest(medium, beat, |per_hour, _| per_hour * hours < drops)
}

/// Shortest silence in whole slots, ns, for which a touch meets a fall of READY
/// with less than `chance`: rate of the falls times the silence itself.
#[must_use]
pub fn dead_for_touches(medium: &Medium, beat: Beat, chance: f64) -> Option<u64> {
    shortest(medium, beat, |per_hour, dead_ns| {
        per_hour * dead_ns as f64 / HOUR_NS < chance
    })
}

/// The first silence that is good `enough` by its drops an hour and its length (ns).
fn shortest(medium: &Medium, beat: Beat, enough: impl Fn(f64, u64) -> bool) -> Option<u64> {
    let mut rows = with_none(medium, beat).enumerate().skip(1).peekable();
    while let Some((beats, lost)) = rows.next() {
        let &(_, one_more) = rows.peek()?;
        let dead_ns = beat.dead_for(beats);
        if enough(per_hour(beat, lost, one_more), dead_ns) {
            return Some(dead_ns);
        }
    }
    None
}

/// Chance that 0, 1, 2 .. beats in a row are lost.
fn with_none(medium: &Medium, beat: Beat) -> impl Iterator<Item = f64> {
    std::iter::once(1.0).chain(lost_in_a_row(medium, beat.every.max(1)))
}

fn per_hour(beat: Beat, lost: f64, one_more: f64) -> f64 {
    (lost - one_more) * HOUR_NS / beat.period_ns() as f64
}

/// The chance that some slots are all lost, slot by slot.
struct Lost {
    medium: Medium,
    /// The last slot of each channel that had one.
    last: Vec<Option<u64>>,
    /// At one receiver.
    chance: f64,
}

impl Lost {
    fn new(medium: &Medium) -> Self {
        Self {
            medium: *medium,
            last: vec![None; medium.channels.max(1) as usize],
            chance: 1.0,
        }
    }

    /// The chance with this slot among them, at all receivers.
    fn also(&mut self, slot: u64) -> f64 {
        let turn = (slot % self.last.len() as u64) as usize;
        let loss = self.medium.loss;
        self.chance *= match self.last[turn] {
            Some(before) => bad_after(loss, slot.saturating_sub(before)),
            None => loss.share(),
        };
        self.last[turn] = Some(slot);
        power(self.chance, self.medium.receivers.into())
    }
}

/// `base^exponent`, signs kept.
fn power(base: f64, exponent: u64) -> f64 {
    i32::try_from(exponent).map_or_else(|_| base.powf(exponent as f64), |e| base.powi(e))
}

#[cfg(test)]
mod tests;
