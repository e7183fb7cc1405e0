//! Pieces that several sections use.

use maud::{Markup, html};

use crate::chart::{Figure, Scales};
use crate::error::Result;
use crate::kinetics::Trait;
use crate::report::summary::Answer;
use crate::report::words::capital;
use crate::show::{Grid, picture};
use crate::study::Part;

/// Most rows that stand open.
const MOST_ROWS: usize = 20;

/// A table with links to the whole of it; nothing where it has no rows.
pub(super) fn table(grid: &Grid, file: &str) -> Markup {
    html! { @if grid.rows > 0 { (grid.markup()) (files(file)) } }
}

/// Links to both files of a table beside the page.
pub(super) fn files(file: &str) -> Markup {
    let [csv, parquet] = ["csv", "parquet"].map(|kind| format!("tables/{file}.{kind}"));
    html! { p.sub { "All columns: " a href=(csv) { (csv) } ", " a href=(parquet) { (parquet) } } }
}

/// What folds away under a heading; nothing where there is nothing.
pub(super) fn fold(heading: &str, body: &Markup) -> Markup {
    html! { @if !body.0.is_empty() { details { summary { (heading) } (body) } } }
}

/// What has so many rows stands open, or folds away where they are more than a screen.
pub(super) fn open_if_short(rows: usize, heading: &str, body: Markup) -> Markup {
    if rows > MOST_ROWS { fold(heading, &body) } else { body }
}

/// Sentences and table of an answer.
pub(super) fn answer(answer: &Answer) -> Markup {
    html! {
        @for sentence in &answer.sentences { p { (sentence) } }
        @if answer.table.rows > 0 { (open_if_short(answer.table.rows, "All in a table", answer.table.markup())) }
    }
}

/// A picture under a heading that says what it is.
pub(super) fn untitled(drawn: Result<Figure>) -> Markup {
    picture(drawn.map(|figure| figure.with_title("")))
}

/// The section of a study that ran, else why it did not.
pub(super) fn part<T>(part: &Part<T>, body: impl FnOnce(&T) -> Markup) -> Markup {
    match part {
        Part::Done(done) => body(done),
        Part::Skipped(why) => html! { p.none { (capital(why)) "." } },
        Part::Failed(why) => html! { p.none { "No estimate: " (why) "." } },
    }
}

pub(super) fn trait_with_unit(which: Trait, scales: &Scales) -> String {
    format!("{}, {}", which.title(), scales.of(which).unit)
}
