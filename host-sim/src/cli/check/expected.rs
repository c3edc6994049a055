//! Reader of expected touches: CSV with columns `line` and `onset_ns`, others passed over.

use std::path::Path;

use super::super::files;
use crate::fault::{excerpt, Fault};
use crate::named::Named;

/// An expected touch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Expected {
    /// Name of its line.
    pub line: String,
    /// Its onset, ns on the log's zero.
    pub onset_ns: i64,
}

/// Reads the file, or stdin for `-`.
pub(crate) fn read(path: &Path) -> Result<Vec<Expected>, Fault> {
    let name = path.display().to_string();
    parse(&files::bytes(path)?, &name)
}

fn parse(bytes: &[u8], file: &str) -> Result<Vec<Expected>, Fault> {
    let mut table = Named::open(bytes, file)?;
    let column = |name| {
        let remedy = "name the columns line,onset_ns; the output of replay --csv has them";
        table.column(name, remedy)
    };
    let (line, onset) = (column("line")?, column("onset_ns")?);
    let mut touches = Vec::new();
    while let Some((record, place)) = table.next()? {
        let field = record.get(onset).unwrap_or_default();
        let onset_ns = field.parse().map_err(|_| {
            Fault::new(
                format!("{} as onset_ns", excerpt(field.as_bytes())),
                "a whole number of nanoseconds",
                "correct the time or remove the row",
            )
            .at(place)
        })?;
        touches.push(Expected {
            line: record.get(line).unwrap_or_default().to_owned(),
            onset_ns,
        });
    }
    Ok(touches)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_may_stand_in_any_order_beside_others() {
        let text =
            b"\xef\xbb\xbfonset_ns,why,line\r\n5,\"a,b\",beam\r\n# no row\r\n-7,,\"x,y\"\r\n";
        let touches = parse(text, "e.csv").unwrap();
        assert_eq!(touches.len(), 2);
        assert_eq!((touches[1].line.as_str(), touches[1].onset_ns), ("x,y", -7));
    }

    #[test]
    fn faults_name_the_row() {
        let wrong = |text: &str| parse(text.as_bytes(), "e.csv").unwrap_err().to_string();
        assert!(wrong("line,onset\na,1\n").starts_with("e.csv:1: found the header `line,onset`"));
        assert!(
            wrong("line,onset_ns\na,1\nb,1.5\n").starts_with("e.csv:3: found `1.5` as onset_ns")
        );
        assert!(wrong("line,onset_ns\na\n").starts_with("e.csv:2: "));
        assert!(wrong("").starts_with("e.csv:1: "));
    }
}
