//! Several results in one block.

use std::fmt;

use maud::{PreEscaped, html};

use crate::chart::Figure;

/// Something that shows as HTML, and as plain text by its `Display`.
pub(crate) trait Show: fmt::Display {
    /// A fragment of HTML with inline attributes only; every text of the user is escaped.
    fn html(&self) -> String;
}

/// Several results under each other, as one block: a notebook keeps only the last HTML block of a cell.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Page {
    blocks: Vec<(String, String)>,
}

impl Page {
    /// An empty page.
    pub fn new() -> Self {
        Self::default()
    }

    /// The same page with a heading below what it holds.
    #[must_use]
    pub fn heading(self, words: &str) -> Self {
        let markup = html! { h3 style="margin:1em 0 .4em" { (words) } };
        self.push(markup.into_string(), format!("{words}\n{}", "-".repeat(words.chars().count())))
    }

    /// The same page with a paragraph below what it holds.
    #[must_use]
    pub fn words(self, words: &str) -> Self {
        let markup = html! { p style="max-width:46em;margin:.4em 0" { (words) } };
        self.push(markup.into_string(), words.to_owned())
    }

    /// The same page with a result below what it holds.
    #[must_use]
    pub fn with(self, shown: &impl Show) -> Self {
        self.push(shown.html(), shown.to_string())
    }

    fn push(mut self, html: String, text: String) -> Self {
        self.blocks.push((html, text));
        self
    }
}

impl Show for Page {
    fn html(&self) -> String {
        html! { div { @for (block, _) in &self.blocks { (PreEscaped(block)) } } }.into_string()
    }
}

impl fmt::Display for Page {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let texts: Vec<&str> = self.blocks.iter().map(|(_, text)| text.as_str()).collect();
        f.write_str(&texts.join("\n\n"))
    }
}

impl Show for Figure {
    fn html(&self) -> String {
        Figure::html(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::Summary;
    use crate::simulate::SimulateSettings;
    use crate::study::Settings;

    #[test]
    fn a_page_is_one_block_and_escapes_words() {
        let page = Page::new().heading("A & B").words("less < more").with(&Page::new().words("inner"));
        let html = page.html();
        assert_eq!(html.matches("<div>").count(), 2);
        assert!(html.contains("A &amp; B") && html.contains("less &lt; more"), "{html}");
        assert_eq!(page.to_string(), "A & B\n-----\n\nless < more\n\ninner");
    }

    #[test]
    fn several_results_make_one_block_without_style_sheet() {
        let settings = SimulateSettings { batches: 6, probes: 3, reading_minutes: 120.0, ..Default::default() };
        let mut season = settings.run().unwrap().season;
        for batch in &mut season.batches {
            batch.strain.push_str("<script>alert('x')</script>\"&");
        }
        let study = Settings::default().study(season).unwrap();
        let page = Page::new()
            .heading("The season")
            .with(&study.season)
            .with(&Summary::of(&study))
            .with(study.calibrations().unwrap())
            .with(study.drift().unwrap())
            .with(study.kinetics().unwrap())
            .with(study.strains().unwrap());
        let html = page.html();
        assert!(html.contains("&lt;script&gt;alert(") && !html.contains("<script"));
        for tag in ["div", "table", "tr", "td", "th", "svg", "text", "p"] {
            let opened = html.matches(&format!("<{tag}>")).count() + html.matches(&format!("<{tag} ")).count();
            assert_eq!(opened, html.matches(&format!("</{tag}>")).count(), "<{tag}>");
        }
        assert!(!html.contains("<style") && !html.contains(" class=") && !html.contains(" id="));
        assert!(page.to_string().contains("The season\n----------"));
    }
}
