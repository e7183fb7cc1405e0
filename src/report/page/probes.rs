//! Calibration and builds.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::calibration::{Calibration, CurveKind, NoCurve};
use crate::study::SeasonStudy;

use super::parts::{Tables, part, picture};
use crate::report::words::{list, minute, signed};

pub(super) fn calibration(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "A tilt is not a gravity: each probe has its own curve, fitted to baths of known gravity." }
        (part(&study.calibrations, |found| html! {
            (picture(found.chart()))
            (tables.show_in_words("calibrations", "Curves", 60, &[
                ("calibration", "calibration"), ("calibrated_at", "last bath"), ("curve", "curve"), ("n", "baths"),
                ("rmse_sg", "residual"), ("sg_min", "from"), ("sg_max", "to"),
                ("water_tilt_deg", "in pure water"), ("water_ok", "25 \u{b1} 5\u{b0}?"),
            ], "curve", curve_in_words))
            (remarks(&found.calibrations))
            h3 { "The candidates" }
            p { "Curves that agree within the baths may part beyond them. A float's own shape is taken where its residuals allow it." }
            (picture(found.candidates_chart()))
            (picture(found.changes_chart()))
            (without(&found.without, tables))
        }))
        (shells(tables))
        (plan(study))
        (builds(study, tables))
    }
}

fn remarks(calibrations: &[Calibration]) -> Markup {
    let suspect = |c: &Calibration| {
        let suspect = c.suspect.as_ref()?;
        let bath = c.baths.get(suspect.bath)?;
        let name = bath.bath.clone().unwrap_or_else(|| format!("SG {:.4}", bath.sg));
        Some(format!(
            "the bath {name} does not fit the others (p = {:.4}, corrected for the number of baths); without it the curve moves \
             by {} at SG 1.020",
            suspect.p,
            signed(suspect.shift_at_1020_sg.value, 4, true)
        ))
    };
    // The same remark on many curves is said once.
    let mut all: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for c in calibrations {
        for text in c.remarks.iter().cloned().chain(suspect(c)) {
            all.entry(text).or_default().push(&c.calibration);
        }
    }
    html! {
        @if !all.is_empty() {
            h3 { "To know about these curves" }
            ul { @for (text, names) in &all { li { b { (list(names)) } ": " (text) } } }
        }
    }
}

fn without(all: &[NoCurve], tables: &Tables<'_>) -> Markup {
    let (checks, failed): (Vec<&NoCurve>, Vec<&NoCurve>) = all.iter().partition(|none| none.check);
    html! {
        @if !failed.is_empty() {
            h3 { "Without a curve" }
            ul { @for one in &failed {
                li { b { (one.probe) } @if let Some(at) = one.at { ", " (minute(at)) } ": " (one.why) }
            } }
        }
        @if !checks.is_empty() {
            h3 { "Checks" }
            p {
                "Sessions with too few baths for a curve: " (checks.len()) ". A check never becomes a calibration, as that would \
                 hide drift; it counts as drift instead. In water it shows at once whether the curve still holds:"
            }
            details { summary { "water after a calibration" }
                (tables.show("water_checks", "Water after a calibration", 80, &[
                    ("probe", "probe"), ("at", "when"), ("calibration", "against"), ("tilt_deg", "tilt"),
                    ("expected_tilt_deg", "by the curve"), ("shift_sg", "reads off by"), ("lower", "from"), ("upper", "to"),
                    ("agrees", "agrees (tested at 5 %)?"),
                ]))
                p.sub { "From and to: the 90 % interval. A difference is only called one at 5 %, so that an interval may just leave out 0 and \
                         the water still agree." }
            }
        }
    }
}

/// The curve of that name for a reader.
fn curve_in_words(name: &str) -> &str {
    match CurveKind::ALL.into_iter().find(|kind| kind.name() == name) {
        Some(kind) => kind.words(),
        None => name,
    }
}

fn shells(tables: &Tables<'_>) -> Markup {
    let shown = tables.show(
        "shell_effects",
        "Coolings",
        60,
        &[
            ("probe", "probe"),
            ("batch", "batch"),
            ("sg", "SG"),
            ("warm_temp_c", "from"),
            ("cold_temp_c", "to"),
            ("sg_per_10k", "in all, SG per 10 K"),
            ("left_over_sg_per_10k", "beyond the stated shell"),
            ("sg_per_10k_se", "its error"),
            ("why", "why not"),
        ],
    );
    html! {
        @if !shown.0.is_empty() {
            h3 { "In the cold" }
            p { "A finished batch keeps its gravity when it is cooled. What a probe then reads differently is the sum of its \
                 shell, its thermometer, the model of the liquid and what the gravity still fell, at the gravity of that beer; \
                 at other gravities and in other batches the same figure has a larger error." }
            details { summary { "Every cooling" } (shown) }
        }
    }
}

fn plan(study: &SeasonStudy) -> Markup {
    html! {
        h3 { "The next baths" }
        (part(&study.bath_plan, |found| html! {
            @if let Some(taken) = found.recommended() {
                p { (found.in_words()) " The range: " (found.range.source) "." }
                p { "One litre of each at 20 \u{b0}C, by mass:" }
                div.scroll { table {
                    thead { tr { @for name in ["SG", "\u{b0}P", "sucrose, g", "water, g"] { th scope="col" { (name) } } } }
                    tbody { @for bath in &taken.baths { tr {
                        td { (format!("{:.3}", bath.recipe.sg)) } td { (format!("{:.2}", bath.recipe.plato)) }
                        td { (format!("{:.1}", bath.recipe.sucrose_g_per_l)) } td { (format!("{:.1}", bath.recipe.water_g_per_l)) }
                    } } }
                } }
                p.sub { "Sucrose is plain white table sugar: never dextrose, never malt extract. Weigh sugar and water; do not fill \
                         up to a mark. The same gravity twice is two baths, mixed apart." }
            }
            (picture(found.chart()))
            p.sub { "All numbers of baths, probe by probe, and the recipes: " a href="tables/bath_plan.csv" { "tables/bath_plan.csv" } }
        }))
    }
}

fn builds(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    let shown = tables.show(
        "builds",
        "Builds",
        60,
        &[
            ("probe", "probe"),
            ("total_mass_g", "mass"),
            ("cell_mass_g", "cell"),
            ("water_tilt_deg", "tilt in water"),
            ("in_water_band", "25 \u{b1} 5\u{b0}?"),
            ("tilt_at_1050_deg", "tilt at SG 1.050"),
            ("tilt_at_1100_deg", "at SG 1.100"),
            ("deg_per_0010_at_1010", "\u{b0} per 0.010 at SG 1.010"),
            ("deg_per_0010_at_1050", "at SG 1.050"),
            ("advice", "advice"),
            ("why", "to know"),
        ],
    );
    let built = |probe: &str| study.builds.done().is_none_or(|found| found.builds.iter().any(|b| b.probe == probe));
    let probes = study.season.probes.iter().map(|probe| probe.probe.as_str());
    let without_mass: Vec<&str> = probes.filter(|probe| !built(probe)).collect();
    html! {
        @if !shown.0.is_empty() {
            h3 { "Builds" }
            p { "Where each probe rests, and how far it moves for a change of gravity." }
            @if !without_mass.is_empty() { p { "Not told, for want of a mass: " (list(&without_mass)) "." } }
            @if let Some(builds) = study.builds.done() { (picture(builds.chart())) }
            (shown)
        }
    }
}
