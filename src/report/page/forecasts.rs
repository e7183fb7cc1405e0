//! Forecasts and how they did.

use maud::{Markup, html};

use crate::forecast::{Forecast, Forecasts, Outlook};
use crate::report::reader::Reader;
use crate::report::running::forecasts_now;
use crate::report::words::percent;
use crate::show::{ResultTable, picture};
use crate::study::SeasonStudy;

use super::parts::{files, fold, part};

pub(super) fn section(study: &SeasonStudy, reader: &Reader) -> Markup {
    html! {
        (part(&study.forecasts, |found| html! { div.parts {
            div { (picture(found.chart_on(&reader.scales))) }
            div {
                p { "A forecast says when a batch comes to rest if it is held at its last fermentation temperature. Only the chance \
                     that it is ready, at rest and not stuck, may weigh in a decision, and never alone." }
                (files("forecasts"))
                (fold("The coming fortnight", &fortnight(study, found, reader)))
            }
        } }))
        @if study.backtest.why() != study.forecasts.why() { (part(&study.backtest, |found| fold("Tried on the past", &html! {
            p { "The same forecast, made again for batches that are over, from what was known at the time. A batch that was cooled or \
                 ended before it came to rest tells only that it had not come to rest by then." }
            @if let Some(worth) = found.worth() { p { (worth) } }
            (picture(found.chart()))
            (files("backtest"))
        }))) }
    }
}

/// Day by day, which batches are at rest with which probability; then what their plans bring.
fn fortnight(study: &SeasonStudy, found: &Forecasts, reader: &Reader) -> Markup {
    let mut rows = forecasts_now(study);
    rows.retain(|row| !row.p_finished_in_days.is_empty());
    let days = rows.iter().map(|row| row.p_finished_in_days.len()).max().unwrap_or(0);
    let day = |day| rows.first().map_or_else(String::new, |row| reader.day(row.as_of.plus_days(day as f64 + 1.0)));
    let table = ResultTable::new(0..days, days).text("by the end of", |n| day(n).replace(' ', "\u{a0}"));
    let by_day = |row: &Forecast| {
        let chances = row.p_finished_in_days.clone();
        move |day: usize| chances.get(day).copied()
    };
    let table = rows.iter().fold(table, |table, row| table.chance(&row.batch, by_day(row)));
    html! {
        @if days > 0 {
            p { "The chance that a batch is at rest by the end of each day. At rest is not ready: it may be stuck." }
            (table.titled("").markup())
            @for outlook in &found.outlooks { p { (planned(outlook, reader)) } }
            (files("fortnight")) (files("what_if"))
        }
    }
}

/// What a schedule brings, in a sentence.
fn planned(outlook: &Outlook, reader: &Reader) -> String {
    let Outlook { batch, schedule, .. } = outlook;
    let cold = outlook.cold_at.zip(outlook.p_rest_before_cold);
    match (cold, &outlook.left_sg, outlook.finish.p50) {
        (Some((at, p)), Some(left), _) => format!(
            "{batch} {schedule} goes cold on {}. The chance that it is at rest before that is {}. If it is not, up to {} of its gravity may \
             stay unfermented.",
            reader.day(at),
            percent(p),
            reader.size(left.p95)
        ),
        (_, _, Some(finish)) => format!("{batch} {schedule} comes to rest about {}.", reader.day(finish)),
        _ => format!("{batch} {schedule} does not come to rest."),
    }
}
