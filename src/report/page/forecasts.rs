//! Forecasts and how they did.

use std::collections::BTreeSet;

use maud::{Markup, html};

use crate::forecast::Forecasts;
use crate::report::words::minute;
use crate::study::SeasonStudy;
use crate::units::Instant;

use super::parts::{Tables, part, picture};

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "When a batch comes to rest, if it is held at its last fermentation temperature. Only \u{201c}ready\u{201d}, at rest and \
             not stuck, may weigh in a decision, and never alone." }
        (part(&study.forecasts, |found| html! {
            (picture(found.chart()))
            (table(found, tables))
        }))
        h3 { "Tried on the past" }
        p { "The same forecast, made again for batches that are over, with nothing that became known later." }
        (part(&study.backtest, |found| html! {
            (picture(found.coverage_chart()))
            (picture(found.chart()))
            details { summary { "Every forecast of the past" }
                p { "A batch whose coming to rest was not seen, as it was cooled or ended before, is no test: what would have come is not known." }
                (tables.show("backtest", "Backtest", 400, &[
                    ("batch", "batch"), ("stage", "stage"), ("as_of", "as of"), ("status", "status"), ("finish_observed", "seen at rest"),
                    ("finish_p05", "5 %"), ("finish_p50", "50 %"), ("finish_p95", "95 %"), ("covered", "held"),
                ]))
            }
        }))
    }
}

/// The forecasts; one moment of all is said once.
fn table(found: &Forecasts, tables: &Tables<'_>) -> Markup {
    let moments: BTreeSet<Instant> = found.rows.iter().map(|row| row.as_of).collect();
    let mut columns = vec![
        ("batch", "batch"),
        ("as_of", "as of"),
        ("progress", "done"),
        ("finish_p05", "at rest 5 %"),
        ("finish_p50", "50 %"),
        ("finish_p95", "95 %"),
        ("terminal_p05", "gravity 5 %"),
        ("terminal_p50", "50 %"),
        ("terminal_p95", "95 %"),
        ("p_ready", "ready"),
        ("p_stuck", "stuck"),
        ("why", "remark"),
    ];
    let only = moments.first().filter(|_| moments.len() == 1);
    if only.is_some() {
        columns.retain(|(name, _)| *name != "as_of");
    }
    html! {
        @if let Some(at) = only { p { "As of " (minute(*at)) " UTC:" } }
        (tables.show("forecasts", "Forecasts", 80, &columns))
    }
}
