//! Comparison of yeasts.

use maud::{Markup, html};

use crate::kinetics::Trait;
use crate::study::SeasonStudy;

use super::parts::{Tables, part, picture};

pub(super) fn section(study: &SeasonStudy, tables: &Tables<'_>) -> Markup {
    html! {
        p { "The yeasts as they were brewed: a strain that got the stronger worts or the warmer cellar shows it here. The unit \
             is the batch." }
        (part(&study.strains, |found| html! {
            (picture(found.chart()))
            (picture(found.contrast_chart()))
            details { summary { "Means and differences in numbers" }
                (tables.show_in_words("strains", "Means", 120, &[
                    ("trait", "trait"), ("strain", "strain"), ("n", "batches"), ("estimate", "mean"), ("se", "error"), ("lower", "from"),
                    ("upper", "to"), ("level", "level"), ("why", "why not"),
                ], "trait", trait_in_words))
                (tables.show_in_words("strain_contrasts", "Differences", 300, &[
                    ("trait", "trait"), ("a", "first"), ("b", "second"), ("difference", "first \u{2212} second"), ("se", "error"),
                    ("lower", "from"), ("upper", "to"), ("level", "level, all at once"), ("p_adjusted", "p, all at once"),
                    ("p_holm", "p, Holm"), ("why", "why not"),
                ], "trait", trait_in_words))
            }
        }))
    }
}

/// The trait of that name for a reader.
fn trait_in_words(name: &str) -> &str {
    Trait::ALL.into_iter().find(|which| which.name() == name).map_or(name, |which| which.title())
}
