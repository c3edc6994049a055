//! What must survive a power loss: how far the probe's counter may have run.
//!
//! A stored mark makes a promise in both directions: nothing at or below it is accepted after a
//! power loss, and nothing above it was accepted before it was durable. So no frame counts twice,
//! whatever was recorded meanwhile. The link asks for a write ([`Link::want`](super::Link::want)),
//! the caller writes and says so ([`Link::stored`](super::Link::stored)); in the mean that is one
//! write a minute.
//!
//! Two records are written in turn. Whichever of them is lost, torn by a power loss or worn, a
//! reserve added to the other covers it: so a mark further than a reserve above the last one goes
//! into both, as it does after every power loss, and as does the first of a new start.
//!
//! # Record, 12 bytes, most significant first
//! | bytes | what |
//! |---|---|
//! | 0-2 | boot number of the probe, 24 bits |
//! | 3-7 | slot, 40 bits |
//! | 8-9 | number of the probe |
//! | 10-11 | CRC-16 of bytes 0 to 9, polynomial 0x90D9 from 0xFFFF, as in a frame |

use super::LinkConfig;
use crate::frame::{crc16, Mark};

/// Length of a record.
pub const RECORD: usize = 12;

impl Mark {
    /// The mark as a record of probe number `id`.
    #[must_use]
    pub fn record(self, id: u16) -> [u8; RECORD] {
        let [_, b0, b1, b2] = self.boot.to_be_bytes();
        let [_, _, _, s0, s1, s2, s3, s4] = self.slot.to_be_bytes();
        let [i0, i1] = id.to_be_bytes();
        let body = [b0, b1, b2, s0, s1, s2, s3, s4, i0, i1];
        let [c0, c1] = crc16(&body).to_be_bytes();
        [b0, b1, b2, s0, s1, s2, s3, s4, i0, i1, c0, c1]
    }

    /// The mark of a record; `None` if it is blank, torn, or of another probe.
    #[must_use]
    pub fn of_record(record: &[u8; RECORD], id: u16) -> Option<Self> {
        let [b0, b1, b2, s0, s1, s2, s3, s4, i0, i1, c0, c1] = *record;
        let body = [b0, b1, b2, s0, s1, s2, s3, s4, i0, i1];
        let sound = crc16(&body) == u16::from_be_bytes([c0, c1]);
        (sound && u16::from_be_bytes([i0, i1]) == id).then_some(Self {
            boot: u32::from_be_bytes([0, b0, b1, b2]),
            slot: u64::from_be_bytes([0, 0, 0, s0, s1, s2, s3, s4]),
        })
    }
}

/// A write that is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Write {
    /// What to write.
    pub mark: Mark,
    /// Which of the two records: 0 or 1.
    pub place: u8,
    /// Whether the other record must be written after it as well: the probe has started anew, or
    /// run on by more than a reserve. Were the newer record lost, an old one could not make up for
    /// that with a reserve.
    pub both: bool,
}

/// What two records say. They are written in turn, so that a torn one costs nothing but a wait.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Stored {
    /// The promise; `None` where both records are bad: no frame is accepted until paired again.
    pub mark: Option<Mark>,
    /// Where the next write goes.
    pub place: u8,
}

impl Stored {
    /// Out of both records. The newer sound one counts; beside a bad one that may have been newer,
    /// a reserve is added.
    #[must_use]
    pub fn read(config: &LinkConfig, records: [&[u8; RECORD]; 2], id: u16) -> Self {
        let [one, other] = records.map(|record| Mark::of_record(record, id));
        let reserve = u64::from(config.plan().reserve_slots);
        let beyond = |mark: Mark| Mark {
            slot: mark.slot.saturating_add(reserve).min(Mark::LAST_SLOT),
            ..mark
        };
        match (one, other) {
            (Some(one), Some(other)) if one >= other => Self {
                mark: Some(one),
                place: 1,
            },
            (Some(_), Some(other)) => Self {
                mark: Some(other),
                place: 0,
            },
            (Some(one), None) => Self {
                mark: Some(beyond(one)),
                place: 1,
            },
            (None, Some(other)) => Self {
                mark: Some(beyond(other)),
                place: 0,
            },
            (None, None) => Self {
                mark: None,
                place: 0,
            },
        }
    }
}

/// Keeps the promise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct MarkStore {
    durable: Option<Mark>,
    place: u8,
    wanted: Option<Write>,
    /// The greatest accepted, or promised never to be: nothing at or below is.
    pub(super) floor: Mark,
}

impl MarkStore {
    pub(super) fn new(stored: Stored) -> Self {
        Self {
            durable: stored.mark,
            place: stored.place & 1,
            wanted: None,
            floor: stored.mark.unwrap_or_default(),
        }
    }

    pub(super) fn is_torn(&self) -> bool {
        self.durable.is_none()
    }

    pub(super) fn want(&self) -> Option<Write> {
        self.wanted
    }

