//! Fermentations.

use maud::{Markup, html};

use crate::forecast::Forecast;
use crate::kinetics::BatchFit;
use crate::study::SeasonStudy;

use super::parts::{Tables, none, part, picture};

/// Most single pictures: a page must stay light enough for a phone.
const MOST: usize = 60;

/// The candidates by their names in the tables.
const CURVES: &str = "logistic4 and logistic5: a logistic, symmetric or not. gompertz: slow to end. lag_exponential: nothing \
for a while, then a steady decline. inhibited: yeast that grows on the sugar and is held back by the alcohol, a differential \
equation. smooth: a logistic whose rate may bend where the readings say so, with a slow tail. Parameters count those that the \
readings decide, offsets of probes and the error model included. To foretell: fitted to the first 60 % of the time and held against the rest.";

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "Each curve is fitted to the readings of its probes and to the samples together; the offset of a probe is \
             estimated where a sample or a second probe allows it. Half-way and lag at the reference temperature are in \
             thermal time, which runs with the measured temperature. The status is where the fitted curve stands at the last \
             reading; the forecasts, which also know the other batches, say how likely a batch is at rest." }
        (part(&study.kinetics, |found| html! {
            (picture(found.chart()))
            (tables.show("kinetics", "Batches", 200, &[
                ("batch", "batch"), ("strain", "strain"), ("status", "status"), ("original_sg", "original"), ("original_sg_se", "error"),
                ("terminal_sg", "terminal"), ("terminal_sg_se", "error"), ("max_rate_sg_per_day", "greatest rate"), ("lag_h", "lag"),
                ("mid_h", "half-way"), ("mid_ref_h", "half-way at 20 \u{b0}C"), ("clock", "clock"), ("finish_at", "at rest"), ("attenuation", "attenuation"), ("attenuation_se", "error"),
                ("abv_percent", "alcohol (estimate)"), ("n", "points"), ("why", "why not"),
            ]))
            details {
                summary { "Which curve describes each batch, and which foretells it" }
                p { (CURVES) }
                (tables.show("kinetics_candidates", "Candidates", 400, &[
                    ("batch", "batch"), ("curve", "curve"), ("clock", "clock"), ("parameters", "parameters"), ("aicc_above_best", "AICc above the best"), ("akaike_weight", "weight"),
                    ("rmse_sg", "residuals"), ("forward_n", "points foretold"), ("forward_rmse_sg", "error of these"), ("why", "remark"),
                ]))
            }
            h3 { "One by one" }
            @if found.batches.len() > MOST {
                (none(&format!("Pictures of the {MOST} batches pitched last; the numbers of all are in the table.")))
            }
            @for fit in last(&found.batches) { (one(study, fit)) }
        }))
    }
}

/// The batches pitched last, in the order of the table.
fn last(batches: &[BatchFit]) -> Vec<&BatchFit> {
    let mut pitched: Vec<_> = batches.iter().map(|fit| fit.pitched_at).collect();
    pitched.sort_unstable();
    let from = pitched.iter().rev().nth(MOST - 1).copied();
    batches.iter().filter(|fit| from.is_none_or(|from| fit.pitched_at >= from)).take(MOST).collect()
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
            (picture(fit.residual_chart().map(|figure| figure.with_title(""))))
        }
    }
}
