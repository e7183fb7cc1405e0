//! The page.

mod batches;
mod cautions;
mod drift;
mod forecasts;
mod methods;
mod mixed;
mod parts;
mod probes;
mod rows;
mod strains;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::study::SeasonStudy;

use super::summary::{Answer, Summary};
pub(super) use parts::Tables;

const STYLE: &str = include_str!("style.css");
/// Nothing is fetched and nothing runs, whatever stands in the data.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// The whole page of a study; `tables` are the tables that lie beside it.
pub(super) fn page(study: &SeasonStudy, tables: &Tables<'_>) -> String {
    let summary = Summary::of(study);
    let sections = [
        ("probes", "Probes and calibration", probes::calibration(study, tables)),
        ("drift", "Drift", drift::section(study, tables)),
        ("batches", "Batches", batches::section(study, tables)),
        ("forecasts", "Forecasts", forecasts::section(study, tables)),
        ("strains", "Yeasts", strains::section(study, tables)),
        ("rows", "Row account", rows::section(study)),
        ("methods", "Methods and limits", methods::section()),
    ];
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { "Season report: " (study.name) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    h1 { "Season report: " (study.name) }
                    p.sub { (summary.season) ". Times are UTC, gravities are at 20 \u{b0}C. heelwort " (env!("CARGO_PKG_VERSION")) "." }
                }
                main {
                    (cautions::package())
                    section.answer aria-label="In short" { @for answer in &summary.answers { (short(answer)) } }
                    nav aria-label="Sections" {
                        @for (id, title, _) in &sections { a href={ "#" (id) } { (title) } }
                        a href="#cautions" { "Cautions" }
                    }
                    @for (id, title, body) in &sections { section { h2 id=(id) { (title) } (body) } }
                    section { h2 id="cautions" { "Cautions" } (cautions::section()) }
                }
            }
        }
    }
    .into_string()
}

fn short(answer: &Answer) -> Markup {
    html! {
        h3 { (answer.question) }
        @for sentence in &answer.sentences { p { (sentence) } }
        @if !answer.rows.is_empty() {
            div.scroll { table {
                thead { tr { @for name in &answer.heading { th scope="col" { (name) } } } }
                tbody { @for row in &answer.rows { tr { @for cell in row { td { (cell) } } } } }
            } }
        }
    }
}
