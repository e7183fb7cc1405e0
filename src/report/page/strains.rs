//! Comparison of strains.

use maud::{Markup, html};

use crate::chart::Scales;
use crate::report::summary::Summary;
use crate::report::words::percent;
use crate::show::{Grid, ResultTable, picture};
use crate::strains::{StrainContrast, Strains};
use crate::study::SeasonStudy;

use super::parts::{files, fold, part, table, trait_with_unit, untitled};

pub(super) fn section(study: &SeasonStudy, summary: &Summary, scales: &Scales) -> Markup {
    html! {
        @if summary.yeasts.table.rows > 0 { (summary.yeasts.table.markup()) }
        @for sentence in &summary.yeasts.sentences { p { (sentence) } }
        p { "The strains are compared at common conditions, as far as these vary within a strain; each batch counts once. \
             A stuck batch counts as such and is in no trait that hangs on the terminal gravity." }
        (fold("What the comparison allows for", &html! { @if !summary.yeasts.notes.is_empty() {
            ul { @for note in &summary.yeasts.notes { li { (note) } } }
        } }))
        (part(&study.strains, |found| html! {
            (picture(found.curve_chart_on(scales)))
            (picture(found.pair_of_traits_chart_on(scales)))
            (fold("The traits of each strain", &html! { (untitled(found.chart_on(scales))) (table(&means(found, scales), "strains")) }))
            (fold("Differences between strains", &html! {
                (untitled(found.contrast_chart_on(scales)))
                (table(&differences(found, scales), "strain_contrasts"))
            }))
            (fold("Repeatability: how far batches spread beyond the errors of their fits", &table(&spreads(found, scales), "strain_repeatability")))
            (fold("How many batches would settle what is open", &html! { (untitled(found.power_chart_on(scales))) (files("strain_power")) }))
        }))
    }
}

fn means(found: &Strains, scales: &Scales) -> Grid {
    ResultTable::new(&found.means, 120)
        .text("trait", |mean| trait_with_unit(mean.which, scales))
        .text("strain", |mean| &mean.strain)
        .count("batches", |mean| mean.n)
        .text("left out", |mean| &mean.left_out)
        .mixed("mean", |mean| scales.of(mean.which), |mean| mean.mean.estimate())
        .mixed("pooled", |mean| scales.of(mean.which), |mean| mean.pooled.estimate())
        .chance("probably highest", |mean| mean.p_highest)
        .chance("probably lowest", |mean| mean.p_lowest)
        .note("why not", |mean| mean.mean.why())
        .titled("")
}

fn differences(found: &Strains, scales: &Scales) -> Grid {
    let mut pairs: Vec<&StrainContrast> = found.contrasts.iter().collect();
    let size = |pair: &StrainContrast| pair.difference.value().map_or(0.0, f64::abs);
    pairs.sort_by(|a, b| a.which.cmp(&b.which).then(size(b).total_cmp(&size(a))));
    ResultTable::new(pairs, 300)
        .text("trait", |pair| trait_with_unit(pair.which, scales))
        .text("first", |pair| &pair.a)
        .text("second", |pair| &pair.b)
        .mixed("first \u{2212} second", |pair| scales.difference_of(pair.which), |pair| pair.difference.estimate())
        .number("p, all pairs at once", "", 3, |pair| pair.p_adjusted)
        .number("p, Holm", "", 3, |pair| pair.p_holm)
        .number("ratio", "", 2, |pair| pair.ratio.as_ref().map(|ratio| ratio.value))
        .number("p, as far as the margin", "", 3, |pair| pair.p_equivalent)
        .text("verdict", |pair| pair.verdict.map_or("", |verdict| verdict.name()))
        .note("why not", |pair| pair.difference.why())
        .titled(&format!("Differences, {} for all pairs of a trait at once", percent(found.contrast_level)))
}

fn spreads(found: &Strains, scales: &Scales) -> Grid {
    ResultTable::new(&found.spreads, 120)
        .text("trait", |row| trait_with_unit(row.which, scales))
        .text("strain", |row| row.strain.as_deref().unwrap_or("all"))
        .count("batches", |row| row.n)
        .mixed(
            "standard deviation between batches",
            |row| if row.relative { "".into() } else { scales.difference_of(row.which) },
            |row| row.sd.estimate(),
        )
        .text("of", |row| if row.relative { "the value" } else { "" })
        .note("why not", |row| row.sd.why())
        .titled("")
}
