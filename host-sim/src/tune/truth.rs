//! True touches of a log: CSV with columns `onset_ns`, `release_ns`, `feed_nm_s`, others passed over.

use crate::fault::{excerpt, Fault, Place};

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
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let damaged = |why: &csv::Error| {
        let line = why.position().map_or(1, csv::Position::line);
        Fault::new(
            why.to_string(),
            "CSV with a header and as many fields in each row",
            "correct this row",
        )
        .at(Place::line(file, line))
    };
    let header = reader.headers().map_err(|why| damaged(&why))?.clone();
    let column = |name: &str| {
        let found = header.iter().position(|field| field == name);
        found.ok_or_else(|| {
            let names = header.iter().collect::<Vec<_>>().join(",");
            Fault::new(
                format!("the header {}", excerpt(names.as_bytes())),
                format!("a column {name}"),
                "name the columns onset_ns,release_ns,feed_nm_s; simulate --truth has them",
            )
            .at(Place::line(file, 1))
        })
    };
    let columns = [
        column("onset_ns")?,
        column("release_ns")?,
        column("feed_nm_s")?,
    ];
    let mut touches: Vec<True> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|why| damaged(&why))?;
        let row = record.position().map_or(1, csv::Position::line);
        let whole = |slot: usize| {
            let field = record.get(columns[slot]).unwrap_or_default();
            field.parse::<i64>().map_err(|_| {
                Fault::new(
                    excerpt(field.as_bytes()),
                    "a whole number of nanoseconds or nm/s",
                    "correct the value or remove the row",
                )
                .at(Place::line(file, row))
            })
        };
        let touch = True {
            onset_ns: whole(0)?,
            release_ns: whole(1)?,
            feed_nm_s: u32::try_from(whole(2)?).unwrap_or(0),
        };
        let after = touches
            .last()
            .is_none_or(|last| touch.onset_ns > last.release_ns);
        if touch.feed_nm_s == 0 || touch.release_ns <= touch.onset_ns || !after {
            return Err(Fault::new(
                "a touch without feed, or one that ends before it begins or begins before the last one ended",
                "touches in the order of time, each with its feed",
                "correct this row",
            )
            .at(Place::line(file, row)));
        }
        touches.push(touch);
    }
    Ok(touches)
}
