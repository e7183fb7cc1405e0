//! Fermentations.

use maud::{Markup, html};

use crate::chart::Scales;
use crate::kinetics::{BatchFit, BatchState, Kinetics, Trait};
use crate::report::reader::Reader;
use crate::report::running::{RunningBatch, running};
use crate::report::words::count;
use crate::show::{Grid, ResultTable};
use crate::study::SeasonStudy;
use crate::units::HOURS_PER_DAY;

use super::parts::{files, fold, open_if_short, part, table, trait_with_unit, untitled};

/// Most single pictures: a page must stay light enough for a phone.
const MOST: usize = 60;

pub(super) fn section(study: &SeasonStudy, reader: &Reader) -> Markup {
    html! {
        (part(&study.kinetics, |found| html! {
            p { "Each curve is fitted to the readings of the probes and to the samples of its batch." }
            @let (last, running) = (last(&found.batches), running(study));
            @if found.batches.len() > MOST {
                p.none { "Only the " (MOST) " batches pitched last have a picture; the table has all." }
            }
            @let shown = found.batches.iter().enumerate().filter(|(_, fit)| last.is_none_or(|from| fit.pitched_at >= from)).rev();
            @let (ended, open): (Vec<_>, Vec<_>) = shown.partition(|(_, fit)| fit.state() == BatchState::Ended);
            @for (i, fit) in open { (one(study, &running, fit, i, reader)) }
            (open_if_short(ended.len(), &format!("Ended: {}", count(ended.len(), "batch", "batches")), html! {
                @for (i, fit) in ended { (one(study, &running, fit, i, reader)) }
            }))
            (fold("All batches in one picture", &untitled(found.chart_on(&reader.scales))))
            (fold("All batches in numbers", &html! {
                p { "Half-way at 20 \u{b0}C: the hours to half-way, had the batch been held at 20 \u{b0}C." }
                (table(&numbers(found, &reader.scales), "kinetics"))
            }))
        }))
    }
}

/// Words that lead to where the page shows a batch.
pub(super) fn linked(study: &SeasonStudy, batch: &str, words: &str) -> Markup {
    let fits = study.kinetics.done().map_or(&[][..], |found| &found.batches);
    let shown = last(fits);
    let place = fits.iter().position(|fit| fit.batch == batch && shown.is_none_or(|from| fit.pitched_at >= from));
    html! { @match place { Some(i) => a href={ "#batch-" (i) } { (words) }, None => (words) } }
}

/// When the first of the [`MOST`] batches pitched last was pitched; none where there are no more.
fn last(batches: &[BatchFit]) -> Option<crate::Instant> {
    let mut pitched: Vec<_> = batches.iter().map(|fit| fit.pitched_at).collect();
    pitched.sort_unstable();
    pitched.iter().rev().nth(MOST - 1).copied()
}

fn one(study: &SeasonStudy, running: &[RunningBatch<'_>], fit: &BatchFit, i: usize, reader: &Reader) -> Markup {
    let scales = &reader.scales;
    let series = study.series.iter().find(|series| series.batch == fit.batch);
    let running = running.iter().find(|one| one.forecast.batch == fit.batch);
    // Where a running batch will end is said by its forecast alone.
    let runs = running.map_or(fit.state() == BatchState::Running, |one| !one.at_rest());
    let traits =
        ResultTable::new(Trait::ALL.into_iter().filter(|which| !(runs && which.needs_terminal())), Trait::ALL.len())
            .text("trait", |which| trait_with_unit(which, scales))
            .mixed("estimate", |which| scales.of(which), |which| fit.finding(which).estimate())
            .titled("");
    let samples = series.map_or(&[][..], |series| &series.samples);
    let samples = ResultTable::new(samples, 60)
        .number("day", "", 1, |sample| Some(sample.hours / HOURS_PER_DAY))
        .number("sample", scales.gravity("SG"), 4, |sample| Some(sample.sg))
        .number("standard deviation", scales.difference("SG"), 4, |sample| Some(sample.sd))
        .titled("Samples");
    html! {
        details {
            summary { (fit.batch) " \u{b7} " (fit.strain) ": " (running.map_or_else(|| fit.state_in_words(), |one| one.state())) }
            div id={ "batch-" (i) } {
                @if !fit.why.is_empty() { p.none { (fit.why) } }
                div.parts {
                    div { (untitled(fit.chart_on(scales, series, running.map(|one| one.forecast)))) }
                    div {
                        @if fit.traits.iter().any(|found| found.estimate().is_some()) { (traits.markup()) }
                        @if samples.rows > 0 { (samples.markup()) }
                        p {
                            @if !fit.offsets.is_empty() {
                                (if fit.offsets.len() == 1 { "Probe: " } else { "Probes: " })
                                @for (i, offset) in fit.offsets.iter().enumerate() {
                                    @if i > 0 { ", " }
                                    a href="#probes" { (offset.probe) }
                                }
                                ". "
                            }
                            "Strain: " a href="#strains" { (fit.strain) } ". "
                            @if let Some(running) = running { (running.rest(reader)) " " (running.further(reader)) }
                        }
                        (files("kinetics"))
                    }
                }
                (fold("How well the curve fits", &untitled(fit.residual_chart_on(scales))))
            }
        }
    }
}

fn numbers(found: &Kinetics, scales: &Scales) -> Grid {
    let estimate = |which: Trait| move |fit: &'_ BatchFit| fit.finding(which).value();
    ResultTable::new(&found.batches, 200)
        .text("batch", |fit| &fit.batch)
        .text("strain", |fit| &fit.strain)
        .text("state", |fit| fit.state_in_words())
        .estimate("original", scales.gravity("SG"), |fit| fit.finding(Trait::OriginalSg).estimate())
        .estimate("terminal", scales.gravity("SG"), |fit| fit.finding(Trait::TerminalSg).estimate())
        .number("greatest rate", scales.difference("SG/day"), 4, estimate(Trait::MaxRateSgPerDay))
        .number("lag", "h", 1, estimate(Trait::LagH))
        .number("half-way", "h", 1, estimate(Trait::MidH))
        .number("half-way at 20 \u{b0}C", "h", 1, |fit| fit.at_reference.mid_h.value())
        .time("at rest", scales, BatchFit::finish_at)
        .estimate("attenuation", "", |fit| fit.finding(Trait::Attenuation).estimate())
        .number("alcohol (estimate)", "%", 1, estimate(Trait::AbvPercent))
        .count("points", |fit| fit.n)
        .note("why not", |fit| Some(&fit.why))
        .titled("")
}
