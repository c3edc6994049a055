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
    /// Touches more than 1 mm late by their feed.
    pub far: u64,
    /// Touches beyond the 65 535 that count at one feed.
    pub spare: u64,
    /// Touches of the log that no true touch claims.
    pub strangers: u64,
}

impl Gathered {
    /// Adds those of another log.
    pub fn add(&mut self, other: &Self) {
        self.taken += other.taken;
        self.without += other.without;
        self.unfit += other.unfit;
        self.far += other.far;
        self.spare += other.spare;
        self.strangers += other.strangers;
    }
}

/// Gives the pairs of one log to `calibrator`. Both lists are in the order of time. A row belongs
/// to a true touch when its onset is the nearest one before the true release. `files` are the names
/// of log and truth, for messages.
///
/// # Errors
/// More feeds than there is room for; a truth that is not that of this log.
pub fn gather(
    truth: &[True],
    rows: &[Row],
    calibrator: &mut Calibrator<FEEDS>,
    files: (&str, &str),
) -> Result<Gathered, Fault> {
    let mut gathered = Gathered::default();
    let mut lateness = Vec::new();
    let mut rest = rows;
    let mut before = i64::MIN;
    for touch in truth {
        // From half way to the touch before, up to the release.
        let from = if before == i64::MIN {
            i64::MIN
        } else {
            before + ((i128::from(touch.onset_ns) - i128::from(before)) / 2) as i64
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
        let made = i128::from(row.onset_ns) - i128::from(touch.onset_ns);
        let broken = i128::from(release_ns) - i128::from(touch.release_ns);
        if let Some(doubt_ns) = row.doubt_ns {
            lateness.push((touch.feed_nm_s, made, doubt_ns));
        }
        // Half of ns times nm/s is 10^-9 nm; in pm.
        let half_pm = (made + broken) * i128::from(touch.feed_nm_s) / 2_000_000;
        let half_pm = i64::try_from(half_pm).unwrap_or(i64::MAX);
        match calibrator.pair(touch.feed_nm_s, half_pm) {
            Ok(()) => gathered.taken += 1,
            // As many as there is room for are plenty.
            Err(CalibrationError::TooManyPairs) => gathered.spare += 1,
            Err(CalibrationError::Distance) => gathered.far += 1,
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
    let claimed = truth.len() as u64 - gathered.without;
    gathered.strangers = (rows.len() as u64).saturating_sub(claimed);
    if !is_of_one_log(truth.len(), &gathered, &mut lateness) {
        let (log, truth) = files;
        return Err(Fault::new(
            "touches that do not follow this truth: most are missing, or they scatter by far more than their doubts",
            format!("the truth of {log}"),
            "name the truths in the order of their logs; shift the log with --offset if its zero is another",
        )
        .at(Place::File(truth.to_owned())));
    }
    Ok(gathered)
}

/// Doubts by which the touches of a log may scatter about their truth, at the median.
const MOST_DOUBTS: u64 = 10;

/// Whether log and truth belong together: most true touches have theirs, and those made at one
/// feed are all as late, within their doubts. (A truth of another log finds touches by chance.)
fn is_of_one_log(touches: usize, gathered: &Gathered, lateness: &mut [(u32, i128, u64)]) -> bool {
    if touches > 0 && gathered.without * 2 > touches as u64 {
        return false;
    }
    lateness.sort_unstable();
    lateness
        .chunk_by(|one, other| one.0 == other.0)
        .all(|feed| {
            let middle = feed[feed.len() / 2].1;
            let mut off: Vec<_> = feed
                .iter()
                .map(|late| (late.1 - middle).unsigned_abs())
                .collect();
            let mut doubts: Vec<_> = feed.iter().map(|late| u128::from(late.2)).collect();
            off.sort_unstable();
            doubts.sort_unstable();
            off[off.len() / 2] <= u128::from(MOST_DOUBTS) * doubts[doubts.len() / 2]
        })
}
