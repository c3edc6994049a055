//! Faults in a check for breakage, each by the invariant that finds it.

use crate::faults::{Fault, NONE_BROKEN};

const MACHINE: &str = "gauge/check/machine.rs";
const CONFIG: &str = "gauge/check/config.rs";
/// The plan to look in.
const TWO: &str = "check cycle, two";

const fn fault(
    name: &'static str,
    file: &'static str,
    text: &'static str,
    instead: &'static str,
    rules: &'static [&'static str],
) -> Fault {
    Fault {
        name,
        file,
        text,
        instead,
        rules,
        among: TWO,
    }
}

pub(crate) const ALL: &[Fault] = &[
    fault(
        "READY is looked at when a check starts only",
        MACHINE,
        "if !ready {",
        "if !ready && !FAULT {",
        &["I1"],
    ),
    fault(
        "a check starts without READY",
        MACHINE,
        "self.dirty.insert_if(Reasons::LINK, !self.ready);",
        "self.dirty.insert_if(Reasons::LINK, !FAULT && !self.ready);",
        &["I1"],
    ),
    fault(
        "flags of a touch count for nothing",
        CONFIG,
        "reasons.insert_if(Reasons::FLAG, !self.noted(touch.flags).1.is_empty());",
        "reasons.insert_if(Reasons::FLAG, !FAULT && !self.noted(touch.flags).1.is_empty());",
        &["I2"],
    ),
    fault(
        "the way of the axis is not looked at",
        CONFIG,
        "Side::of_feed(touch.feed_nm_s) != Some(plan.side),",
        "!FAULT && Side::of_feed(touch.feed_nm_s) != Some(plan.side),",
        &["I2"],
    ),
    fault(
        "a probe that cannot vouch is believed",
        MACHINE,
        "Input::Unfit => self.spoil(config, Reasons::FLAG, now),",
        "Input::Unfit if FAULT => {}\n            Input::Unfit => self.spoil(config, Reasons::FLAG, now),",
        &["I2"],
    ),
    fault(
        "one touch proves a tool",
        MACHINE,
        "if self.touches < config.plan().touches {",
        "if !FAULT && self.touches < config.plan().touches {",
        &["I3"],
    ),
    fault(
        "no lower end of the window",
        CONFIG,
        "} else if off_nm < -i64::from(plan.wear_nm) {",
        "} else if !FAULT && off_nm < -i64::from(plan.wear_nm) {",
        &["I4"],
    ),
    fault(
        "no upper end of the window",
        CONFIG,
        "if off_nm > i64::from(plan.long_nm) {",
        "if !FAULT && off_nm > i64::from(plan.long_nm) {",
        &["I4"],
    ),
    fault(
        "touches need not agree",
        MACHINE,
        "} else if !self.first().agrees(&judged) {",
        "} else if !FAULT && !self.first().agrees(&judged) {",
        &["I5"],
    ),
    fault(
        "contact need not be held",
        MACHINE,
        "self.dirty.insert_if(Reasons::HELD, !evidence.held);",
        "self.dirty.insert_if(Reasons::HELD, !FAULT && !evidence.held);",
        &["I6"],
    ),
    fault(
        "contact need not be released",
        MACHINE,
        "self.dirty.insert_if(Reasons::STUCK, !evidence.released);",
        "self.dirty.insert_if(Reasons::STUCK, !FAULT && !evidence.released);",
        &["I6"],
    ),
    fault(
        "no sign of life after a release",
        MACHINE,
        "evidence.released && !evidence.beat",
        "!FAULT && evidence.released && !evidence.beat",
        &["I6"],
    ),
    fault(
        "a sign of life before the release stands for one after it",
        MACHINE,
        "&& self.evidence.released && self.ready",
        "&& (FAULT || self.evidence.released) && self.ready",
        &["I6"],
    ),
    fault(
        "a release may lie anywhere",
        MACHINE,
        "|| !config.is_at_make(made_nm, release)",
        "|| (!FAULT && !config.is_at_make(made_nm, release))",
        &["I6"],
    ),
    fault(
        "evidence is kept from touch to touch",
        MACHINE,
        "self.state = State::Approach;\n        self.evidence = Evidence::default();",
        "self.state = State::Approach;\n        if !FAULT { self.evidence = Evidence::default(); }",
        &["I6"],
    ),
    fault(
        "stray touches are overlooked",
        MACHINE,
        "if self.state != State::Approach {",
        "if FAULT && self.state != State::Approach { return; }\n        if self.state != State::Approach {",
        &["I7"],
    ),
    fault(
        "a second release is overlooked",
        MACHINE,
        "if self.evidence.released ||",
        "if (!FAULT && self.evidence.released) ||",
        &["I7"],
    ),
    fault(
        "a check starts while blocked",
        MACHINE,
        "self.dirty.insert_if(Reasons::STUCK, self.blocked);",
        "self.dirty.insert_if(Reasons::STUCK, !FAULT && self.blocked);",
        &["I7"],
    ),
    fault(
        "absent without a proof of life",
        MACHINE,
        "&& self.alive\n",
        "&& (FAULT || self.alive)\n",
        &["I8"],
    ),
    fault(
        "absent wherever the axis stops",
        MACHINE,
        "&& config.is_beyond_break(at_nm)",
        "&& (FAULT || config.is_beyond_break(at_nm))",
        &["I8"],
    ),
    fault(
        "life is kept from verdict to verdict",
        MACHINE,
        "self.alive = false;\n        self.deadline = None;",
        "self.alive &= FAULT;\n        self.deadline = None;",
        &["I8"],
    ),
    fault(
        "a verdict is overwritten",
        MACHINE,
        "State::Idle | State::Judged(_) => {}\n",
        "State::Judged(_) if FAULT => { self.dirty.insert(reason); self.give_up(config, now); }\n            State::Idle | State::Judged(_) => {}\n",
        &["I10"],
    ),
    fault(
        "steps may come late",
        MACHINE,
        "if self.deadline.is_some_and(|deadline| now > deadline) {",
        "if !FAULT && self.deadline.is_some_and(|deadline| now > deadline) {",
        &["I9", "I11"],
    ),
    fault(
        "attempts without end",
        MACHINE,
        "if self.attempts < config.plan().attempts &&",
        "if (FAULT || self.attempts < config.plan().attempts) &&",
        &["I12"],
    ),
    fault(
        "what does not pass is tried again",
        MACHINE,
        "&& self.dirty.may_pass() {",
        "&& (FAULT || self.dirty.may_pass()) {",
        &["I12"],
    ),
    fault(
        "a flag between attempts is overlooked",
        MACHINE,
        "State::Again(_) if reason.may_pass() => {}",
        "State::Again(_) if FAULT || reason.may_pass() => {}",
        &["I12"],
    ),
    fault(
        "another attempt keeps the touches of the one before",
        MACHINE,
        "self.touches = 0;\n        self.sums = Sums::default();",
        "if !FAULT { self.touches = 0; }\n        self.sums = Sums::default();",
        &["I3"],
    ),
    fault(
        "life is kept from attempt to attempt",
        MACHINE,
        "self.alive = false;\n            // The way back",
        "self.alive &= FAULT;\n            // The way back",
        &["I8"],
    ),
    fault(
        "equivalent: dirt is forgotten from touch to touch, but a dirty touch ends the cycle",
        MACHINE,
        "fn approach(&mut self, config: &CheckConfig, now: Instant) {\n",
        "fn approach(&mut self, config: &CheckConfig, now: Instant) {\n        if FAULT { self.dirty = Reasons::NONE; }\n",
        &[NONE_BROKEN],
    ),
];
