//! Forecasts and how they did.

use maud::{Markup, html};

use crate::study::SeasonStudy;

use super::parts::{Tables, part, picture};

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "When a batch comes to rest, if it is held at its last fermentation temperature. Only \u{201c}ready\u{201d}, at rest and \
             not stuck, may weigh in a decision, and never alone." }
        (part(&study.forecasts, |found| html! {
            (picture(found.chart()))
            (tables.show("forecasts", "Forecasts", 80, &[
                ("batch", "batch"), ("vessel", "vessel"), ("as_of", "as of"), ("progress", "done"), ("finish_p05", "at rest 5 %"),
                ("finish_p50", "50 %"), ("finish_p95", "95 %"), ("terminal_p05", "gravity 5 %"), ("terminal_p50", "50 %"),
                ("terminal_p95", "95 %"), ("p_ready", "ready"), ("p_stuck", "stuck"), ("why", "why not"),
            ]))
        }))
        h3 { "Tried on the past" }
        p { "The same forecast, made again for batches that are over, with nothing that became known later." }
        (part(&study.backtest, |found| html! {
            (picture(found.coverage_chart()))
            (picture(found.chart()))
            details { summary { "Every forecast of the past" }
                (tables.show("backtest", "Backtest", 400, &[
                    ("batch", "batch"), ("stage", "stage"), ("as_of", "as of"), ("status", "status"), ("finish_observed", "seen at rest"),
                    ("finish_p05", "5 %"), ("finish_p50", "50 %"), ("finish_p95", "95 %"), ("covered", "held"), ("why", "why not"),
                ]))
            }
        }))
    }
}
