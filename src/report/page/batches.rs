//! Fermentations.

use maud::{Markup, html};

use crate::forecast::Forecast;
use crate::kinetics::BatchFit;
use crate::study::SeasonStudy;

use super::parts::{Tables, part, picture};

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "Each curve is fitted to the readings of its probes and to the samples together; the offset of a probe is \
             estimated where a sample or a second probe allows it." }
        (part(&study.kinetics, |found| html! {
            (picture(found.chart()))
            (tables.show("kinetics", "Batches", 200, &[
                ("batch", "batch"), ("strain", "strain"), ("status", "status"), ("original_sg", "original"), ("original_sg_se", "error"),
                ("terminal_sg", "terminal"), ("terminal_sg_se", "error"), ("max_rate_sg_per_day", "greatest rate"), ("lag_h", "lag"),
                ("mid_h", "half-way"), ("finish_at", "at rest"), ("attenuation", "attenuation"), ("attenuation_se", "error"),
                ("abv_percent", "alcohol (estimate)"), ("n", "points"), ("why", "why not"),
            ]))
            h3 { "One by one" }
            @for fit in &found.batches { (one(study, fit)) }
        }))
    }
}

fn one(study: &SeasonStudy, fit: &BatchFit) -> Markup {
    let series = study.series.iter().find(|series| series.batch == fit.batch);
    let forecast: Option<&Forecast> = study
        .forecasts
        .done()
        .and_then(|all| all.rows.iter().find(|row| row.batch == fit.batch && Some(row.as_of) == study.latest));
    html! {
        details open[forecast.is_some()] {
            summary { (fit.batch) " \u{b7} " (fit.strain) ": " (fit.status.name()) }
            @if !fit.why.is_empty() { p.none { (fit.why) } }
            (picture(fit.chart_with(series, forecast).map(|figure| figure.with_title(""))))
        }
    }
}
