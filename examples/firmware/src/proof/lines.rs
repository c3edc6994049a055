//! Output stage, wired probe and health, every entry, with arguments that nobody knows.

use core::fmt::Write;
use core::hint::black_box;

use trueonset::battery::{BatteryState, Reasons};
use trueonset::frame::Contact;
use trueonset::health::{Awaits, Health, LinkVitals};
use trueonset::lines::{Causes, Decision, Form, Outputs, OutputsConfig, Pins};
use trueonset::link::{Grade, State};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use super::{any, any64, instant, level, rate, yes, Nowhere};

/// All of it.
pub(crate) fn all() {
    let form = match any() {
        0 => Form::Levels,
        1 => Form::Complementary,
        _ => Form::Pulsed { half_ns: any() },
    };
    match OutputsConfig::new(rate(), form, any()) {
        Ok(config) => outputs(&config),
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
    let plan = WiredPlan {
        delay_ns: any(),
        dead_ns: any(),
        poll_ns: any(),
        open_observations: any() as u8,
        lock_ns: any64(),
    };
    match WiredConfig::new(rate(), plan) {
        Ok(config) => wired(&config),
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
        }
    }
}

fn outputs(config: &OutputsConfig) {
    let mut outputs = Outputs::new();
    while yes() {
        let set = outputs.set(config, decision(), instant());
        black_box((set.pins, set.feed_watchdog, set.again));
        let seen = Pins {
            ready: yes(),
            run: yes(),
            stop: yes(),
        };
        black_box(outputs.read_back(config, seen, instant()));
    }
}

fn decision() -> Decision {
    Decision {
        ready: yes(),
        run: yes(),
        valid_until: yes().then(instant),
    }
}

fn wired(config: &WiredConfig) {
    let mut wired = Wired::new();
    while yes() {
        let contact = match any() & 3 {
            0 => Contact::Open,
            1 => Contact::Touched,
            2 => Contact::Between,
            _ => Contact::Fault,
        };
        wired.edge(instant(), yes(), instant(), any());
        wired.observe(instant(), contact, yes());
        black_box(wired.poll(config, instant()));
        black_box((
            wired.deadline(config),
            wired.rearm(config, instant(), level()),
        ));
        let lines = wired.lines(config, instant());
        wired.latch(Causes::READ_BACK);
        health(wired.causes(), lines);
    }
}

fn health(causes: Causes, lines: Decision) {
    let link = LinkVitals {
        state: if yes() { State::Live } else { State::Down },
        grade: if yes() { Grade::Poor } else { Grade::Good },
        awaits: if yes() { Awaits::Mark } else { Awaits::Clock },
        out_of_tolerance: yes(),
    };
    let state = BatteryState {
        charge_uah: (any(), any()),
        usable_uah: (any(), any()),
        lasts_s: (any(), any()),
        milliohms: None,
        reasons: if yes() {
            Reasons::LOW_NOW
        } else {
            Reasons::STALE
        },
    };
    let health = Health::of(causes, yes())
        .link(&link)
        .optics(None)
        .battery(&state, any());
    for word in health.ailments().words() {
        black_box(word);
    }
    let ailments = health.ailments();
    black_box((health.gate(lines), ailments.first(), ailments.vouches()));
}
