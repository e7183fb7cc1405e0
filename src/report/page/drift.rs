//! Drift.

use maud::{Markup, html};

use crate::drift::{Drift, KindVerdict};
use crate::fit::Finding;
use crate::study::SeasonStudy;

use super::mixed::mixed;
use super::parts::{Tables, part, picture};
use crate::report::summary::due_in_words;
use crate::report::words::{interval, list};

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "Every bath and every sample shows how far a probe, on its first calibration of the season, is off." }
        (part(&study.drift, |found| html! {
            (picture(found.fleet_chart()))
            (picture(found.chart()))
            (shifts(found, tables))
            (tables.show("drift_probes", "Drift by probe", 80, &[
                ("probe", "probe"), ("n", "checks"), ("drift_sg_per_30d", "drift"), ("se", "its error"), ("lower", "from"), ("upper", "to"), ("gradual_sg_per_30d", "without shifts"), ("gradual_se", "its error"), ("gradual_lower", "from"), ("gradual_upper", "to"), ("why", "why not"),
            ]))
            (corrected(found))
            (due(found, tables))
            (fleet(found))
            (mixed(found))
            (kinds(found, tables))
        }))
    }
}

/// Sudden shifts, those of events and those found.
fn shifts(found: &Drift, tables: &Tables<'_>) -> Markup {
    html! {
        h3 { "Sudden shifts" }
        p {
            "A change of cell, shell or board, a knock or something that sticks moves a probe at once. Events that are written down are \
             taken at their date; others are sought in the checks, and in the readings of each batch, where a probe that jumps within an \
             hour or two and stays there moves as no fermentation does. By chance alone a probe without any shift shows one as strong as \
             p in that share of seasons; p of the fleet is the share of seasons in which any of these probes does. Where two probes parted in one beer and nothing tells \
             which of them shifted, both are named: one, or instead the other."
        }
        @if found.shifts.is_empty() { p { "None is known, and none was found." } }
        (picture(found.shift_chart()))
        (tables.show_in_words("drift_shifts", "Sudden shifts", 60, &[
            ("probe", "probe"), ("or_probes", "or instead"), ("at", "at"), ("kind", "kind"), ("evidence", "known from"), ("batch", "batch"), ("shift_sg", "shift"), ("lower", "from"), ("upper", "to"),
            ("earliest", "not before"), ("latest", "not after"), ("p_probe", "p"), ("p_fleet", "p of the fleet"), ("why", "why not"),
        ], "kind", |kind| if kind == "cell_swap" { "cell swap" } else { kind }))
    }
}

/// The interval that is recommended for a further probe of the fleet.
fn interval_in_words(found: &Drift) -> String {
    match &found.interval_d {
        Finding::Estimated(e) => due_in_words(e),
        other => {
            format!("No interval for a further probe of this fleet: {}.", other.why().unwrap_or("no reason given"))
        }
    }
}

/// Of which kind the drift is.
fn kinds(found: &Drift, tables: &Tables<'_>) -> Markup {
    html! {
        h3 { "Of which kind" }
        p {
            "References at two or more gravities tell two families apart, if at all: a proportional change (mass, height of the centre of \
             gravity, shell) gives nearly the same error everywhere, a sideways one (sensor zero, mass across the axis) a larger error at \
             low gravity. K is the probe's mass over the cube of its radius: when it grows by 0.1 %, SG reads 0.001 too low. The last columns say what one water check and one bath of SG 1.060 today \
             would buy."
        }
        (picture(found.kinds_chart()))
        p { (kinds_in_words(found)) }
        (tables.show("drift_kinds", "Kinds of drift", 80, &[
            ("probe", "probe"), ("kind", "kind"), ("p_proportional", "weight of proportional"), ("relative_k_per_30d", "relative change of K"),
            ("relative_k_se", "its error"), ("zero_deg_per_30d", "change of zero"), ("zero_se_deg", "its error"),
            ("zero_se_deg_after_two_baths", "error of zero after two baths"), ("p_told_after_two_baths", "chance that they tell the kind"), ("why", "why not"),
        ]))
    }
}

