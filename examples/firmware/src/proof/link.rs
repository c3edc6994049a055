//! Both sides of a link, every entry, with arguments that nobody knows.

use core::fmt::Write;
use core::hint::black_box;

use trueonset::clock::{Clock, ClockConfig, Oscillator, Source};
use trueonset::edge::Edge;
use trueonset::frame::{Key, Mark, Quality, Sealed, SlowValue};
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::lines::Causes;
use trueonset::link::{LinkConfig, LinkPlan, Stored};
use trueonset::onset::Line;
use trueonset::pins::Records;
use trueonset::receiver::{Receiver, ReceiverConfig};

use super::air;
use super::pins::{terminal, Memory};
use super::{any, any64, instant, level, rate, Nowhere};

pub(crate) fn bytes<const N: usize>() -> [u8; N] {
    [0; N].map(|_: u8| any() as u8)
}

pub(crate) fn mark() -> Mark {
    Mark {
        boot: any(),
        slot: any64(),
    }
}

pub(crate) fn plan() -> LinkPlan {
    LinkPlan {
        slot_ns: any(),
        beat_slots: any() as u16,
        delay_ns: any(),
        dead_ns: any(),
        bound_ns: any(),
        blind_ns: any(),
        apart_ns: any(),
        poll_ns: any(),
        quiet_ns: any(),
        join_frames: any() as u8,
        open_frames: any() as u8,
        lock_ns: any64(),
        watch_ns: any64(),
        bad_tags: any() as u8,
        strangers: any() as u8,
        guard_slots: any(),
        lead_slots: any(),
        reserve_slots: any(),
        write_apart_ns: any64(),
    }
}

/// All of it.
pub(crate) fn all() {
    let plan = plan();
    match HeadConfig::new(rate(), any() as u16, &plan) {
        Ok(config) => head(&config),
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
    let oscillator = Oscillator {
        tolerance_ppm: any(),
        drift_ppb_s: any(),
        wander_ppb: any(),
        memory_ms: any(),
    };
    let clock = match ClockConfig::new(rate(), any(), oscillator) {
        Ok(config) => config.presuming(Source::Minima),
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
            return;
        }
    };
    let mut own = Clock::start(&clock, any64(), instant());
    while any() != 0 {
        black_box(own.update(&clock, any64(), instant()));
        air::clock(&own, &clock);
        black_box((own.predict(&clock, any64()), own.gate(&clock, any64())));
        black_box((own.nearest(any() as u16, instant()), own.rate_ppb(&clock)));
        black_box((
            own.slack(&clock, any64()),
            own.begins(any64()),
            own.out_of_tolerance(&clock),
        ));
    }
    match LinkConfig::new(rate(), plan) {
        Ok(config) => {
            air::link(&config, clock);
            receiver(&config, clock);
        }
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
}

fn head(config: &HeadConfig) {
    let records = [bytes(), bytes()];
    black_box(Waking::paired(config));
    let Some(waking) = Waking::read(config, [&records[0], &records[1]]) else {
        return;
    };
    black_box(waking.write());
    black_box(Memory.count_start(config).is_some());
    let counted = match waking.stored([&records[0], &records[1]]) {
        Ok(counted) => counted,
        Err(again) => {
            black_box(again.is_some());
            return;
        }
    };
    match Key::new(bytes()) {
        Ok(key) => say(config, &mut counted.head(key, instant(), any() == 0)),
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
}

fn say(config: &HeadConfig, head: &mut Head) {
    while any() != 0 {
        let mut status = HeadStatus::default();
        status.signs.measuring = any() == 0;
        status.between = any() == 0;
        status.fault = any() == 0;
        head.set_status(status);
        head.set_slow(SlowValue::Other(any() as u8, any() as u16));
        if let Err(why) = head.edge(config, instant(), any() == 0, Quality::Slow) {
            let _ = write!(Nowhere, "{why}");
        }
        let event = match super::config() {
            Some(hold) if any() == 0 => {
                let mut line = Line::new(&hold, super::level(), instant());
                let _ = line.edge(&hold, Edge::new(instant(), super::level()));
                line.poll(&hold, instant())
            }
            _ => None,
        };
        if let Some(event) = event {
            black_box(head.event(config, &event).is_ok());
        }
        black_box(head.touched());
        black_box((
            head.make(config, instant(), any()),
            head.wake(config, instant(), any()),
        ));
        black_box((head.next(config, any64()), head.begin(config, any64())));
        black_box((head.frame(config, any64()), head.boot()));
    }
}

fn receiver(config: &LinkConfig, clock: ClockConfig) {
    let Ok(key) = Key::new(bytes()) else {
        return;
    };
    let id = any() as u16;
    let records = [bytes(), bytes()];
    let stored = Stored::read(config, [&records[0], &records[1]], id);
    let probe = match ReceiverConfig::new(config, id, clock) {
        Ok(probe) => probe,
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
            return;
        }
    };
    let mut receiver = Receiver::new(&probe, key, stored);
    while any() != 0 {
        black_box(receiver.frame(config, instant(), instant(), &bytes()));
        black_box(receiver.poll(config, instant()));
        black_box((receiver.lines(config, instant()), receiver.deadline(config)));
        if let Some(Err(why)) = receiver.rearm(config, instant(), level()) {
            let _ = write!(Nowhere, "{why}");
        }
        if let Some(write) = receiver.want() {
            black_box(write.mark.record(id));
        }
        receiver.stored(mark());
        receiver.latch(Causes::READ_BACK);
        black_box(receiver.causes_before());
        for word in receiver.causes().words() {
            black_box(word);
        }
        black_box((receiver.close(config), receiver.state()));
        black_box((receiver.counts(), receiver.newest()));
        black_box(receiver.vitals(config, instant()));
        black_box(Memory.stored(config, id));
        Memory.keep(&mut receiver, id);
        terminal(&mut receiver, config);
        black_box((receiver.grade(), receiver.falls_per_1000_h(config)));
        black_box(receiver.vitals(config, instant()));
    }
    if let Err(why) = Sealed::parse(&bytes()) {
        let _ = write!(Nowhere, "{why}");
    }
}
