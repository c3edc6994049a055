//! CSV with a header: columns found by their names, faults that name the row.

use crate::fault::{excerpt, Fault, Place};

/// A table being read.
pub(crate) struct Named<'a> {
    reader: csv::Reader<&'a [u8]>,
    header: csv::StringRecord,
    file: String,
}

impl<'a> Named<'a> {
    /// Reads the header; `file` stands in messages. A byte-order mark and lines from `#` on are
    /// passed over.
    ///
    /// # Errors
    /// The header cannot be read.
    pub(crate) fn open(bytes: &'a [u8], file: &str) -> Result<Self, Fault> {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(bytes);
        let header = reader.headers().map_err(|why| damaged(&why, file))?.clone();
        Ok(Self {
            reader,
            header,
            file: file.to_owned(),
        })
    }

    /// The column `name`; `remedy` says what else can be done where there is none.
    ///
    /// # Errors
    /// There is none.
    pub(crate) fn column(&self, name: &str, remedy: &str) -> Result<usize, Fault> {
        let found = self.header.iter().position(|field| field == name);
        found.ok_or_else(|| {
            let names = self.header.iter().collect::<Vec<_>>().join(",");
            Fault::new(
                format!("the header {}", excerpt(names.as_bytes())),
                format!("a column {name}"),
                remedy,
            )
            .at(Place::line(&self.file, 1))
        })
    }

    /// The next row with its place; none at the end.
    ///
    /// # Errors
    /// The row has another number of fields, or is no CSV.
    pub(crate) fn next(&mut self) -> Result<Option<(csv::StringRecord, Place)>, Fault> {
        let mut record = csv::StringRecord::new();
        let more = self.reader.read_record(&mut record);
        if !more.map_err(|why| damaged(&why, &self.file))? {
            return Ok(None);
        }
        let line = record.position().map_or(1, csv::Position::line);
        Ok(Some((record, Place::line(&self.file, line))))
    }
}

fn damaged(why: &csv::Error, file: &str) -> Fault {
    let line = why.position().map_or(1, csv::Position::line);
    Fault::new(
        why.to_string(),
        "CSV with a header and as many fields in each row",
        "correct this row",
    )
    .at(Place::line(file, line))
}
