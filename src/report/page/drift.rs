//! Drift in detail.

use maud::{Markup, html};

use crate::chart::{Scales, Shown};
use crate::drift::{Drift, Shift, ShiftKind};
use crate::report::reader::Reader;
use crate::report::words::{list, percent};
use crate::show::{Grid, ResultTable, picture};
use crate::study::SeasonStudy;

use super::parts::{files, fold, open_if_short, part, table, untitled};

pub(super) fn section(study: &SeasonStudy, reader: &Reader) -> Markup {
    let scales = &reader.scales;
    html! {
        (part(&study.drift, |found| html! {
            p { "Each bath and each sample shows by how much a probe is off. Here it is read by its first calibration of the season." }
            (open_if_short(found.probes.len(), "Drift of the fleet", picture(found.fleet_chart_on(scales))))
            (fold("Probe by probe", &html! { (picture(found.chart_on(scales))) (table(&probes(found, scales), "drift_probes")) }))
            (fold("Sudden shifts", &shifts(found, scales)))
            (fold("Entries that do not fit", &misfits(found, scales)))
            @if !found.instruments.is_empty() { (fold("Instruments", &instruments(found, scales))) }
            (fold("How long until a calibration", &due(found, reader)))
            (fold("The fleet", &fleet(found, scales)))
            (fold("Of which kind the drift is", &kinds(found)))
        }))
    }
}

fn probes(found: &Drift, scales: &Scales) -> Grid {
    ResultTable::new(&found.probes, 80)
        .text("probe", |probe| &probe.probe)
        .count("checks", |probe| probe.n)
        .estimate("drift", scales.difference("SG per 30 d"), |probe| probe.drift_sg_per_30d.estimate())
        .estimate("without shifts", scales.difference("SG per 30 d"), |probe| probe.gradual_sg_per_30d.estimate())
        .note("why not", |probe| probe.drift_sg_per_30d.why())
        .titled("")
}

/// Sudden shifts, those of events and those found.
fn shifts(found: &Drift, scales: &Scales) -> Markup {
    let kind = |shift: &Shift| match &shift.kind {
        ShiftKind::Known(event) => event.replace('_', " "),
        ShiftKind::Found => "found".to_owned(),
    };
    let made = ResultTable::new(&found.shifts, 60)
        .text("probe", |shift| &shift.probe)
        .text("or instead", |shift| shift.or_probes.join(" or "))
        .time("at", scales, |shift| Some(shift.at))
        .text("kind", kind)
        .text("known from", |shift| shift.kind.evidence())
        .estimate("shift", scales.difference("SG"), |shift| shift.shift_sg.estimate())
        .time("not before", scales, |shift| Some(shift.earliest))
        .time("not after", scales, |shift| Some(shift.latest))
        .number("p", "", 3, |shift| shift.p_probe)
        .number("p of the fleet", "", 3, |shift| shift.p_fleet)
        .note("why not", |shift| shift.shift_sg.why())
        .titled("");
    html! {
        p {
            "A change of cell, shell or board, a knock or something that sticks moves a probe at once. Events that are written down are \
             taken at their date. Others are sought in the checks. p is the share of seasons in which a probe without any shift \
             shows one as strong by chance; p of the fleet, the share in which any of these probes does. Where two probes part in one \
             beer and nothing tells which of them shifted, both are named."
        }
        @if found.shifts.is_empty() { p { "No shift is known, and none was found." } }
        (table(&made, "drift_shifts"))
    }
}