/// Which probes drift in which way.
fn kinds_in_words(found: &Drift) -> String {
    let of = |verdict: KindVerdict, words: &str| {
        let such: Vec<&str> =
            found.kinds.iter().filter(|kind| kind.verdict == verdict).map(|kind| kind.probe.as_str()).collect();
        (!such.is_empty()).then(|| format!("{words}: {}.", list(&such)))
    };
    let said = [
        of(KindVerdict::Proportional, "Proportional"),
        of(KindVerdict::Sideways, "Sideways"),
        of(KindVerdict::CannotTell, "Cannot be told"),
    ];
    said.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Which gravities are corrected.
fn corrected(found: &Drift) -> Markup {
    let such = |applied: bool| -> Vec<&str> {
        found.corrections.iter().filter(|c| c.applied == applied).map(|c| c.calibration.as_str()).collect()
    };
    let (with, without) = (such(true), such(false));
    html! {
        h3 { "Corrected gravities" }
        p {
            "Where the estimated error is large against what is not known of it, the gravities in " code { "tables/gravity.csv" }
            " are corrected by it; " code { "sg_uncorrected" } " keeps what the curve says. Fermentation curves and forecasts start from the \
             uncorrected ones, as they have an offset of each probe of their own. "
            "Corrected, by probe and number of the calibration in force: " @if with.is_empty() { "none" } @else { (list(&with)) } "."
            @if !without.is_empty() { " Not corrected: " (list(&without)) "." }
        }
    }
}

/// When probes are due.
fn due(found: &Drift, tables: &Tables<'_>) -> Markup {
    let ends: Vec<String> = found.ends_sg.iter().map(|sg| format!("{sg:.3}")).collect();
    html! {
        h3 { "How long until recalibration" }
        p {
            "A probe is due when the probability that it is off by more than " (found.limit_sg) " SG where the beers end (SG "
            (list(&ends)) ") passes " (format!("{:.0}", 100.0 * found.limit_chance)) " %. What is not known counts as well as the trend: a \
             probe that nobody checks becomes due. A date is never farther ahead than the probe was observed."
        }
        (picture(found.limit_chart()))
        p { (interval_in_words(found)) }
        (tables.show("drift_probes", "Due", 80, &[
            ("probe", "probe"), ("offset_sg", "error now, on its curve in force"), ("offset_lower", "from"), ("offset_upper", "to"),
            ("since_last_sg", "change since it was calibrated"), ("since_last_se", "its error"),
            ("p_out_now", "chance of being out of limit"), ("recalibrate_by", "calibrate by"), ("why", "why not"),
        ]))
    }
}

fn fleet(found: &Drift) -> Markup {
    html! {
        h3 { "The fleet" }
        div.scroll.terms { table {
            thead { tr { @for name in ["", "estimate", "method"] { th scope="col" { (name) } } } }
            tbody { @for term in &found.fleet { tr {
                td { (term_in_words(&term.term)) }
                @match &term.finding {
                    Finding::Estimated(e) => { td { (interval(e, false)) } td { (e.method) } }
                    other => { td { (other.to_string()) } td {} }
                }
            } } }
        } }
        p.sub { "Brackets: " (format!("{:.0}", 100.0 * found.level)) " % intervals. All columns: "
            a href="tables/drift_fleet.csv" { "tables/drift_fleet.csv" } }
    }
}

/// The terms of the fleet for a reader; one that is not known here keeps its name.
fn term_in_words(term: &str) -> String {
    match term {
        "mean_drift_sg_per_30d" => "mean drift, SG per 30 days".to_owned(),
        "sd_of_drift_sg_per_30d" => "spread of drift between probes, SG per 30 days".to_owned(),
        "drift_of_another_probe_sg_per_30d" => "drift of another probe like these, SG per 30 days".to_owned(),
        "walk_sd_sg_after_30d" => "wandering after 30 days, SG".to_owned(),
        "pair_sd_sg" => "spread of one check beyond its stated errors, SG".to_owned(),
        "beer_bias_sg" => "reads this much higher in beer than in baths, SG".to_owned(),
        other => other.replace('_', " "),
    }
}
