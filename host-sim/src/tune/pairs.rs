//! Which row of a replay belongs to which true touch, and what it is late by.

use trueonset::flags::Flags;
use trueonset::lateness::{CalibrationError, Calibrator};

use super::truth::True;
use super::FEEDS;
use crate::fault::{Fault, Place};
use crate::replay::Row;

/// Remarks that keep a touch out: its onset is not that of clean chatter.
const UNFIT: Flags = Flags::FAULTS
    .union(Flags::ROUGH)
    .union(Flags::HYBRID)
    .union(Flags::INTERRUPTED)
    .union(Flags::FLUTTER);

/// What became of the true touches of a log.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Gathered {
    /// Touches taken.
    pub taken: u64,
    /// Touches for which the log has none, or none with a release.
    pub without: u64,
    /// Touches left out for their remarks.
    pub unfit: u64,
}

/// Gives the pairs of one log to `calibrator`. Both lists are in the order of time. A row belongs
/// to a true touch when its onset is the nearest one before the true release.
///
/// # Errors
/// More feeds than there is room for.
pub fn gather(
    truth: &[True],
    rows: &[Row],
    calibrator: &mut Calibrator<FEEDS>,
) -> Result<Gathered, Fault> {
    let mut gathered = Gathered::default();
    let mut rest = rows;
    let mut before = i64::MIN;
    for touch in truth {
        // From half way to the touch before, up to the release.
        let from = if before == i64::MIN {
            i64::MIN
        } else {
            before + (touch.onset_ns - before) / 2
        };
        let first = rest.partition_point(|row| row.onset_ns < from);
        let past = rest.partition_point(|row| row.onset_ns < touch.release_ns);
        let own = rest.get(first..past).unwrap_or(&[]);
        rest = rest.get(past.max(first)..).unwrap_or(&[]);
        before = touch.release_ns;
        let nearest = own
            .iter()
            .min_by_key(|row| row.onset_ns.abs_diff(touch.onset_ns));
        let Some((row, release_ns)) = nearest.and_then(|row| Some((row, row.release_ns?))) else {
            gathered.without += 1;
            continue;
        };
        if !row.flags.only(UNFIT).is_empty() {
            gathered.unfit += 1;
            continue;
        }
        let late = (row.onset_ns - touch.onset_ns) + (release_ns - touch.release_ns);
        // Half of ns times nm/s is 10^-9 nm; in pm.
        let half_pm = i128::from(late) * i128::from(touch.feed_nm_s) / 2_000_000;
        let half_pm = i64::try_from(half_pm).unwrap_or(i64::MAX);
        match calibrator.pair(touch.feed_nm_s, half_pm) {
            Ok(()) => gathered.taken += 1,
            // As many as there is room for are plenty.
            Err(CalibrationError::TooManyPairs) => {}
            Err(CalibrationError::Distance) => gathered.unfit += 1,
            Err(why) => {
                return Err(Fault::new(
                    why.to_string(),
                    format!("at most {FEEDS} feeds of up to 60 m/min"),
                    "state the feed of the approach, the same for all touches made at it",
                )
                .at(Place::Setting("feed_nm_s of a truth".to_owned())))
            }
        }
    }
    Ok(gathered)
}
