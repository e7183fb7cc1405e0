//! What runs now, and what to do.

use maud::{Markup, html};

use crate::report::reader::Reader;
use crate::report::running::{RunningBatch, results, running};
use crate::report::summary::Summary;
use crate::report::words::count;
use crate::study::SeasonStudy;

use super::batches::place;
use super::parts::{fold, picture};

/// Batches that stand open, the first to finish first; those that finish later fold away.
const MOST_OPEN: usize = 6;

pub(super) fn section(study: &SeasonStudy, summary: &Summary, reader: &Reader) -> Markup {
    let batches = running(study);
    // All strips share their time, so that they can be compared. Of a batch at rest nothing is to come.
    let forecasts = || batches.iter().filter(|batch| !batch.at_rest()).map(|batch| batch.forecast);
    let ends = || forecasts().filter_map(|forecast| forecast.finish).flat_map(|q| [q.p05, q.p95]);
    let times = || ends().chain(forecasts().map(|forecast| forecast.as_of));
    let span = times().min().zip(times().max());
    let block = |batch: &RunningBatch<'_>| {
        html! { div {
            h3 {
                @match place(study, &batch.forecast.batch) {
                    Some(place) => a href={ "#" (place) } { (batch.name()) },
                    None => (batch.name()),
                }
            }
            p { (unbroken(&batch.now(reader))) }
            p { (unbroken(&batch.finish(reader))) }
            @if let Some((from, to)) = span.filter(|_| !batch.at_rest()) { (picture(batch.forecast.chart(from, to, &reader.scales))) }
        } }
    };
    let blocks = |of: &[RunningBatch<'_>]| html! { div.parts { @for batch in of { (block(batch)) } } };
    let (first, later) = batches.split_at(batches.len().min(MOST_OPEN));
    html! {
        @if batches.is_empty() {
            p { "No batch is running." }
            @for result in results(study, reader) { p { (result) } }
        }
        (blocks(first))
        @if !later.is_empty() { (fold(&format!("{} that finish later", count(later.len(), "batch", "batches")), &blocks(later))) }
        @if span.is_some() {
            p.sub { "Each shape shows when the batch comes to rest: the higher, the likelier. Upright line: the last reading of the season." }
        }
        h3 { (summary.steps.question) }
        ul.steps { @for step in &summary.steps.sentences { li { (unbroken(step)) } } }
    }
}

/// A sentence whose numbers stay with their percent signs.
fn unbroken(sentence: &str) -> String {
    sentence.replace(" %", "\u{a0}%")
}
