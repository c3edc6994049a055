//! A drawing under way: elements appended to one string, text escaped, coordinates kept short.

use std::fmt::Write as _;

/// Width of every picture in its own units; the page scales it.
pub(super) const WIDTH: f64 = 720.0;
/// Size of the text in a picture.
pub(super) const TEXT: f64 = 13.0;

/// The pictures' looks; light and dark come from the custom properties of [`super::page::COLOURS`].
pub(super) const STYLE: &str = include_str!("picture.css");

/// `text` for use between tags and in attributes; characters that no document may hold become U+FFFD.
pub(super) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\t' | '\n' => safe.push(character),
            '\u{fffe}' | '\u{ffff}' => safe.push('\u{fffd}'),
            c if c.is_control() => safe.push('\u{fffd}'),
            c => safe.push(c),
        }
    }
    safe
}

/// Upper estimate of the width of `text` at [`TEXT`] size, for the widest of the usual sans-serif fonts.
pub(super) fn text_width(text: &str) -> f64 {
    let ems = text.chars().map(|c| match c {
        'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '\'' | '|' | ' ' | '\u{202f}' => 0.36,
        'f' | 't' | 'r' | 'I' | '(' | ')' | '-' => 0.43,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 1.0,
        '+' | '\u{2212}' | '±' => 0.85,
        c if c.is_ascii() && !c.is_uppercase() => 0.64,
        c if c.is_ascii() => 0.8,
        'µ' | 'σ' | '\u{2009}' => 0.65,
        _ => 1.05,
    });
    ems.sum::<f64>() * TEXT
}

/// A coordinate: one digit behind the point is finer than any screen shows.
pub(super) fn c(value: f64) -> String {
    let mut text = format!("{value:.1}");
    if text.ends_with(".0") {
        text.truncate(text.len() - 2);
    }
    if text == "-0" {
        text.remove(0);
    }
    text
}

/// Where text stands beside its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    /// It begins there.
    Start,
    /// It is centred there.
    Middle,
    /// It ends there.
    End,
}

/// Shapes that tell marks apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// ◆
    Diamond,
    /// ▽
    Down,
    /// ■
    Square,
    /// ●
    Disc,
    /// ✕
    Cross,
}

/// Elements drawn so far.
#[derive(Debug, Default)]
pub(super) struct Drawing {
    body: String,
}

impl Drawing {
    /// A straight line.
    pub(super) fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        self.path(class, &format!("M{} {}L{} {}", c(x1), c(y1), c(x2), c(y2)));
    }

    /// A path with the data `d`; nothing if that is empty.
    pub(super) fn path(&mut self, class: &str, d: &str) {
        if !d.is_empty() {
            let _ = writeln!(self.body, r#"<path class="{class}" d="{d}"/>"#);
        }
    }

    /// A rectangle from one corner with a size; never thinner than can be seen.
    pub(super) fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64)) {
        let (width, height) = (c(width.max(0.8)), c(height.max(0.8)));
        let _ = writeln!(
            self.body,
            r#"<rect class="{class}" x="{}" y="{}" width="{width}" height="{height}"/>"#,
            c(x),
            c(y)
        );
    }

    /// A rectangle that tells `hint` when pointed at.
    pub(super) fn rect_with_hint(
        &mut self,
        class: &str,
        (x, y): (f64, f64),
        (width, height): (f64, f64),
        hint: &str,
    ) {
        let _ = writeln!(
            self.body,
            r#"<rect class="{class}" x="{}" y="{}" width="{}" height="{}"><title>{}</title></rect>"#,
            c(x),
            c(y),
            c(width),
            c(height),
            escape(hint)
        );
    }

    /// Text on a base line.
    pub(super) fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let _ = writeln!(
            self.body,
            r#"<text class="{class}" x="{}" y="{}" text-anchor="{anchor}">{}</text>"#,
            c(x),
            c(y),
            escape(text)
        );
    }

    /// A mark about its centre.
    pub(super) fn mark(&mut self, class: &str, shape: Shape, (x, y): (f64, f64)) {
        let d = match shape {
            Shape::Diamond => "m0-6 5 6-5 6-5-6z",
            Shape::Down => "m-5-4h10l-5 9z",
            Shape::Square => "m-4-4h8v8h-8z",
            Shape::Disc => "m-4.5 0a4.5 4.5 0 1 0 9 0a4.5 4.5 0 1 0-9 0z",
            Shape::Cross => "m-4-4l8 8m0-8l-8 8",
        };
        self.path(class, &format!("M{} {}{d}", c(x), c(y)));
    }

    /// The finished picture, `height` units high. `id` keeps its names apart from those of other pictures.
    pub(super) fn finish(self, id: &str, height: f64, title: &str, description: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\n\
             <title id=\"{id}-t\">{}</title>\n<desc id=\"{id}-d\">{}</desc>\n{}</svg>\n",
            c(WIDTH),
            c(height),
            escape(title),
            escape(description),
            self.body
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_from_outside_becomes_markup() {
        assert_eq!(
            escape("a<b & \"c\" 'd'>\u{0}\u{1b}"),
            "a&lt;b &amp; &quot;c&quot; &#39;d&#39;&gt;\u{fffd}\u{fffd}"
        );
        let mut drawing = Drawing::default();
        drawing.text(
            "t",
            (0.0, 0.0),
            Anchor::Start,
            "</text><script>alert(1)</script>",
        );
        let svg = drawing.finish("p", 10.0, "</title>&", "\u{8}");
        let parsed = roxmltree::Document::parse(&svg).unwrap();
        assert!(parsed
            .descendants()
            .all(|node| !node.has_tag_name("script")));
        assert!(parsed
            .descendants()
            .any(|node| node.text() == Some("</text><script>alert(1)</script>")));
    }

    #[test]
    fn coordinates_are_short() {
        assert_eq!(
            [c(1.0), c(-0.04), c(12.345), c(-3.0)],
            ["1", "0", "12.3", "-3"]
        );
    }
}
