//! The parts of a link called by themselves, as an application may that brings its own order.

use core::hint::black_box;

use trueonset::clock::{Clock, ClockConfig};
use trueonset::frame::{crc16, Contact, Key, Kind, Quality, Report, Sealed, Signs};
use trueonset::lines::Decision;
use trueonset::link::{Grader, Heard, Link, LinkConfig, ProbeTime, Stored};
use trueonset::onset;

use super::link::{bytes, mark};
use super::{any, any64, instant, level, yes};

/// A link without its receiver.
pub(crate) fn link(config: &LinkConfig, clock: ClockConfig) {
    let Ok(key) = Key::new(bytes()) else { return };
    let stored = Stored::read(config, [&bytes(), &bytes()], any() as u16);
    let mut link = Link::new(ProbeTime::new(clock), stored);
    let mut grader = Grader::new();
    while yes() {
        let sealed = Sealed::parse(&bytes());
        if let Ok(sealed) = sealed {
            black_box((sealed.id(), sealed.slot_low(), sealed.claim(any())));
            black_box(sealed.open(&key, mark()));
            black_box(link.open(&key, &sealed, yes().then(any64)));
        }
        let report = report();
        black_box(report.seal(&key, any() as u16, mark()));
        let heard = Heard::new(mark(), &report);
        black_box(link.frame(config, instant(), instant(), &heard));
        link.bad_tag(config, instant());
        black_box(link.poll(config, instant()));
        let lines: Decision = link.lines(config, instant());
        black_box((lines.at(instant()), link.deadline(config)));
        black_box((link.is_torn(), link.rearm(config, instant(), level())));
        black_box((
            link.floor(),
            link.boot(),
            link.state(),
            link.slots().config(),
        ));
        grader.heard(config, mark());
        grader.rest();
        black_box((grader.grade(), grader.falls_per_1000_h(config)));
    }
    black_box(crc16(&bytes::<20>()));
}

fn report() -> Report {
    let kinds = [Kind::Normal, Kind::Older, Kind::Hello];
    let contacts = [
        Contact::Open,
        Contact::Touched,
        Contact::Between,
        Contact::Fault,
    ];
    Report {
        kind: *kinds.get(any() as usize).unwrap_or(&Kind::Normal),
        contact: *contacts.get(any() as usize).unwrap_or(&Contact::Fault),
        signs: Signs {
            measuring: yes(),
            look: yes(),
            self_test_failed: yes(),
        },
        number: any() as u8,
        quality: Quality::Clean,
        age_125ns: yes().then(any),
        slow: None,
    }
}

/// What of a clock a receiver does not ask.
pub(crate) fn clock(clock: &Clock, config: &ClockConfig) {
    black_box(clock.predict_before(config, any64(), any()));
    black_box((clock.locked(config), clock.source()));
    black_box((clock.clash(), clock.clashes()));
    black_box((config.slot_ticks(), config.memory_slots()));
}

/// How clean a contact was.
pub(crate) fn quality(contact: &onset::Contact) {
    black_box(Quality::of_contact(contact));
}