    /// Whether the durable mark covers `who`; asks for the next one where it soon will not.
    pub(super) fn covers(&mut self, config: &LinkConfig, who: Mark) -> bool {
        let Some(durable) = self.durable else {
            return false;
        };
        let plan = config.plan();
        let left = durable.slot.saturating_sub(who.slot);
        let running_out = who.boot > durable.boot || left < u64::from(plan.lead_slots);
        if who.boot >= durable.boot && running_out {
            let reserve = u64::from(plan.reserve_slots);
            let slot = who.slot.saturating_add(reserve);
            let mark = Mark {
                boot: who.boot,
                slot: slot.min(Mark::LAST_SLOT),
            };
            // It never runs back, and what is asked for already is not asked for again.
            let asked = self.wanted.map_or(durable, |write| write.mark);
            let worth = mark.boot > asked.boot || self.wanted.is_none() && mark > asked;
            if worth {
                self.wanted = Some(Write {
                    mark,
                    place: self.place,
                    both: mark.boot > durable.boot
                        || mark.slot > durable.slot.saturating_add(reserve),
                });
            }
        }
        durable.boot == who.boot && left >= u64::from(plan.guard_slots) && who.slot <= durable.slot
    }

    /// `mark` is durable now. One that is not asked for any more does not count: what has been
    /// written since, or is to be, may be another.
    pub(super) fn stored(&mut self, mark: Mark) {
        let Some(write) = self.wanted.filter(|write| write.mark == mark) else {
            return;
        };
        // With both records alike either may be next.
        self.place = if write.both { 0 } else { write.place ^ 1 };
        self.wanted = None;
        self.durable = self.durable.map(|durable| durable.max(mark));
    }

    /// What to write when power is about to fail: as little as promises no more than is needed. In
    /// both places, since the higher mark of two would win.
    pub(super) fn close(&mut self, config: &LinkConfig) -> Option<Write> {
        let durable = self.durable?;
        let guard = u64::from(config.plan().guard_slots);
        let mark = Mark {
            slot: self.floor.slot.saturating_add(guard).min(Mark::LAST_SLOT),
            ..self.floor
        };
        // Never above what is durable: a write that fails must not have promised more.
        let mark = mark.min(durable);
        self.durable = Some(mark);
        self.wanted = None;
        Some(Write {
            mark,
            place: self.place,
            both: true,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::LinkPlan;
    use crate::time::TickRate;

    const ID: u16 = 5;
    const WORN: [u8; RECORD] = [0xFF; RECORD];

    fn config() -> LinkConfig {
        let rate = TickRate::from_hz(16_000_000).unwrap_or_else(|_| panic!());
        LinkConfig::new(rate, LinkPlan::INFRARED).unwrap_or_else(|_| panic!())
    }

    /// The records after the write that a store of marks asks for.
    fn write(marks: &mut MarkStore, records: &mut [[u8; RECORD]; 2]) -> Write {
        let write = marks.want().unwrap_or_else(|| panic!());
        for (place, record) in records.iter_mut().enumerate() {
            if write.both || place == usize::from(write.place) {
                *record = write.mark.record(ID);
            }
        }
        marks.stored(write.mark);
        write
    }

    /// However far the counter ran without the store, and whichever record is lost then.
    #[test]
    fn one_record_lost_lets_nothing_count_twice() {
        let config = config();
        for ahead in [
            1,
            1_000,
            62_999,
            63_000,
            63_001,
            1_000_000,
            Mark::LAST_SLOT / 2,
        ] {
            for lost in 0..2 {
                let first = Mark { boot: 7, slot: 100 };
                let mut records = [first.record(ID); 2];
                let stored = Stored::read(&config, [&records[0], &records[1]], ID);
                let mut marks = MarkStore::new(stored);
                let mut heard = Mark {
                    slot: first.slot + ahead,
                    ..first
                };
                // As many times as a mark runs out.
                for _ in 0..4 {
                    assert!(!marks.covers(&config, heard));
                    let write = write(&mut marks, &mut records);
                    heard.slot = write.mark.slot - 45;
                    assert!(marks.covers(&config, heard));
                    let mut left = records;
                    left[lost] = WORN;
                    let stored = Stored::read(&config, [&left[0], &left[1]], ID);
                    assert!(stored.mark >= Some(heard), "{ahead} {lost} {stored:?}");
                    heard.slot = write.mark.slot + 1;
                }
            }
        }
    }

    #[test]
    fn a_new_start_is_written_into_both_and_two_bad_records_are_none() {
        let config = config();
        let mut records = [Mark { boot: 7, slot: 100 }.record(ID); 2];
        let stored = Stored::read(&config, [&records[0], &records[1]], ID);
        let mut marks = MarkStore::new(stored);
        let heard = Mark { boot: 8, slot: 250 };
        assert!(!marks.covers(&config, heard));
        assert!(write(&mut marks, &mut records).both && records[0] == records[1]);
        assert!(marks.covers(&config, heard));
        let stored = Stored::read(&config, [&WORN, &WORN], ID);
        assert_eq!(stored.mark, None);
        assert!(!MarkStore::new(stored).covers(&config, heard));
    }
}
