//! Pieces that several sections use.

use maud::{Markup, PreEscaped, html};
use polars::prelude::DataFrame;

use crate::chart::Figure;
use crate::error::Result;
use crate::show::{Show, Table};
use crate::study::Part;

/// The tables beside the page, by name.
#[derive(Debug, Clone, Copy)]
pub(in crate::report) struct Tables<'a>(pub(in crate::report) &'a [(String, DataFrame)]);

impl Tables<'_> {
    /// Some columns of a table under headings in words, with a link to the whole; nothing where it is missing or
    /// empty.
    pub(super) fn show(&self, name: &str, title: &str, rows: usize, columns: &[(&str, &str)]) -> Markup {
        self.show_in_words(name, title, rows, columns, "", |text| text)
    }

    /// The same with the names in one column of text told in words.
    pub(super) fn show_in_words(
        &self,
        name: &str,
        title: &str,
        rows: usize,
        columns: &[(&str, &str)],
        told: &str,
        words: fn(&str) -> &str,
    ) -> Markup {
        let Some((_, frame)) = self.0.iter().find(|(known, _)| known == name) else { return html! {} };
        if frame.height() == 0 {
            return html! {};
        }
        let table = Table::new(frame.clone()).titled(title).limit(rows).headed(columns).in_words(told, words);
        html! { (PreEscaped(table.html())) p.sub { "All columns: " (file(name, "csv")) ", " (file(name, "parquet")) } }
    }
}

fn file(name: &str, kind: &str) -> Markup {
    let path = format!("tables/{name}.{kind}");
    html! { a href=(path) { (path) } }
}

/// A picture, or why it could not be drawn; nothing for a picture without panels.
pub(super) fn picture(drawn: Result<Figure>) -> Markup {
    match drawn {
        Ok(figure) if figure.is_empty() => html! {},
        Ok(figure) => PreEscaped(figure.html()),
        Err(error) => none(&format!("This picture could not be drawn: {error}.")),
    }
}

/// What stands where something is missing.
pub(super) fn none(why: &str) -> Markup {
    html! { p.none { (why) } }
}

/// The section of a study that ran, else why it did not.
pub(super) fn part<T>(part: &Part<T>, body: impl FnOnce(&T) -> Markup) -> Markup {
    match part {
        Part::Done(done) => body(done),
        Part::Skipped(why) => none(&format!("Skipped: {why}.")),
        Part::Failed(why) => none(&format!("No estimate: {why}.")),
    }
}
