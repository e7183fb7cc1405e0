//! A finished picture.

use std::fmt;
use std::path::Path;

use maud::{PreEscaped, html};

use crate::error::{Error, Result};

use super::svg::{FONT, Panel};

const NAMESPACE: &str = "http://www.w3.org/2000/svg";
/// Space between panels, px.
const GAP: u32 = 14;
/// Width of the widest row of panels in the one-document form, px.
const ROW: u32 = 1120;

/// A picture of one or more panels with its title, its words for those who do not see it, and a caption.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    title: String,
    alt: String,
    caption: String,
    panels: Vec<Panel>,
}

impl Figure {
    /// A figure of these panels. `alt` says what there is to see, in a sentence or two.
    pub(super) fn new(title: impl Into<String>, alt: impl Into<String>, panels: Vec<Panel>) -> Self {
        Self { title: title.into(), alt: alt.into(), caption: String::new(), panels }
    }

    /// The same figure with a caption: how to read it, and what was left out.
    #[must_use]
    pub(super) fn with_caption(mut self, caption: impl Into<String>) -> Self {
        self.caption = caption.into();
        self
    }

    /// The same figure under another title; an empty one is left out.
    #[must_use]
    pub(crate) fn with_title(mut self, title: impl Into<String>) -> Self {
        self.title = title.into();
        self
    }

    /// True when there is nothing to draw.
    pub fn is_empty(&self) -> bool {
        self.panels.is_empty()
    }

    /// Places for the panels, row by row: (width, height, corners).
    fn layout(&self) -> (u32, u32, Vec<(u32, u32)>) {
        let (mut x, mut y, mut row_height, mut width) = (0, 0, 0, 0);
        let mut corners = Vec::with_capacity(self.panels.len());
        for panel in &self.panels {
            if x > 0 && x + panel.width > ROW {
                (x, y, row_height) = (0, y + row_height + GAP, 0);
            }
            corners.push((x, y));
            width = width.max(x + panel.width);
            row_height = row_height.max(panel.height);
            x += panel.width + GAP;
        }
        (width, y + row_height, corners)
    }

    /// The figure as one SVG document that stands alone, dark on white.
    pub fn svg(&self) -> String {
        let (width, height, corners) = self.layout();
        let page = html! {
            svg xmlns=(NAMESPACE) width=(width) height=(height) viewBox={ "0 0 " (width) " " (height) } role="img"
                style="color:#1a1f24;background:#fff" {
                title { (self.title) }
                desc { (self.alt) }
                @for (panel, (x, y)) in self.panels.iter().zip(corners) {
                    svg x=(x) y=(y) width=(panel.width) height=(panel.height) viewBox=(panel.view_box()) font-family=(FONT) {
                        (PreEscaped(&panel.body))
                    }
                }
            }
        };
        page.into_string()
    }

    /// Writes [`Figure::svg`] to a file.
    ///
    /// # Errors
    /// [`Error::Io`] when the file cannot be written.
    #[doc = example!(no_run "study.drift()?.chart()?.save(\"drift.svg\")?;")]
    pub fn save(&self, path: impl AsRef<Path>) -> Result<()> {
        std::fs::write(path.as_ref(), self.svg()).map_err(|source| Error::io("writing", path, source))
    }

    /// The figure as a fragment of HTML: panels stand beside each other where there is room.
    ///
    /// Inline attributes only, no identifiers and no style sheet, so that any number of figures fit on one page.
    pub fn html(&self) -> String {
        let cell = self.panels.iter().map(|panel| panel.width).max().unwrap_or(0);
        // A picture of one panel may be larger on a wide screen.
        let most = if self.panels.len() == 1 { 6 } else { 5 };
        let columns = format!("repeat(auto-fill,minmax(min(100%,{cell}px),1fr))");
        let figure = html! {
            figure style="margin:0 0 1.2em" {
                @if !self.title.is_empty() { div style="font-weight:600;margin:0 0 .4em" { (self.title) } }
                div role="img" aria-label=(self.alt)
                    style={ "display:grid;gap:" (GAP) "px;align-items:start;grid-template-columns:" (columns) } {
                    @for panel in &self.panels {
                        svg xmlns=(NAMESPACE) viewBox=(panel.view_box()) font-family=(FONT) aria-hidden="true"
                            style={ "display:block;width:100%;max-width:" (panel.width * most / 4) "px;height:auto" } {
                            (PreEscaped(&panel.body))
                        }
                    }
                }
                @if !self.caption.is_empty() {
                    figcaption style="font-size:.875em;opacity:.8;margin-top:.4em;max-width:46em" { (self.caption) }
                }
            }
        };
        figure.into_string()
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Picture: {}", self.title)?;
        for words in [&self.alt, &self.caption] {
            if !words.is_empty() {
                write!(f, "\n  {words}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn panel(width: u32) -> Panel {
        Panel { body: "<circle cx=\"4\" cy=\"4\" r=\"4\"/>\n".to_owned(), width, height: 50, scale: 4 }
    }

    #[test]
    fn panels_break_into_rows() {
        let figure = Figure::new("t", "a", vec![panel(500), panel(500), panel(500)]);
        let (width, height, _) = figure.layout();
        assert_eq!((width, height), (1014, 114));
    }

    #[test]
    fn words_of_the_user_are_escaped_everywhere() {
        let figure = Figure::new("<b>&", "\"quoted\"", vec![panel(10)]).with_caption("<script>");
        for text in [figure.svg(), figure.html()] {
            assert!(
                !text.contains("<b>") && !text.contains("<script>") && text.contains("&quot;quoted&quot;"),
                "{text}"
            );
        }
    }

    #[test]
    fn a_figure_carries_no_style_sheet_and_no_script() {
        let html = Figure::new("t", "a", vec![panel(900)]).html();
        assert!(!html.contains("<style") && !html.contains("<script") && !html.contains(" id="));
        assert!(html.contains("max-width:1350px") && !html.contains("overflow"), "{html}");
    }
}
