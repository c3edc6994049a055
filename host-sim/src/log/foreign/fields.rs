//! Rows into fields.

use crate::fault::{excerpt, Fault};

/// Whether a row says nothing: blank, or a comment that begins with `#` or `;`.
pub(super) fn is_comment(row: &[u8]) -> bool {
    matches!(row.trim_ascii().first(), None | Some(b'#' | b';'))
}

/// Where the fields of a row lie, trimmed, quotes taken off; doubled quotes inside stay as they are.
pub(super) fn split(
    row: &[u8],
    separator: u8,
    ranges: &mut Vec<(usize, usize)>,
) -> Result<(), Fault> {
    ranges.clear();
    let mut at = 0;
    loop {
        let blank = |byte: &u8| *byte != separator && byte.is_ascii_whitespace();
        at += row[at..].iter().take_while(|byte| blank(byte)).count();
        if row.get(at) == Some(&b'"') {
            let end = closing_quote(row, at + 1)?;
            ranges.push((at + 1, end));
            at = end + 1;
            at += row[at..].iter().take_while(|byte| blank(byte)).count();
            if row.get(at).is_some_and(|&byte| byte != separator) {
                return Err(Fault::new(
                    format!("text behind the closing quote in {}", excerpt(row)),
                    "a separator",
                    "double a quote that belongs to the text",
                ));
            }
        } else {
            let end = memchr::memchr(separator, &row[at..]).map_or(row.len(), |length| at + length);
            ranges.push((at, at + row[at..end].trim_ascii_end().len()));
            at = end;
        }
        if at >= row.len() {
            return Ok(());
        }
        at += 1;
    }
}

fn closing_quote(row: &[u8], from: usize) -> Result<usize, Fault> {
    let mut at = from;
    while let Some(length) = memchr::memchr(b'"', &row[at..]) {
        at += length;
        if row.get(at + 1) != Some(&b'"') {
            return Ok(at);
        }
        at += 2;
    }
    Err(Fault::new(
        format!("an open quote in {}", excerpt(row)),
        "a closing quote in the same row",
        "close the quote, or remove line breaks from quoted fields",
    ))
}

/// A field as text.
pub(super) struct Text {
    pub(super) text: String,
    /// Whether it was no UTF-8.
    pub(super) latin1: bool,
}

pub(super) fn text_of(field: &[u8]) -> Text {
    let (text, latin1) = match std::str::from_utf8(field) {
        Ok(text) => (text.to_owned(), false),
        Err(_) => (field.iter().map(|&byte| char::from(byte)).collect(), true),
    };
    Text {
        text: if text.contains('"') {
            text.replace("\"\"", "\"")
        } else {
            text
        },
        latin1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(row: &str, separator: u8) -> Vec<&str> {
        let mut ranges = Vec::new();
        split(row.as_bytes(), separator, &mut ranges).unwrap();
        ranges.iter().map(|&(from, to)| &row[from..to]).collect()
    }

    #[test]
    fn fields_are_trimmed_and_unquoted() {
        assert_eq!(parts("a, b ,\"c,d\" ,", b','), ["a", "b", "c,d", ""]);
        assert_eq!(parts("0,5;1", b';'), ["0,5", "1"]);
        assert_eq!(parts("a\t\tb", b'\t'), ["a", "", "b"]);
        assert_eq!(parts("", b','), [""]);
        assert_eq!(parts("\"a\"\"b\"", b','), ["a\"\"b"]);
        assert_eq!(text_of(b"a\"\"b").text, "a\"b");
        assert_eq!(text_of(b"Kan\xe4le").text, "Kanäle");
    }

    #[test]
    fn broken_quotes_are_refused() {
        let mut ranges = Vec::new();
        for row in [&b"\"a"[..], b"\"a\"b,c", b"\"\"\""] {
            assert!(split(row, b',', &mut ranges).is_err());
        }
    }
}
