//! Touches as they were latched: CSV with named columns, in any order.

use std::collections::BTreeMap;

use trueonset::flags::Flags;
use trueonset::latch::{Caught, FeedAt, Latched};

use crate::fault::{excerpt, Fault, Place};
use crate::named::Named;

use super::plan::Plan;

/// Words beside those of the core that a touch may carry.
const OF_LINK: &[&str] = &["late", "mask", "seq", "notime", "clash", "wide"];
const OF_HEALTH: &[&str] = &["cell_unknown", "cell_empty", "dim", "self_test"];

/// One touch, or an approach without one.
#[derive(Debug, Clone)]
pub struct Touch {
    pub(crate) cycle: u32,
    /// Its number in the cycle, where it is told.
    pub(crate) number: Option<u32>,
    /// The line it was seen on.
    pub line: String,
    pub(crate) axis: String,
    pub(crate) spot: String,
    pub(crate) onset_ns: Option<i64>,
    pub(crate) feed_nm_s: Option<i64>,
    pub(crate) position_nm: Option<i64>,
    pub(crate) doubt_ns: Option<u32>,
    pub(crate) release_nm: Option<i64>,
    pub(crate) release_ns: Option<i64>,
    pub(crate) held_ns: Option<u64>,
    pub(crate) spindle_mhz: Option<u32>,
    /// Gaps of READY; none where nobody counted.
    pub(crate) ready_gaps: Option<u32>,
    pub(crate) flags: Flags,
    /// A word of link or health that forbids a verdict.
    pub(crate) unfit: bool,
    pub(crate) cell_low: bool,
    pub(crate) alive: bool,
    /// Where it was found among the positions of its axis, and where it was released.
    pub(crate) found: Option<Latched>,
    pub(crate) released: Option<Latched>,
    pub(crate) place: Place,
}

impl Touch {
    /// Its position at contact, with its own doubt.
    ///
    /// # Errors
    /// What the latch refuses.
    pub(super) fn latched(&self, plan: &Plan) -> Result<Latched, Fault> {
        if let Some(found) = self.found {
            return Ok(found);
        }
        let caught = Caught {
            position_nm: self.position_nm.unwrap_or(0),
            feed_nm_s: self.feed_nm_s.unwrap_or(0),
            feed_at: FeedAt::Latch,
            acceleration_nm_s2: 0,
            doubt_ns: self.doubt_ns,
        };
        let latched = plan.latch.contact(&caught).map_err(|why| {
            Fault::new(
                format!("a touch refused: {why}"),
                "a touch that can be",
                "correct the row",
            )
            .at(self.place.clone())
        })?;
        Ok(Latched {
            flags: latched.flags.union(self.flags),
            ..latched
        })
    }

    /// Whether the approach met nothing.
    pub(crate) fn is_limit(&self) -> bool {
        self.onset_ns.is_none()
    }
}

/// Reads touches; with `axis`, positions come from elsewhere.
///
/// # Errors
/// No CSV, a column that is missing, or a field that is none.
pub fn read(bytes: &[u8], file: &str, axis: bool) -> Result<Vec<Touch>, Fault> {
    let mut table = Named::open(bytes, file)?;
    let needed: &[&str] = if axis {
        &["onset_ns"]
    } else {
        &["onset_ns", "feed_nm_s", "position_nm"]
    };
    for name in needed {
        table.column(name, "name the columns cycle,touch,line,axis,spot,onset_ns,feed_nm_s,position_nm,doubt_ns,release_nm,held_ns,spindle_mhz,ready_gaps,flags; or give --axis")?;
    }
    let column = |name: &str| table.column(name, "").ok();
    let columns = [
        "cycle",
        "touch",
        "line",
        "axis",
        "spot",
        "onset_ns",
        "feed_nm_s",
        "position_nm",
        "doubt_ns",
        "release_nm",
        "release_ns",
        "held_ns",
        "spindle_mhz",
        "ready_gaps",
        "flags",
    ]
    .map(column);
    let mut touches = Vec::new();
    while let Some((record, place)) = table.next()? {
        let [cycle, number, line, axis_name, spot, onset, feed, position, doubt, release, release_ns, held, spindle, gaps, flags] =
            columns.map(|column| column.and_then(|at| record.get(at)).unwrap_or(""));
        let row = Row { place: &place };
        let (flags, unfit, cell_low, alive) = row.flags(flags)?;
        let mut touch = Touch {
            cycle: row.number("cycle", cycle)?.unwrap_or(1),
            number: row.number("touch", number)?,
            line: line.to_owned(),
            axis: axis_name.to_owned(),
            spot: spot.to_owned(),
            onset_ns: row.number("onset_ns", onset)?,
            feed_nm_s: row.number("feed_nm_s", feed)?,
            position_nm: row.number("position_nm", position)?,
            doubt_ns: row.number("doubt_ns", doubt)?,
            release_nm: row.number("release_nm", release)?,
            release_ns: row.number("release_ns", release_ns)?,
            held_ns: row.number("held_ns", held)?,
            spindle_mhz: row.number("spindle_mhz", spindle)?,
            ready_gaps: row.number("ready_gaps", gaps)?,
            flags,
            unfit,
            cell_low,
            alive,
            found: None,
            released: None,
            place,
        };
        if let (None, Some(onset), Some(release)) =
            (touch.held_ns, touch.onset_ns, touch.release_ns)
        {
            touch.held_ns = u64::try_from(release.saturating_sub(onset)).ok();
        }
        touches.push(touch);
    }
    if touches.is_empty() {
        return Err(
            Fault::new("no touch", "a row for each touch", "record some")
                .at(Place::File(file.to_owned())),
        );
    }
    Ok(touches)
}