/// References and readings that the rest of the season contradicts.
fn misfits(found: &Drift, scales: &Scales) -> Markup {
    let made = ResultTable::new(&found.misfits, 60)
        .text("entry", |misfit| misfit.kind.name())
        .time("at", scales, |misfit| Some(misfit.at))
        .text("batch", |misfit| misfit.batch.as_deref().unwrap_or_default())
        .text("bath", |misfit| misfit.bath.as_deref().unwrap_or_default())
        .text("probes", |misfit| list(&misfit.probes))
        .number("stated", scales.gravity("SG"), 4, |misfit| Some(misfit.stated_sg))
        .number("off by", scales.difference("SG"), 4, |misfit| Some(misfit.off_sg))
        .number("standard error", scales.difference("SG"), 4, |misfit| Some(misfit.se))
        .chance("chance that it is wrong", |misfit| Some(misfit.p))
        .titled("");
    html! {
        p {
            "A scale may be misread, a digit mistyped, a sample come from another batch. So each reference is held against all \
             others, and so are the readings of a probe in a batch. Where a wrong entry is likelier than a shift of its probe, it is left \
             out of drift and of the fermentation curve, and stays in its table. Look it up. If it is a slip, mend it there, or write \
             ignore in its column use."
        }
        @if found.misfits.is_empty() { p { "Every reference fits." } } @else { (table(&made, "misfits")) }
    }
}

/// When probes are due.
fn due(found: &Drift, reader: &Reader) -> Markup {
    let ends: Vec<String> = found.ends_sg.iter().map(|sg| reader.plain(*sg)).collect();
    html! {
        p {
            "A probe is due when the chance that it is off by more than " (reader.scales.limit(found.limit_sg)) " where the beers end (" (list(&ends))
            ") passes " (percent(found.limit_chance)) ". What is not known counts as well as the trend, so a probe that nobody checks becomes \
             due. A date is never farther ahead than the time for which the probe was observed."
        }
        @if let Some(why) = found.interval_d.why() { p { "No interval for a new probe of this kind: " (why) "." } }
        (untitled(found.limit_chart_on(&reader.scales)))
    }
}

/// The biases of the instruments.
fn instruments(found: &Drift, scales: &Scales) -> Markup {
    let made = ResultTable::new(&found.instruments, 60)
        .text("instrument", |of| &of.instrument)
        .estimate("reads too high by", scales.difference("SG"), |of| of.bias_sg.estimate())
        .note("why not", |of| of.bias_sg.why())
        .titled("");
    html! {
        p {
            "All that one hydrometer or refractometer measures shares its bias. It is found from the baths and samples in which it met \
             probes, and taken off."
        }
        (table(&made, "instruments"))
    }
}

/// The terms of the fleet.
fn fleet(found: &Drift, scales: &Scales) -> Markup {
    let terms = ResultTable::new(&found.fleet, usize::MAX)
        .text("term", |term| quantity(&term.term, scales).unit)
        .mixed("estimate", |term| quantity(&term.term, scales), |term| term.finding.estimate())
        .text("method", |term| term.finding.estimate().map_or("", |e| &e.method))
        .note("why not", |term| term.finding.why())
        .titled("");
    html! {
        (table(&terms, "drift_fleet"))
        p { "The mean drift includes the sudden shifts." }
    }
}

/// Of which kind the drift is.
fn kinds(found: &Drift) -> Markup {
    html! {
        p {
            "A proportional change (mass, height of the centre of gravity, shell) gives nearly the same error everywhere; a sideways one \
             (sensor zero, mass across the axis) gives a larger error at low gravity. Only references at two or more gravities can tell \
             them apart. K is the probe's mass over the cube of its radius: when it grows by 0.1 %, SG reads 0.001 too low. The last \
             columns of the table say what one water check and one bath of SG 1.060 would tell today."
        }
        (untitled(found.kinds_chart()))
        (files("drift_kinds"))
    }
}

/// A term of the fleet for a reader; one that is not known here keeps its name.
fn quantity(term: &str, scales: &Scales) -> Shown {
    scales.difference(match term {
        "mean_drift_sg_per_30d" => "mean drift, SG per 30 days",
        "sd_of_drift_sg_per_30d" => "spread of drift between probes, SG per 30 days",
        "drift_of_another_probe_sg_per_30d" => "drift of another probe like these, SG per 30 days",
        "walk_sd_sg_after_30d" => "wandering after 30 days, SG",
        "pair_sd_sg" => "spread of one check beyond its stated errors, SG",
        "beer_bias_sg" => "reads this much higher in beer than in baths, SG",
        other => return other.into(),
    })
}
