//! Text to be copied as it stands, such as source code.

use super::svg::escape;

/// A text with its heading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Heading of the text.
    pub title: String,
    /// What to do with it, in a sentence or two.
    pub caption: String,
    /// The text.
    pub text: String,
}

impl Source {
    /// The section.
    pub(super) fn html(&self) -> String {
        format!(
            "<section>\n<h2>{}</h2>\n<p class=\"note\">{}</p>\n<pre class=\"code\" tabindex=\"0\">{}</pre>\n</section>\n",
            escape(&self.title),
            escape(&self.caption),
            escape(&self.text)
        )
    }
}
