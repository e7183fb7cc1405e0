//! Probes: how far to trust them, their curves and builds.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::calibration::{BathPlan, Builds, Calibration, Calibrations, NoCurve};
use crate::chart::Scales;
use crate::report::reader::Reader;
use crate::report::summary::Summary;
use crate::report::words::{list, minute, percent};
use crate::show::ResultTable;
use crate::study::SeasonStudy;

use super::batches::linked;
use super::parts::{answer, files, fold, part, table, untitled};

pub(super) fn section(study: &SeasonStudy, summary: &Summary, reader: &Reader) -> Markup {
    let scales = &reader.scales;
    html! {
        (answer(&summary.probes))
        @if summary.probes.table.rows > 0 { (files("drift_probes")) }
        (part(&study.calibrations, |found| html! {
            (remarks(&found.calibrations))
            (fold("The curves, from tilt to gravity", &html! { (untitled(found.chart_on(scales))) (files("calibrations")) }))
            (fold("The candidate curves", &html! {
                p { "Curves that agree within the baths may part beyond them. The shape of a float is taken where the baths do not contradict it." }
                (untitled(found.candidates_chart_on(scales)))
            }))
            (fold("What has changed between calibrations", &untitled(found.changes_chart(scales))))
            (without(&found.without, scales))
            (fold("Water after a calibration", &water(found, scales)))
        }))
        (fold("Which probe was in which batch", &stays(study)))
        (part(&study.bath_plan, |found| fold("The next baths", &plan(found, scales))))
        @if let Some(found) = study.builds.done() { (fold("How they are built", &builds(study, found))) }
    }
}

/// The batches of each probe, by its readings.
fn stays(study: &SeasonStudy) -> Markup {
    let mut stays: BTreeMap<&String, Vec<Markup>> = BTreeMap::new();
    for fit in study.kinetics.done().into_iter().flat_map(|found| &found.batches) {
        for offset in &fit.offsets {
            stays.entry(&offset.probe).or_default().push(linked(study, &fit.batch, &fit.batch));
        }
    }
    html! { @if !stays.is_empty() { ul { @for (probe, batches) in &stays {
        li { b { (probe) } @for batch in batches { " " (batch) } }
    } } } }
}

fn yes(is_so: bool) -> &'static str {
    if is_so { "yes" } else { "no" }
}

fn remarks(calibrations: &[Calibration]) -> Markup {
    // The same remark on many curves is said once.
    let mut all: BTreeMap<&String, Vec<&str>> = BTreeMap::new();
    for c in calibrations {
        for text in &c.remarks {
            all.entry(text).or_default().push(&c.calibration);
        }
    }
    let said =
        html! { @if !all.is_empty() { ul { @for (text, names) in &all { li { b { (list(names)) } ": " (text) } } } } };
    fold("Remarks on these curves", &said)
}

fn without(all: &[NoCurve], scales: &Scales) -> Markup {
    let failed: Vec<&NoCurve> = all.iter().filter(|none| !none.check).collect();
    let said = html! { @if !failed.is_empty() { ul { @for one in &failed {
        li { b { (one.probe) } @if let Some(at) = one.at { ", " (minute(at, &scales.zone)) } ": " (one.why) }
    } } } };
    fold("Without a curve", &said)
}

fn water(found: &Calibrations, scales: &Scales) -> Markup {
    let checks = found.without.iter().filter(|none| none.check).count();
    let made = ResultTable::new(&found.water_checks, 80)
        .text("probe", |check| &check.probe)
        .time("when", scales, |check| Some(check.at))
        .text("agrees?", |check| yes(check.agrees()))
        .estimate("reads off by", scales.difference("SG"), |check| Some(&check.shift_sg))
        .text("against", |check| &check.calibration)
        .number("tilt", "\u{b0}", 2, |check| Some(check.tilt_deg))
        .number("by the curve", "\u{b0}", 2, |check| check.expected_tilt_deg)
        .titled("");
    html! { @if !found.water_checks.is_empty() {
        p {
            @if checks > 0 { "Sessions with too few baths for a curve: " (checks) ". " }
            "A check never becomes a calibration, as that would hide drift. Water shows at once \
             whether the curve still holds. Agreement is tested at 5 %, so an interval of another level may leave out 0 although the \
             water agrees."
        }
        (table(&made, "water_checks"))
    } }
}

fn plan(found: &BathPlan, scales: &Scales) -> Markup {
    html! {
        @if let Some(taken) = found.recommended() {
            p { (found.in_words()) " The range: " (found.range_source) "." }
            @let baths = ResultTable::new(&taken.baths, usize::MAX)
                .number("SG", "", 3, |bath| Some(bath.sg))
                .number("\u{b0}P", "", 2, |bath| Some(bath.plato))
                .number("sucrose", "g", 1, |bath| Some(bath.sucrose_g_per_l))
                .number("water", "g", 1, |bath| Some(bath.water_g_per_l))
                .titled("One litre of each at 20 \u{b0}C, by mass");
            (baths.markup())
            p.sub { "Sucrose is plain white table sugar: never dextrose, never malt extract. Weigh sugar and water; do not fill up to a \
                     mark. The same gravity twice is two baths, mixed apart." }
            (files("bath_plan"))
        }
        (untitled(found.chart_on(scales)))
    }
}

fn builds(study: &SeasonStudy, found: &Builds) -> Markup {
    let built = |probe: &str| found.builds.iter().any(|build| build.probe == probe);
    let probes = study.season.probes.iter().map(|probe| probe.probe.as_str());
    let without_mass: Vec<&str> = probes.filter(|probe| !built(probe)).collect();
    let level = found.builds.iter().find_map(|build| build.water_tilt_deg.estimate()).map(|e| percent(e.level));
    let made = ResultTable::new(&found.builds, 60)
        .text("probe", |build| &build.probe)
        .number("mass", "g", 1, |build| Some(build.total_mass_g))
        .number("cell", "g", 1, |build| build.cell_mass_g)
        .estimate("tilt in water", "\u{b0}", |build| build.water_tilt_deg.estimate())
        .estimate("at SG 1.050", "\u{b0}", |build| build.tilt_at_1050_deg.estimate())
        .estimate("at SG 1.100", "\u{b0}", |build| build.tilt_at_1100_deg.estimate())
        .number("\u{b0} per 0.010 at SG 1.010", "", 2, |build| build.deg_per_0010_at_1010.value())
        .number("at SG 1.050", "", 2, |build| build.deg_per_0010_at_1050.value())
        .text("usable to SG 1.100?", |build| build.usable_to_1100.map_or("", yes))
        .note("advice", |build| Some(&build.advice))
        .note("remarks", |build| build.why())
        .titled("");
    html! {
        p {
            "Where each probe rests, and how far it moves for a change of gravity"
            @if let Some(level) = level { "; intervals of " (level) }
            ". "
            @if !without_mass.is_empty() { "Without a mass, so without this: " (list(&without_mass)) "." }
        }
        (untitled(found.chart()))
        (table(&made, "builds"))
    }
}
