//! Forecasts and how they did.

use maud::{Markup, html};

use crate::study::SeasonStudy;

use super::parts::{fold, link, part, picture};

pub(super) fn section(study: &SeasonStudy) -> Markup {
    html! {
        p { "A forecast says when a batch comes to rest if it is held at its last fermentation temperature. Only the chance that it is \
             ready, at rest and not stuck, may weigh in a decision, and never alone." }
        (part(&study.forecasts, |found| html! {
            (picture(found.chart()))
            p.sub { "All numbers: " (link("forecasts", "csv")) ", " (link("forecasts", "parquet")) }
        }))
        (part(&study.backtest, |found| fold("Tried on the past", &html! {
            p { "The same forecast, made again for batches that are over, from what was known at the time. A batch that was cooled or \
                 ended before it came to rest is no test: nobody knows what would have come." }
            (picture(found.coverage_chart()))
            (picture(found.chart()))
            p.sub { "All numbers: " (link("backtest", "csv")) ", " (link("backtest", "parquet")) }
        })))
    }
}
