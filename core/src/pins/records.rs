//! Where a board keeps the two records of a link.

use crate::head::{Counted, HeadConfig, Waking};
use crate::link::{LinkConfig, Stored, RECORD};
use crate::receiver::Receiver;

/// Two places that keep a record each when power goes: two pages of flash, or two cells of a
/// memory that is written in place. A write may fail or be torn; whoever reads finds out.
///
/// A loop that may not wait for a write drives [`Waking`] and [`Receiver::want`] by itself.
pub trait Records {
    /// What both places hold now.
    fn read(&mut self) -> [[u8; RECORD]; 2];

    /// Writes one, place 0 or 1, and comes back when it is done.
    fn write(&mut self, place: u8, record: &[u8; RECORD]);

    /// At a probe: makes the number of this start durable, before anything is sent under it.
    /// `None` where both places are bad: it does not know which tags it has used, sends nothing,
    /// and must be paired anew.
    fn count_start(&mut self, config: &HeadConfig) -> Option<Counted> {
        let [one, other] = self.read();
        let mut waking = Waking::read(config, [&one, &other])?;
        // The second try goes to the other place; after it there is an answer.
        loop {
            let (place, record) = waking.write();
            self.write(place, &record);
            let [one, other] = self.read();
            match waking.stored([&one, &other]) {
                Ok(counted) => return Some(counted),
                Err(again) => waking = again?,
            }
        }
    }

    /// At a board: what is stored of probe `id`.
    fn stored(&mut self, config: &LinkConfig, id: u16) -> Stored {
        let [one, other] = self.read();
        Stored::read(config, [&one, &other], id)
    }

    /// At a board, in every pass: writes what `receiver` wants to be written of probe `id`. Where
    /// it is not found afterwards, the receiver goes on wanting it, and takes nothing for stored.
    fn keep(&mut self, receiver: &mut Receiver, id: u16) {
        let Some(write) = receiver.want() else { return };
        let record = write.mark.record(id);
        self.write(write.place, &record);
        if write.both {
            self.write(write.place ^ 1, &record);
        }
        if self.read().contains(&record) {
            receiver.stored(write.mark);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::{ClockConfig, Oscillator};
    use crate::frame::{Key, Mark};
    use crate::head::HeadStatus;
    use crate::link::{LinkPlan, State};
    use crate::time::{Instant, TickRate};

    const ID: u16 = 7;

    /// Two places of which some do not keep what is written, and how often they were written to.
    struct Places {
        held: [[u8; RECORD]; 2],
        keeps: [bool; 2],
        writes: u32,
    }

    impl Records for Places {
        fn read(&mut self) -> [[u8; RECORD]; 2] {
            self.held
        }

        fn write(&mut self, place: u8, record: &[u8; RECORD]) {
            self.writes += 1;
            let place = usize::from(place);
            self.held[place] = if self.keeps[place] {
                *record
            } else {
                [0xff; RECORD]
            };
        }
    }

    fn places(keeps: [bool; 2]) -> Places {
        Places {
            held: [Mark::default().record(ID); 2],
            keeps,
            writes: 0,
        }
    }

    fn rate() -> TickRate {
        TickRate::from_hz(8_000_000).unwrap()
    }

    #[test]
    fn a_start_is_counted_in_the_place_that_keeps_it_or_not_at_all() {
        let config = HeadConfig::new(rate(), ID, &LinkPlan::INFRARED).unwrap();
        for (keeps, counted) in [
            ([true, true], true),
            ([true, false], true),
            ([false, true], true),
            ([false, false], false),
        ] {
            let mut places = places(keeps);
            assert_eq!(places.count_start(&config).is_some(), counted, "{keeps:?}");
            assert!(places.writes <= 2);
        }
    }

    #[test]
    fn a_board_that_cannot_store_takes_nothing_for_stored() {
        let plan = LinkPlan::INFRARED;
        let head = HeadConfig::new(rate(), ID, &plan).unwrap();
        let link = LinkConfig::new(rate(), plan).unwrap();
        let clock = ClockConfig::new(rate(), plan.slot_ns, Oscillator::CRYSTAL).unwrap();
        let key = || Key::new(*b"an invented key!").unwrap();
        for keeps in [true, false] {
            let mut board = places([keeps; 2]);
            let stored = board.stored(&link, ID);
            let mut receiver = Receiver::new(key(), ID, clock, stored);
            let start = places([true; 2]).count_start(&head).unwrap();
            let mut probe = start.head(key(), Instant::from_ticks(0), false);
            let mut status = HeadStatus::default();
            status.signs.measuring = true;
            probe.set_status(status);
            let mut now = Instant::from_ticks(0);
            for _ in 0..400 {
                now = probe.wake(&head, now, 1_600);
                if let Some((begin, frame)) = probe.make(&head, now, 1_600) {
                    let _ = receiver.frame(&link, begin.plus(8_000), begin, &frame);
                    let _ = receiver.lines(&link, begin.plus(8_000));
                    board.keep(&mut receiver, ID);
                }
                now = now.plus(1);
            }
            assert!(board.writes > 0);
            assert_eq!(receiver.state() == State::Live, keeps);
        }
    }
}
