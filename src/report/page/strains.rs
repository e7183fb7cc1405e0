//! Comparison of yeasts.

use maud::{Markup, html};

use crate::report::summary::Summary;
use crate::report::words::percent;
use crate::show::{Grid, ResultTable};
use crate::strains::Strains;
use crate::study::SeasonStudy;

use super::parts::{answer, fold, part, picture, table};

pub(super) fn section(study: &SeasonStudy, summary: &Summary) -> Markup {
    html! {
        (answer(&summary.yeasts))
        p { "The yeasts are compared as they were brewed: a strain that got the stronger worts or the warmer cellar shows it here. \
             Each batch counts once." }
        (part(&study.strains, |found| html! {
            (fold("The traits of each yeast", &html! { (picture(found.chart())) (table(&means(found), "strains")) }))
            (fold("Differences between yeasts", &html! {
                (picture(found.contrast_chart()))
                (table(&differences(found), "strain_contrasts"))
            }))
        }))
    }
}

fn means(found: &Strains) -> Grid {
    ResultTable::new(&found.means, 120)
        .text("trait", |mean| mean.which.title())
        .text("strain", |mean| &mean.strain)
        .count("batches", |mean| mean.n)
        .mixed("mean", |mean| mean.mean.estimate())
        .note("why not", |mean| mean.mean.why())
        .titled("Means")
}

fn differences(found: &Strains) -> Grid {
    ResultTable::new(&found.contrasts, 300)
        .text("trait", |pair| pair.which.title())
        .text("first", |pair| &pair.a)
        .text("second", |pair| &pair.b)
        .mixed("first \u{2212} second", |pair| pair.difference.estimate())
        .number("p, all pairs at once", "", 3, |pair| pair.p_adjusted)
        .number("p, Holm", "", 3, |pair| pair.p_holm)
        .note("why not", |pair| pair.difference.why())
        .titled(&format!("Differences, {} for all pairs of a trait at once", percent(found.contrast_level)))
}
