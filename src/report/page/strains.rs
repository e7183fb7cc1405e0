//! Comparison of strains.

use maud::{Markup, html};

use crate::chart::Scales;
use crate::report::summary::Summary;
use crate::show::{Grid, ResultTable, picture};
use crate::strains::{StrainRank, Strains};
use crate::study::SeasonStudy;

use super::parts::{files, fold, part, table, trait_with_unit, untitled};

pub(super) fn section(study: &SeasonStudy, summary: &Summary, scales: &Scales) -> Markup {
    html! {
        @if summary.yeasts.table.rows > 0 { (summary.yeasts.table.markup()) }
        @for sentence in &summary.yeasts.sentences { p { (sentence) } }
        (fold("What the comparison allows for", &html! { @if !summary.yeasts.notes.is_empty() {
            ul { @for note in &summary.yeasts.notes { li { (note) } } }
        } }))
        (part(&study.strains, |found| html! {
            (picture(found.curve_chart_on(scales))) (picture(found.pair_of_traits_chart_on(scales)))
            (fold("The traits of each strain", &html! { (untitled(found.chart_on(scales))) (files("strains")) }))
            (fold("Differences between strains", &html! { (untitled(found.contrast_chart_on(scales))) (files("strain_contrasts")) }))
            (fold("Repeatability: how far batches spread beyond the errors of their fits", &table(&spreads(found, scales), "strain_repeatability")))
            @if !found.ranking.is_empty() {
                (fold("The strains by your weights", &table(&ranking(found), "strain_ranking")))
            }
            (fold("How many batches would settle what is open", &html! { (untitled(found.power_chart_on(scales))) (files("strain_power")) }))
        }))
    }
}

fn ranking(found: &Strains) -> Grid {
    let places = |row: &StrainRank| match row.places() {
        Some((first, last)) if first < last => format!("{first} to {last}"),
        Some((first, _)) => first.to_string(),
        None => String::new(),
    };
    ResultTable::new(&found.ranking, 120)
        .text("strain", |row| row.strain.as_str())
        .estimate("points above the mean", "", |row| row.points.estimate())
        .chance("first with probability", |row| row.p_place.first().copied())
        .text("places", places)
        .note("why not", |row| row.points.why())
        .titled("")
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
