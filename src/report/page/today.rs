//! What runs now, and what to do.

use maud::{Markup, html};

use crate::report::reader::Reader;
use crate::report::running::{RunningBatch, results, running};
use crate::report::summary::{Summary, WHAT_TO_DO};
use crate::report::words::count;
use crate::show::picture;
use crate::study::SeasonStudy;

use super::batches::linked;
use super::parts::fold;

/// What the lines and shapes of the batches are.
const HOW_TO_READ: [&str; 4] = [
    "Gravity is that at 20 \u{b0}C, on the curve through all readings and samples of the batch: at its last reading, or the last before it was cooled. In tables/gravity.csv \
     each reading stands alone, with an error of its own.",
    "\u{b1}: one standard error. At rest: within 0.001 SG of its terminal gravity, unless the settings say otherwise. Its drop: \
     from original to terminal gravity.",
    "Ready now: the chance that the batch is at rest and not stuck. Attenuation is apparent, alcohol an estimate.",
    "A shape shows when a batch comes to rest: the higher, the likelier. Upright line: the last reading of the season.",
];
/// Batches that stand open, the first to finish first; those that finish later fold away.
const MOST_OPEN: usize = 4;

pub(super) fn section(study: &SeasonStudy, summary: &Summary, reader: &Reader) -> Markup {
    let batches = running(study);
    // All strips share their time, so that they can be compared. Of a batch at rest nothing is to come.
    let forecasts = || batches.iter().filter(|batch| !batch.at_rest()).map(|batch| batch.forecast);
    let ends = || forecasts().filter_map(|forecast| forecast.finish).flat_map(|q| [q.p05, q.p95]);
    let times = || ends().chain(forecasts().map(|forecast| forecast.as_of));
    let span = times().min().zip(times().max());
    let block = |batch: &RunningBatch<'_>| {
        html! { div.now {
            h3 { (linked(study, &batch.forecast.batch, &batch.name())) }
            p { (unbroken(&batch.now(reader))) }
            (open_on_paper(&batch.rest(reader), &[batch.further(reader)]))
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
        @if !later.is_empty() { (fold(&count(later.len(), "batch that finishes later", "batches that finish later"), &blocks(later))) }
        @if !batches.is_empty() { (open_on_paper("How to read this", &HOW_TO_READ.map(str::to_owned))) }
        h3 { (WHAT_TO_DO) }
        @if summary.steps.is_empty() { p { "Nothing that the data show." } }
        ul.steps { @for step in &summary.steps { li { (open_on_paper(&step.what, &step.why)) } } }
    }
}

/// What folds away on a screen and stands open on paper.
fn open_on_paper(line: &str, sentences: &[String]) -> Markup {
    html! { details.paper { summary { (unbroken(line)) } @for sentence in sentences { p { (unbroken(sentence)) } } } }
}

/// A sentence whose numbers stay with their percent signs.
fn unbroken(sentence: &str) -> String {
    sentence.replace(" %", "\u{a0}%")
}
