//! True touches of a log: CSV with columns `onset_ns`, `release_ns`, `feed_nm_s`, others passed over.

use crate::fault::{excerpt, Fault};
use crate::named::Named;

/// No approach is slower, nm/s: 0.06 mm/min.
const SLOWEST_NM_S: u32 = 1_000;

/// A true touch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct True {
    /// True instant of contact, ns of the log.
    pub onset_ns: i64,
    /// True instant of release.
    pub release_ns: i64,
    /// Feed of both, nm/s.
    pub feed_nm_s: u32,
}

/// Reads a table of truth; `file` stands in messages.
///
/// # Errors
/// A column is missing, or a row has what is no time or feed.
pub fn parse(bytes: &[u8], file: &str) -> Result<Vec<True>, Fault> {
    let mut table = Named::open(bytes, file)?;
    let column = |name| {
        let remedy = "name the columns onset_ns,release_ns,feed_nm_s; simulate --truth has them";
        table.column(name, remedy)
    };
    let columns = [
        column("onset_ns")?,
        column("release_ns")?,
        column("feed_nm_s")?,
    ];
    let mut touches: Vec<True> = Vec::new();
    while let Some((record, place)) = table.next()? {
        let whole = |slot: usize| {
            let field = record.get(columns[slot]).unwrap_or_default();
            field.parse::<i64>().map_err(|_| {
                Fault::new(
                    excerpt(field.as_bytes()),
                    "a whole number of nanoseconds or nm/s",
                    "correct the value or remove the row",
                )
                .at(place.clone())
            })
        };
        let touch = True {
            onset_ns: whole(0)?,
            release_ns: whole(1)?,
            feed_nm_s: u32::try_from(whole(2)?).unwrap_or(0),
        };
        if (1..SLOWEST_NM_S).contains(&touch.feed_nm_s) {
            return Err(Fault::new(
                format!("feed_nm_s {}", touch.feed_nm_s),
                "1000 nm/s (0.06 mm/min) or more",
                "check its unit: nm/s; 300 mm/min are 5000000",
            )
            .at(place));
        }
        let after = touches
            .last()
            .is_none_or(|last| touch.onset_ns > last.release_ns);
        if touch.feed_nm_s == 0 || touch.release_ns <= touch.onset_ns || !after {
            return Err(Fault::new(
                "a touch without feed, or one that ends before it begins or begins before the last one ended",
                "touches in the order of time, each with its feed",
                "correct this row",
            )
            .at(place));
        }
        touches.push(touch);
    }
    Ok(touches)
}
