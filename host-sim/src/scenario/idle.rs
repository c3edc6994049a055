//! What a scenario states that this version does not act on; told, never passed over in silence.

use super::keys::{Acts, Key};
use super::link::Link;
use super::tables::Tables;

/// A sentence on the stated keys that have no effect on a log, with the `lines` behind a link or without; none if all have one.
#[must_use]
pub fn idle_in_log(tables: &Tables, lines: bool) -> Option<String> {
    let air = if lines { Acts::Air } else { Acts::Log };
    let acting = [Acts::Always, Acts::Log, Acts::Sweep, air];
    sentence(tables, "a log", &|key| acting.contains(&key.acts))
}

/// A sentence on the stated keys that have no effect on a sweep; none if all have one.
#[must_use]
pub fn idle_in_sweep(tables: &Tables) -> Option<String> {
    let acting = [Acts::Always, Acts::Sweep, Acts::Air];
    sentence(tables, "a sweep", &|key| acting.contains(&key.acts))
}

/// Keys that act elsewhere and that advice on the feed has no use for: the feed is its answer, where braking begins
/// follows from it, and of a cutter it takes how often its teeth come.
const NOT_IN_ADVICE: [&str; 4] = [
    "approach.feed",
    "approach.depth",
    "spindle.radius",
    "plate.restitution",
];

/// A sentence on the stated keys that have no effect on advice; none if all have one.
#[must_use]
pub fn idle_in_advice(tables: &Tables) -> Option<String> {
    let idle = [Acts::Replay, Acts::Later];
    sentence(tables, "advice", &|key| {
        !idle.contains(&key.acts) && !NOT_IN_ADVICE.contains(&key.full)
    })
}

fn sentence(tables: &Tables, what: &str, acts: &dyn Fn(&Key) -> bool) -> Option<String> {
    let names = |holds: &dyn Fn(&Key) -> bool| {
        let keys = tables.keys().filter(|key| holds(key));
        keys.map(|key| key.full).collect::<Vec<_>>().join(", ")
    };
    // A wire has a delay and no air; only advice asks for the delay.
    let wire = |key: &Key| {
        key.acts == Acts::Air
            && key.full != "link.medium"
            && !(key.full == "link.delay" && what == "advice")
            && !Link::is_in(tables)
    };
    let later = names(&|key| key.acts == Acts::Later);
    let other = names(&|key| key.acts != Acts::Later && (!acts(key) || wire(key)));
    let mut parts = Vec::new();
    if !later.is_empty() {
        parts.push(format!(
            "checked, but without effect in this version: {later}"
        ));
    }
    if !other.is_empty() {
        parts.push(format!("without effect on {what}: {other}"));
    }
    (!parts.is_empty()).then(|| parts.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn advice_acts_on_the_control_and_not_on_the_feed() {
        let text = "[approach]\nfeed = \"1mm/min\"\nreaction = \"1ms\"\n[control]\nlatch = \"history\"\n\
                    [link]\nmedium = \"wired\"\ndelay = \"2ms\"\nloss = \"1%\"\n[calibration]\ndelay = \"1us\"\n";
        let tables = Tables::parse(text, "s.toml").unwrap();
        assert_eq!(
            idle_in_advice(&tables).unwrap(),
            "without effect on advice: approach.feed, calibration.delay, link.loss"
        );
        let log = idle_in_log(&tables, false).unwrap();
        assert!(
            log.contains("approach.reaction, ") && log.contains("control.latch"),
            "{log}"
        );
        assert!(!log.contains("checked, but"), "{log}");
    }

    #[test]
    fn what_does_not_act_is_named_and_what_acts_is_not() {
        let text = "[link]\nmedium = \"radio\"\n[approach]\nfeed = \"1mm/min\"\ndepth = \"1mm\"\n";
        let tables = Tables::parse(text, "s.toml").unwrap();
        assert_eq!(idle_in_log(&tables, true), None);
        let log = idle_in_log(&tables, false).unwrap();
        assert!(log.contains("link.medium") && !log.contains("approach"));
        assert!(idle_in_sweep(&tables).unwrap().ends_with("approach.depth"));
        assert_eq!(idle_in_sweep(&Tables::empty("s")), None);
        let wired = "[link]\nmedium = \"wired\"\nloss = \"1%\"\n[clock]\ndrift = \"1ppm/s\"\n";
        let wired = idle_in_sweep(&Tables::parse(wired, "s.toml").unwrap()).unwrap();
        assert!(wired.ends_with("sweep: link.loss, clock.drift"), "{wired}");
    }
}
