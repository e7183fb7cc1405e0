//! The page.

mod batches;
mod drift;
mod forecasts;
mod parts;
mod probes;
mod rows;
mod strains;
mod texts;
mod today;

use maud::{DOCTYPE, PreEscaped, html};

use crate::study::SeasonStudy;

use super::reader::Reader;
use super::summary::Summary;

const STYLE: &str = include_str!("style.css");
/// Nothing is fetched and nothing runs, whatever stands in the data.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// The whole page of a study.
pub(super) fn page(study: &SeasonStudy) -> String {
    let (summary, reader) = (Summary::of(study), &Reader::of(study));
    let sections = [
        ("today", "Today", today::section(study, &summary, reader)),
        ("batches", "Batches", batches::section(study, reader)),
        ("forecasts", "Forecasts", forecasts::section(study, reader)),
        ("probes", "Probes", probes::section(study, &summary, reader)),
        ("drift", "Drift", drift::section(study, reader)),
        ("strains", "Strains", strains::section(study, &summary, &reader.scales)),
        ("rows", "Rows", rows::section(study, &summary)),
        ("methods", "Methods and limits", texts::methods()),
        ("cautions", "Cautions", texts::cautions()),
    ];
    let sections = sections.map(|(id, title, body)| (id, title, if id == "rows" { body } else { reader.markup(body) }));
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (study.title()) ": season report" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    h1 { (study.title()) ": season report" }
                    p.sub {
                        (summary.season.strip_prefix(&format!("{}: ", study.title())).unwrap_or(&summary.season))
                    }
                }
                main {
                    p.print { "Parts with a triangle before their name are left out of this print." }
                    (texts::package())
                    @for (i, (id, title, body)) in sections.iter().enumerate() {
                        section { h2 id=(id) { (title) } (body) }
                        @if i == 0 {
                            nav aria-label="Sections" {
                                @for (id, title, _) in sections.iter().skip(1) { a href={ "#" (id) } { (title) } }
                            }
                        }
                    }
                }
                footer { p.sub { "heelwort " (env!("CARGO_PKG_VERSION")) } }
            }
        }
    }
    .into_string()
}
