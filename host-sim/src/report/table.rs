//! A table of strings, cut where a page would no longer be read.

use std::fmt::Write as _;

use super::svg::escape;

/// Rows with a header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Heading of the table.
    pub title: String,
    /// What it holds, in a sentence or two.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows; the first 200 are shown. Missing cells are empty, those beyond the last column are dropped.
    pub rows: Vec<Vec<String>>,
    /// Where all rows are, such as `touches.csv`.
    pub rest_in: String,
}

/// One column of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its heading.
    pub name: String,
    /// Whether it holds numbers, which are set flush right.
    pub number: bool,
}

/// Most rows shown.
const SHOWN: usize = 200;

impl Table {
    /// The table itself, without heading.
    pub(super) fn html(&self) -> String {
        let mut html =
            String::from("<div class=\"sheet\" tabindex=\"0\" role=\"region\" aria-label=\"");
        html += &escape(&self.title);
        html += "\">\n<table>\n<thead><tr>";
        for column in &self.columns {
            // A name may break after its underscores, so that it does not widen its column.
            let name = escape(&column.name).replace('_', "_<wbr/>");
            let _ = write!(html, "<th scope=\"col\"{}>{name}</th>", side(column));
        }
        html += "</tr></thead>\n<tbody>\n";
        for row in self.rows.iter().take(SHOWN) {
            html += "<tr>";
            for (k, column) in self.columns.iter().enumerate() {
                let cell = row.get(k).map_or("", String::as_str);
                let cell = if column.number {
                    grouped(cell)
                } else {
                    escape(cell)
                };
                let _ = write!(html, "<td{}>{cell}</td>", side(column));
            }
            html += "</tr>\n";
        }
        html += "</tbody>\n</table>\n</div>\n";
        if let Some(more) = self.rows.len().checked_sub(SHOWN).filter(|&more| more > 0) {
            let rows = if more == 1 { "row is" } else { "rows are" };
            let _ = writeln!(
                html,
                "<p class=\"note\">{more} more {rows} in <code>{}</code>.</p>",
                escape(&self.rest_in)
            );
        }
        html
    }
}

/// A long whole number with a gap before each group of three digits that copying leaves out; other text as it is.
fn grouped(cell: &str) -> String {
    let digits = cell.strip_prefix('-').unwrap_or(cell);
    if digits.len() < 5 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return escape(cell);
    }
    let sign = cell.len() - digits.len();
    let mut text = String::from(&cell[..sign]);
    for (k, digit) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k) % 3 == 0 {
            text.push_str("<i></i>");
        }
        text.push(digit);
    }
    text
}

fn side(column: &Column) -> &'static str {
    if column.number {
        " class=\"number\""
    } else {
        ""
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(rows: usize) -> String {
        let columns = vec![
            Column {
                name: "onset_ns".into(),
                number: true,
            },
            Column {
                name: "flags".into(),
                number: false,
            },
        ];
        let rows = (0..rows).map(|k| vec![k.to_string()]).collect();
        Table {
            title: "T".into(),
            caption: String::new(),
            columns,
            rows,
            rest_in: "a&b.csv".into(),
        }
        .html()
    }

    #[test]
    fn a_long_table_tells_where_the_rest_is() {
        assert!(!table(200).contains("more"));
        assert!(table(201).contains("1 more row is in <code>a&amp;b.csv</code>"));
        assert_eq!(table(5000).matches("<tr>").count(), SHOWN + 1);
    }

    #[test]
    fn long_numbers_are_grouped_without_changing_them() {
        assert_eq!(grouped("-1234567"), "-1<i></i>234<i></i>567");
        assert_eq!(
            [grouped("1234"), grouped("12345x"), grouped("1<2")],
            ["1234", "12345x", "1&lt;2"]
        );
    }

    #[test]
    fn a_short_row_is_filled_up() {
        assert!(table(1).contains("<td class=\"number\">0</td><td></td>"));
    }
}