struct Row<'a> {
    place: &'a Place,
}

impl Row<'_> {
    fn number<N: std::str::FromStr>(&self, name: &str, field: &str) -> Result<Option<N>, Fault> {
        if field.is_empty() {
            return Ok(None);
        }
        field.parse().map(Some).map_err(|_| {
            Fault::new(
                format!("{} as {name}", excerpt(field.as_bytes())),
                "a whole number in that unit, or nothing",
                "correct the field; doubts, times held and gaps are not negative",
            )
            .at(self.place.clone())
        })
    }

    fn flags(&self, field: &str) -> Result<(Flags, bool, bool, bool), Fault> {
        let (mut flags, mut unfit, mut low, mut alive) = (Flags::NONE, false, false, false);
        for word in field
            .split('|')
            .map(str::trim)
            .filter(|word| !word.is_empty())
        {
            match word {
                "alive" => alive = true,
                "cell_low" => low = true,
                _ if OF_LINK.contains(&word) || OF_HEALTH.contains(&word) => unfit = true,
                _ => flags.insert(Flags::from_word(word).ok_or_else(|| {
                    Fault::new(
                        format!("{} among the flags", excerpt(word.as_bytes())),
                        "flag words joined by |",
                        "correct the word; an unknown one might hide a fault",
                    )
                    .at(self.place.clone())
                })?),
            }
        }
        Ok((flags, unfit, low, alive))
    }
}

fn wrong<T>(touch: &Touch, found: String, expected: &str, remedy: &str) -> Result<T, Fault> {
    Err(Fault::new(found, expected, remedy).at(touch.place.clone()))
}

/// What must hold before anything is judged.
///
/// # Errors
/// A touch without a position, units that cannot be, or two directions within a cycle.
pub(super) fn verify(touches: &[Touch]) -> Result<(), Fault> {
    use trueonset::latch::{FASTEST_NM_S, FURTHEST_NM};
    let mut first: BTreeMap<(u32, &str), i64> = BTreeMap::new();
    for touch in touches {
        let Some(position) = touch.position_nm else {
            return wrong(
                touch,
                "no position_nm".to_owned(),
                "a position for each touch",
                "state where the axis stood, or give --axis",
            );
        };
        if position.unsigned_abs() > FURTHEST_NM.unsigned_abs() {
            return wrong(
                touch,
                format!("position_nm {position}"),
                "a position within 10 m",
                "check its unit: nanometres",
            );
        }
        let Some(feed) = touch.feed_nm_s else {
            return wrong(
                touch,
                "no feed_nm_s".to_owned(),
                "a signed feed for each touch",
                "state the feed, or give --axis",
            );
        };
        if feed == 0 || feed.unsigned_abs() > FASTEST_NM_S.unsigned_abs() {
            return wrong(
                touch,
                format!("feed_nm_s {feed}"),
                "a feed other than 0 within 100 m/min",
                "check its unit (nm/s) and its sign",
            );
        }
        let first = *first
            .entry((touch.cycle, touch.axis.as_str()))
            .or_insert(feed);
        if (first < 0) != (feed < 0) {
            return wrong(
                touch,
                format!("feed_nm_s {feed}"),
                "one direction of approach within a cycle",
                "correct the sign, or give the touches another cycle",
            );
        }
    }
    Ok(())
}

/// Cycles in their order, each with its touches.
pub(super) fn cycles(touches: &[Touch]) -> Vec<&[Touch]> {
    touches.chunk_by(|a, b| a.cycle == b.cycle).collect()
}
