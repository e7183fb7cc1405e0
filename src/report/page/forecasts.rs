//! Forecasts and how they did.

use maud::{Markup, html};

use crate::forecast::{Backtest, Forecast, Forecasts};
use crate::report::words::percent;
use crate::show::{Grid, ResultTable};
use crate::study::SeasonStudy;

use super::parts::{fold, part, picture, table};

pub(super) fn section(study: &SeasonStudy) -> Markup {
    html! {
        p { "A forecast says when a batch comes to rest if it is held at its last fermentation temperature. Only the chance that it is \
             ready, at rest and not stuck, may weigh in a decision, and never alone." }
        (part(&study.forecasts, |found| html! {
            (picture(found.chart()))
            (fold("All forecasts in numbers", &table(&forecasts(found), "forecasts")))
        }))
        h3 { "Tried on the past" }
        p { "The same forecast, made again for batches that are over, from what was known at the time." }
        (part(&study.backtest, |found| html! {
            (picture(found.coverage_chart()))
            (fold("Every forecast of the past", &html! {
                p { "A batch that was cooled or ended before it came to rest is no test: nobody knows what would have come." }
                (picture(found.chart()))
                (table(&backtest(found), "backtest"))
            }))
        }))
    }
}

fn forecasts(found: &Forecasts) -> Grid {
    // From p05 to p95 lies the level; the rest is shared by both sides.
    let side = |row: &Forecast, upper: bool| 0.5 + if upper { 0.5 } else { -0.5 } * row.level();
    let [low, high] =
        [false, true].map(|upper| found.rows.first().map_or_else(String::new, |row| percent(side(row, upper))));
    ResultTable::new(&found.rows, 80)
        .text("batch", |row| &row.batch)
        .time("as of", |row| Some(row.as_of))
        .chance("done", |row| row.progress.value())
        .time(&format!("at rest {low}"), |row| Some(row.finish?.p05))
        .time("50 %", |row| Some(row.finish?.p50))
        .time(&high, |row| Some(row.finish?.p95))
        .number(&format!("gravity {low}"), "SG", 4, |row| Some(row.terminal_sg?.p05))
        .number("50 %", "SG", 4, |row| Some(row.terminal_sg?.p50))
        .number(&high, "SG", 4, |row| Some(row.terminal_sg?.p95))
        .chance("ready", |row| row.p_ready)
        .chance("stuck", |row| row.p_stuck)
        .note("remark", |row| Some(&row.why))
        .titled("Forecasts")
}

fn backtest(found: &Backtest) -> Grid {
    ResultTable::new(&found.rows, 400)
        .text("batch", |row| &row.forecast.batch)
        .chance("made at", |row| Some(row.stage))
        .time("as of", |row| Some(row.forecast.as_of))
        .time("seen at rest", |row| row.finish_observed)
        .time("not before", |row| Some(row.forecast.finish?.p05))
        .time("middle", |row| Some(row.forecast.finish?.p50))
        .time("not after", |row| Some(row.forecast.finish?.p95))
        .text("held", |row| row.covered.map_or("", |held| if held { "yes" } else { "no" }))
        .titled(&format!("Forecasts of the past, {} intervals", percent(found.level)))
}
