//! The page around the pictures: one file, nothing fetched from elsewhere, no scripts.

use super::svg;

/// Colours on light and on dark ground; paper is always light.
const LIGHT: &str = include_str!("colours.css");
const DARK: &str = include_str!("dark.css");
const STYLE: &str = include_str!("page.css");

/// The page's own device: chatter that settles, with its balance point. Purely ornamental.
const DEVICE: &str = r#"<svg viewBox="2 0 206 30" aria-hidden="true"><path class="trace" d="M2 25H54V7H58V25H76V7H81V25H90V7H98V25H104V7H113V25H118V7H132V25H136V7H150V25H153V7H206"/><path class="pole onset" d="M104 1V29"/><path class="onset" d="M104 9l6 7-6 7-6-7z"/></svg>"#;

fn colours() -> String {
    format!("{LIGHT}@media screen and (prefers-color-scheme: dark) {{ {DARK}}}\n")
}

/// A whole document; `title` is plain text, `body` is markup.
pub(super) fn document(title: &str, body: &str) -> String {
    let title = svg::escape(title);
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <meta name=\"color-scheme\" content=\"light dark\"/>\n<title>{title}</title>\n\
         <style>\n{}{STYLE}{}</style>\n</head>\n<body>\n{body}</body>\n</html>\n",
        colours(),
        svg::STYLE
    )
}

/// The ornament at the head of a page.
pub(super) fn device() -> &'static str {
    DEVICE
}

/// A picture made to stand alone: its colours, its looks and its ground go into it.
pub(super) fn svg_file(picture: &str) -> String {
    let ground = "svg { background: var(--paper) }\n";
    let style = format!("<style>\n{}{}{ground}</style>\n", colours(), svg::STYLE);
    // The style goes behind the title and the description, which have to come first.
    match picture.split_once("</desc>\n") {
        Some((head, body)) => format!("{head}</desc>\n{style}{body}"),
        None => picture.to_owned(),
    }
}
