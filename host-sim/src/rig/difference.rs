//! What a device said, beside what was made of the same item here.

use serde::Serialize;
use trueonset::time::Instant;
use trueonset_rig::{Kind, Report};

use crate::replay::clock::log_ns;

/// One thing in which device and program are not alike.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// Name of the line.
    pub line: String,
    /// Time of the edge that brought it, ns; none of sums at the end.
    pub time_ns: Option<i64>,
    /// What differs: a kind of report, or `edges` of sums.
    pub what: &'static str,
    /// The device's values that differ; none where it said nothing.
    pub device: Option<String>,
    /// Those made here.
    pub here: Option<String>,
}

impl Difference {
    /// Of two reports to one item at `at`, on the line `name`; none where they are equal.
    pub(super) fn of(
        name: &str,
        at: Instant,
        device: Option<&Report<'_>>,
        here: Option<&Report<'_>>,
    ) -> Option<Self> {
        if device == here {
            return None;
        }
        let alike = device
            .zip(here)
            .filter(|(a, b)| a.kind == b.kind && a.line == b.line);
        let told = |report: Option<&Report<'_>>, other: Option<&Report<'_>>| {
            report.map(|report| values(report, alike.and(other)))
        };
        Some(Self {
            line: name.to_owned(),
            time_ns: Some(log_ns(at)),
            what: word(device.or(here).map(|report| report.kind)),
            device: told(device, here),
            here: told(here, device),
        })
    }
}

impl std::fmt::Display for Difference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "differs {}: {}", self.line, self.what)?;
        if let Some(time_ns) = self.time_ns {
            write!(f, " told at {time_ns} ns")?;
        }
        let or_nothing = |told: &Option<String>| told.clone().unwrap_or("nothing".to_owned());
        write!(
            f,
            ": device {}, here {}",
            or_nothing(&self.device),
            or_nothing(&self.here)
        )
    }
}

fn word(kind: Option<Kind>) -> &'static str {
    match kind {
        Some(Kind::Touch) => "touch",
        Some(Kind::Release) => "release",
        Some(Kind::Glitch) => "glitch",
        None => "nothing",
    }
}

/// The values of a report, of those only that `other` does not share.
fn values(report: &Report<'_>, other: Option<&Report<'_>>) -> String {
    let own = report
        .values()
        .filter(|(name, value)| other.is_none_or(|other| other.value(name) != *value));
    let mut words = vec![];
    if other.is_none() {
        words.push(word(Some(report.kind)).to_owned());
    }
    words.extend(own.map(|(name, value)| match name {
        "onset" | "first_edge" | "last_edge" | "confirmed" | "balance" | "causal" => {
            format!("{name} {} ns", log_ns(Instant::from_ticks(value)))
        }
        "flags" => format!("flags [{}]", super::rows::flags(value)),
        _ => format!("{name} {value}"),
    }));
    words.join(" ")
}
