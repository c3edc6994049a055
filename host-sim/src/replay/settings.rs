//! What a replay is told: hold, polarity, bandwidth, capture step, which lines.

use super::channel::TEETH;
use trueonset::barrier::Method;
use trueonset::hits::{HitsConfig, SHORTEST_HIT_NS};
use trueonset::lateness::Lateness;
use trueonset::onset::{Chatter, Config, ConfigError, Touched, Truncation};
use trueonset::time::TickRate;

use crate::fault::{Fault, Place};

/// A turning cutter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spindle {
    /// Time of a turn, ns.
    pub turn_ns: u64,
    /// Teeth of the cutter.
    pub teeth: u8,
}

/// Settings of a replay; the defaults are those of the command line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// How long a level must last, ns.
    pub hold_ns: u64,
    /// The level in contact of every line not named in [`lines`](Self::lines) with its own.
    pub touched: Touched,
    /// Bandwidth of comparator or filter, Hz.
    pub bandwidth_hz: u32,
    /// Whether nobody stated it.
    pub bandwidth_assumed: bool,
    /// Step of the clock that captured the edges, in 1/256 ns, truncated to the step before;
    /// `None`: not known, the times of the log are taken as they stand.
    pub capture_step_256: Option<u32>,
    /// Width of a sample of a light recording, bits.
    pub sample_bits: u8,
    /// How the light of a recording is weighed.
    pub method: Method,
    /// Whether all touches of a line are promised to be made at one feed.
    pub one_feed: bool,
    /// The spindle, where it turns: hits are merged then, and holds are those of hits.
    pub spindle: Option<Spindle>,
    /// What comparator and filter add to the onsets of edges.
    pub lateness: Lateness,
    /// What the chatter of this hardware is known to be like.
    pub chatter: Chatter,
    /// The feed of the touches, nm/s, where it was stated.
    pub feed_nm_s: Option<u32>,
    /// The lines wanted, each with a level in contact of its own if it has one; empty: all.
    pub lines: Vec<(String, Option<Touched>)>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            hold_ns: 1_000_000,
            touched: Touched::High,
            bandwidth_hz: 100_000,
            bandwidth_assumed: false,
            capture_step_256: None,
            sample_bits: 12,
            method: Method::Matched,
            one_feed: false,
            spindle: None,
            lateness: Lateness::default(),
            chatter: Chatter::new(),
            feed_nm_s: None,
            lines: Vec::new(),
        }
    }
}

impl Settings {
    /// The core's configuration for a line that means contact by `touched`.
    ///
    /// # Errors
    /// A value is out of the core's range.
    pub fn config(&self, touched: Touched) -> Result<Config, Fault> {
        let (side, step_256) = match self.capture_step_256 {
            Some(step_256) => (Truncation::Before, step_256),
            None => (Truncation::Nearest, 256),
        };
        let hold_ns = match self.spindle {
            Some(_) => SHORTEST_HIT_NS,
            None => self.hold_ns,
        };
        Config::new(TickRate::NANOSECONDS, hold_ns)
            .and_then(|config| config.capture(side, step_256))
            .and_then(|config| config.bandwidth_hz(self.bandwidth_hz))
            .map(|config| config.touched(touched))
            .map_err(|why| self.refused(why))
    }

    /// The core's configuration for the hits of a turning cutter; none where it stands.
    ///
    /// # Errors
    /// No such spindle can be followed.
    pub fn hits(&self) -> Result<Option<HitsConfig>, Fault> {
        let Some(Spindle { turn_ns, teeth }) = self.spindle else {
            return Ok(None);
        };
        HitsConfig::new(TickRate::NANOSECONDS, turn_ns, teeth, TEETH)
            .map(Some)
            .map_err(|why| {
                Fault::new(
                    format!("a turn in {turn_ns} ns with {teeth} teeth: {why}"),
                    format!("1 to {TEETH} teeth, 80us a tooth or more, 1s a turn or less"),
                    "state speed and teeth of the cutter that touched",
                )
                .at(Place::Setting("[spindle]".to_owned()))
            })
    }

    fn refused(&self, why: ConfigError) -> Fault {
        let (key, found) = match why {
            ConfigError::ZeroBandwidth => ("bandwidth", format!("{} Hz", self.bandwidth_hz)),
            ConfigError::CaptureStep => (
                "capture.tick",
                format!("a step of {} ns", self.capture_step_256.unwrap_or(0) / 256),
            ),
            _ => ("hold", format!("{} ns", self.hold_ns)),
        };
        let (expected, remedy) = match why {
            ConfigError::HoldTooShort => (
                "a hold of 1 ns or more",
                "state a longer hold, 1ms suits 100kHz",
            ),
            ConfigError::HoldTooLong => ("a hold of at most 2.147s", "state a shorter hold"),
            ConfigError::ZeroBandwidth => (
                "1 Hz or more",
                "state the bandwidth of comparator or filter",
            ),
            _ => (
                "a capture step of at most 65us",
                "state the tick of the capture clock",
            ),
        };
        Fault::new(found, expected, remedy).at(Place::Setting(key.to_owned()))
    }

    /// Longest time by which a corrected onset may lie before its edges, ns.
    #[must_use]
    pub fn most_late_ns(&self) -> i64 {
        let ps = self.lateness.at_feed(0).ps;
        ps.max(0) / 1_000 + 1
    }

    /// Whether the line `name` is wanted, and its level in contact.
    #[must_use]
    pub fn wants(&self, name: &str) -> Option<Touched> {
        if self.lines.is_empty() {
            return Some(self.touched);
        }
        let (_, own) = self.lines.iter().find(|(wanted, _)| wanted == name)?;
        Some(own.unwrap_or(self.touched))
    }
}
