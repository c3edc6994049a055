//! What a scenario states that this version does not act on; told, never passed over in silence.

use super::keys::{Acts, Key};
use super::link::Link;
use super::tables::Tables;

/// A sentence on the stated keys that have no effect on a log, with the `lines` behind a link or without; none if all have one.
#[must_use]
pub fn idle_in_log(tables: &Tables, lines: bool) -> Option<String> {
    let air = if lines { Acts::Air } else { Acts::Log };
    sentence(tables, "log", &[Acts::Always, Acts::Log, Acts::Sweep, air])
}

/// A sentence on the stated keys that have no effect on a sweep; none if all have one.
#[must_use]
pub fn idle_in_sweep(tables: &Tables) -> Option<String> {
    sentence(tables, "sweep", &[Acts::Always, Acts::Sweep, Acts::Air])
}

fn sentence(tables: &Tables, what: &str, acting: &[Acts]) -> Option<String> {
    let names = |holds: &dyn Fn(&Key) -> bool| {
        let keys = tables.keys().filter(|key| holds(key));
        keys.map(|key| key.full).collect::<Vec<_>>().join(", ")
    };
    let wired =
        |key: &Key| key.acts == Acts::Air && key.full != "link.medium" && !Link::is_in(tables);
    let later = names(&|key| key.acts == Acts::Later);
    let other =
        names(&|key| key.acts != Acts::Later && (!acting.contains(&key.acts) || wired(key)));
    let mut parts = Vec::new();
    if !later.is_empty() {
        parts.push(format!(
            "checked, but without effect in this version: {later}"
        ));
    }
    if !other.is_empty() {
        parts.push(format!("without effect on a {what}: {other}"));
    }
    (!parts.is_empty()).then(|| parts.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

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
