//! From logs to settings: hold, bandwidth and method out of what the logs show, and, where their truth is known, a
//! calibration: which touch belongs to which, what comparator and filter add at each feed, and the constants that
//! take it off.
//!
//! ```text
//! log ─▶ survey (the core at every hold) ─▶ advised ─┬─▶ source (Rust)
//! rows of a replay ─┐                                │
//!                   ├─▶ pairs (make and break) ─▶ core Calibrator ─▶ Lateness
//! truth of the log ─┘
//! ```

mod advised;
mod light;
mod pairs;
mod source;
mod survey;
mod truth;

pub use advised::{advise, Advised, Question};
pub use light::Facts;
pub use pairs::{gather, Gathered};
pub use source::{source, TICK_HZ};
pub use survey::Rung;
pub use truth::{parse, True};

use trueonset::lateness::{CalibrationError, Calibrator, FeedMean, Lateness};
use trueonset::onset::Chatter;

use crate::fault::{Fault, Place};
use crate::quantity::show_feed_nm_s;

/// Feeds at most.
pub const FEEDS: usize = 64;

/// What a calibration came to.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// The constants.
    pub lateness: Lateness,
    /// What was seen at each feed, slowest first.
    pub feeds: Vec<FeedMean>,
    /// Noise that one edge of chatter stands for, ns; 0 where no touch was slow enough to tell.
    pub chatter_ns: u64,
}

impl Calibrated {
    /// The constants out of pairs.
    ///
    /// # Errors
    /// Too few feeds or pairs; the message says what is missing.
    pub fn of(calibrator: &Calibrator<FEEDS>, learned: Chatter) -> Result<Self, Fault> {
        let lateness = calibrator.clone().solve().map_err(refused)?;
        let mut feeds: Vec<FeedMean> = calibrator.feeds().collect();
        feeds.sort_by_key(|mean| mean.feed_nm_s);
        let edge_256 = learned.edge_variance_256().unwrap_or(0);
        Ok(Self {
            lateness,
            feeds,
            chatter_ns: (edge_256 as f64 / 256.0).sqrt().round() as u64,
        })
    }

    /// Lateness at a feed by the constants, as a place, nm.
    #[must_use]
    pub fn fitted_nm(&self, feed_nm_s: u32) -> f64 {
        self.lateness.at_feed(feed_nm_s).ps as f64 * f64::from(feed_nm_s) / 1e12
    }

    /// The constants as the table of a configuration.
    #[must_use]
    pub fn toml(&self, hold_ns: u64, bandwidth_hz: u32) -> String {
        let late = &self.lateness;
        let [least, most] = late.others();
        format!(
            "# Calibrated by make and break at {} feeds. State [approach] feed as well where it is known:\n\
             # single edges then lose their offset too.\n\
             [calibration]\n\
             {}chatter = \"{}ns\"\n\
             turn_found = \"{}\"\n\n\
             # What fits nearly as well, with the slowest and the fastest turn: it widens the doubt.\n\
             {}{}\n\
             # As in the calibration.\n\
             [onset]\n\
             hold = \"{hold_ns}ns\"\n\n\
             [barrier]\n\
             bandwidth = \"{bandwidth_hz}Hz\"\n",
            self.feeds.len(),
            constants("", late),
            self.chatter_ns,
            if late.is_turn_assumed() { "no" } else { "yes" },
            constants("least_", &least),
            constants("most_", &most),
        )
    }
}

/// One set of constants as keys.
fn constants(prefix: &str, late: &Lateness) -> String {
    format!(
        "{prefix}delay = \"{}ps\"\n\
         {prefix}delay_doubt = \"{}ps\"\n\
         {prefix}offset = \"{}pm\"\n\
         {prefix}offset_doubt = \"{}pm\"\n\
         {prefix}together = {}\n\
         {prefix}turn = \"{}nm/s\"\n",
        late.delay_ps(),
        late.delay_doubt_ps(),
        late.offset_pm(),
        late.offset_doubt_pm(),
        f64::from(late.together_permille()) / 1e3,
        late.turn_nm_s(),
    )
}

/// Why, and what to do about it.
fn refused(why: CalibrationError) -> Fault {
    let (found, remedy) = match why {
        CalibrationError::TooFewPairs(feed) => (
            format!("{why}, {}", show_feed_nm_s(u64::from(feed))),
            "record three touches with their releases or more at each feed, better 30",
        ),
        CalibrationError::TooFewFeeds | CalibrationError::FeedsTooClose => (
            why.to_string(),
            "record a slow, a medium and the fastest feed in use",
        ),
        _ => (why.to_string(), "see the feeds and times of the truth"),
    };
    Fault::new(
        found,
        "pairs of touch and release at two feeds or more",
        remedy,
    )
    .at(Place::Setting("--truth".to_owned()))
}

#[cfg(test)]
mod tests;
