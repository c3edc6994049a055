//! What is to be judged, and what is known of it.

use std::path::Path;

use trueonset::budget::Dof;
use trueonset::gauge::Reference;
use trueonset::latch::{LatchConfig, Method};

use super::entries::Entry;
use super::stated::Stated;
use crate::fault::Fault;
use crate::text;

/// What the touches are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Length,
    Radius,
    Breakage,
    Runout,
    Wear,
    Drift,
    Repeatability,
}

impl Kind {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Length => "length",
            Self::Radius => "radius",
            Self::Breakage => "breakage",
            Self::Runout => "runout",
            Self::Wear => "wear",
            Self::Drift => "drift",
            Self::Repeatability => "repeatability",
        }
    }
}

/// A plan, checked.
pub struct Plan {
    pub(crate) kind: Kind,
    pub(crate) line: Option<String>,
    /// How many touches were asked for.
    pub(crate) touches: Option<u16>,
    /// A breakage is weighed touch by touch, and `touches` are the most.
    pub(crate) sequential: bool,
    pub(crate) latch: LatchConfig,
    pub(crate) history: bool,
    pub(crate) entries: Vec<Entry>,
    pub(super) stated: Stated,
}

impl Plan {
    /// Reads a file, or stdin for `-`.
    ///
    /// # Errors
    /// As [`parse`](Self::parse), and if it cannot be read.
    pub fn read(path: &Path) -> Result<Self, Fault> {
        let (name, text) = text::read(path)?;
        Self::parse(&text, &name)
    }

    /// Reads `text`; `source` stands in messages.
    ///
    /// # Errors
    /// No TOML, unknown keys, values of another kind or out of range, or no `[check] kind`.
    pub fn parse(text: &str, source: &str) -> Result<Self, Fault> {
        let stated = Stated::parse(text, source)?;
        let kind = match stated.word("check.kind") {
            Some("length") => Kind::Length,
            Some("radius") => Kind::Radius,
            Some("breakage") => Kind::Breakage,
            Some("runout") => Kind::Runout,
            Some("wear") => Kind::Wear,
            Some("drift") => Kind::Drift,
            Some("repeatability") => Kind::Repeatability,
            _ => {
                return Err(stated.fault(
                    "check.kind",
                    "no check.kind",
                    "what the touches are for",
                    "write kind = \"length\" (radius, breakage, runout, wear, drift, repeatability) under [check]",
                ))
            }
        };
        let touches = stated.whole("check.touches").map(|count| {
            u16::try_from(count)
                .ok()
                .filter(|count| *count > 0)
                .ok_or_else(|| {
                    stated.fault(
                        "check.touches",
                        format!("{count} touches"),
                        "1 to 65535",
                        "state how many touches one place has",
                    )
                })
        });
        let touches = touches.transpose()?;
        let sequential = stated.word("check.decision") == Some("sequential");
        if sequential && kind != Kind::Breakage {
            return Err(stated.fault(
                "check.decision",
                format!("a sequential decision of a {}", kind.name()),
                "kind = \"breakage\"",
                "leave out decision: only whole or broken is decided",
            ));
        }
        let latch = latch(&stated)?;
        let entries = Entry::all(&stated)?;
        Ok(Self {
            kind,
            line: stated.line.clone(),
            touches,
            sequential,
            latch,
            history: stated.word("latch.method") == Some("history"),
            entries,
            stated,
        })
    }

    /// # Errors
    /// The plan has none.
    pub(super) fn reference(&self) -> Result<Reference, Fault> {
        let why = "what lengths are counted from";
        Ok(Reference {
            position_nm: self.stated.needed("check.reference_position", why)?,
            size_nm: self.stated.needed("check.reference_length", why)?,
        })
    }

    /// A length of the tool that does not exceed 4.29 m.
    ///
    /// # Errors
    /// It is not stated, or longer.
    pub(super) fn short(&self, key: &str, why: &str) -> Result<u32, Fault> {
        let length = self.stated.needed(key, why)?;
        u32::try_from(length).map_err(|_| {
            self.stated
                .fault(key, format!("{length} nm"), "at most 4 m", "check its unit")
        })
    }
}

fn latch(stated: &Stated) -> Result<LatchConfig, Fault> {
    let period = || {
        let period = stated.needed(
            "latch.period",
            "the time from one sample or scan to the next",
        )?;
        u32::try_from(period).map_err(|_| {
            stated.fault(
                "latch.period",
                format!("{period} ns"),
                "at most 1 s",
                "check its unit",
            )
        })
    };
    let method = match stated.word("latch.method") {
        Some("history") => Method::History {
            // Unused where positions are those at the onset already.
            period_ns: stated
                .whole("latch.period")
                .map_or(Ok(1_000_000), |_| period())?,
        },
        Some("scan") => Method::Scan {
            period_ns: period()?,
            behind_ns: 0,
        },
        _ => Method::Edge,
    };
    let wrong = |key, why: &dyn std::fmt::Display| {
        stated.fault(
            key,
            why.to_string(),
            "a latch that can be",
            "correct this value",
        )
    };
    let delay = stated.whole("latch.delay").unwrap_or(0);
    let config = LatchConfig::new(method, delay).map_err(|why| wrong("latch.delay", &why))?;
    let doubt = u32::try_from(stated.whole("latch.delay_doubt").unwrap_or(0));
    let doubt = doubt.map_err(|_| wrong("latch.delay_doubt", &"a doubt above 4 s"))?;
    // Shares are counted in 1e-9.
    let ppm = stated.whole("latch.feed_error").unwrap_or(0) / 1_000;
    let ppm = u32::try_from(ppm).unwrap_or(u32::MAX);
    config
        .delay_doubt(doubt, Dof::Known)
        .feed_error_ppm(ppm)
        .map_err(|why| wrong("latch.feed_error", &why))
}
