//! The mixed model of the pairs.

use maud::{Markup, html};

use crate::drift::{Drift, MixedTerm, MixedTermKind};
use crate::fit::{Finding, decimals_for};
use crate::report::words::{interval, list, signed};

pub(super) fn mixed(found: &Drift) -> Markup {
    let mixed = &found.mixed;
    let of = |kind: MixedTermKind| mixed.terms.iter().filter(move |term| term.kind == kind);
    html! {
        h3 { "The same checks in a linear mixed model" }
        p {
            "A line for the fleet and one for each probe, with the errors of curves, references and instruments, the wandering and the sudden \
             shifts as the study has them: the drift here is that between the shifts, while the mean drift above has the shifts in it. What else may go with a probe's error is tried one at a time: each shows an effect by chance once in ten seasons."
        }
        @if let Some(why) = &mixed.why { p { "None: " (why) "." } } @else {
            div.scroll.terms { table {
                thead { tr { @for name in ["", "estimate", "check by simulated data", "degrees of freedom", "method"] { th scope="col" { (name) } } } }
                tbody {
                    @for kind in [MixedTermKind::Fixed, MixedTermKind::Component, MixedTermKind::Covariate] {
                        @for term in of(kind) { (row(term)) }
                    }
                }
            } }
            p.sub {
                "Brackets: " (format!("{:.0}", 100.0 * found.level)) " % intervals. "
                @if mixed.resamples > 0 { "Check: from " (mixed.resamples) " simulated data sets. " }
                @if !mixed.boundary.is_empty() {
                    "On the edge of what can be: "
                    (list(&mixed.boundary.iter().map(|b| b.in_words(column_in_words)).collect::<Vec<_>>())) ". "
                }
                "All columns: " a href="tables/drift_mixed.csv" { "tables/drift_mixed.csv" }
            }
        }
    }
}

fn row(term: &MixedTerm) -> Markup {
    html! { tr {
        td { (term_in_words(&term.term)) }
        @match &term.finding {
            Finding::Estimated(e) => {
                td { (interval(e, false)) }
                td { @if let Some((lower, upper)) = term.bootstrap {
                    (format!("{} to {}", signed(lower, decimals_for(e.se), false), signed(upper, decimals_for(e.se), false)))
                } }
                td { @if let Some(df) = term.df { (if df < 100.0 { format!("{df:.1}") } else { "over 100".to_owned() }) } }
                td { (e.method) }
            }
            other => { td { (other.to_string()) } td {} td {} td {} }
        }
    } }
}

/// The terms for a reader; one that is not known here keeps its name.
fn term_in_words(term: &str) -> String {
    match term {
        "error_at_calibration_sg" => "error at the calibration, SG".to_owned(),
        "gradual_drift_sg_per_30d" => "drift of the fleet between its shifts, SG per 30 days".to_owned(),
        "sd of error_at_calibration_sg by probe" => {
            "spread of the error at the calibration between probes, SG".to_owned()
        }
        "sd of gradual_drift_sg_per_30d by probe" => "spread of that drift between probes, SG per 30 days".to_owned(),
        "correlation of error_at_calibration_sg and gradual_drift_sg_per_30d by probe" => {
            "correlation of the two".to_owned()
        }
        "residual sd" => "spread of one check beyond its stated errors, SG".to_owned(),
        "per_10_c_sg" => "for 10 \u{b0}C more, SG".to_owned(),
        "per_0.010_of_gravity_sg" => "for 0.010 more gravity, SG".to_owned(),
        "per_10_batches_before_sg" => "for ten batches more, SG".to_owned(),
        "per_0.1_v_of_supply_sg" => "for 0.1 V more supply, SG".to_owned(),
        other => other.replace('_', " "),
    }
}

/// A column of the model within a sentence.
fn column_in_words(column: &str) -> String {
    match column {
        "error_at_calibration_sg" => "the error at the calibration".to_owned(),
        "gradual_drift_sg_per_30d" => "drift".to_owned(),
        other => format!("`{other}`"),
    }
}
