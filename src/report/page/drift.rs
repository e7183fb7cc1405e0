//! Drift.

use maud::{Markup, html};

use crate::drift::Drift;
use crate::fit::Finding;
use crate::study::SeasonStudy;

use super::parts::{Tables, part, picture};
use crate::report::words::{interval, list};

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "Every bath and every sample shows how far a probe, on its first calibration of the season, is off." }
        (part(&study.drift, |found| html! {
            (picture(found.fleet_chart()))
            (picture(found.chart()))
            (shifts(found, tables))
            (tables.show("drift_probes", "Drift by probe", 80, &[
                ("probe", "probe"), ("n", "checks"), ("drift_sg_per_30d", "drift"), ("se", "its error"), ("lower", "from"), ("upper", "to"), ("gradual_sg_per_30d", "without shifts"), ("gradual_se", "its error"), ("why", "why not"),
            ]))
            (due(found, tables))
            (fleet(found))
        }))
    }
}

/// Sudden shifts, those of events and those found.
fn shifts(found: &Drift, tables: &Tables<'_>) -> Markup {
    html! {
        h3 { "Sudden shifts" }
        p {
            "A change of cell, shell or board, a knock or something that sticks moves a probe at once. Events that are written down are \
             taken at their date; others are sought in the checks. By chance alone a probe without any shift shows one as strong as \
             p in that share of seasons; p of the fleet is the share of seasons in which any of these probes does."
        }
        @if found.shifts.is_empty() { p { "None is known, and none was found." } }
        (tables.show("drift_shifts", "Sudden shifts", 60, &[
            ("probe", "probe"), ("at", "at"), ("kind", "kind"), ("shift_sg", "shift"), ("lower", "from"), ("upper", "to"),
            ("earliest", "not before"), ("latest", "not after"), ("p_probe", "p"), ("p_fleet", "p of the fleet"), ("why", "why not"),
        ]))
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
        (tables.show("drift_probes", "Due", 80, &[
            ("probe", "probe"), ("offset_sg", "error now"), ("offset_lower", "from"), ("offset_upper", "to"),
            ("p_out_now", "probability of being out of limit"), ("recalibrate_by", "calibrate by"), ("why", "why not"),
        ]))
    }
}

fn fleet(found: &Drift) -> Markup {
    html! {
        h3 { "The fleet" }
        div.scroll { table {
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
