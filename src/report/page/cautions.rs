//! Cautions.

use maud::{Markup, html};

/// The one that stands first.
pub(super) fn package() -> Markup {
    html! {
        div.warn role="note" {
            p {
                strong { "Nothing here is permission to package. " }
                "Beer that still ferments can burst a bottle, can or keg. Degas a sample and read it with a hydrometer that you \
                 checked in water: over at least three days, warm, it must not move, and it must stand where this wort should end. "
                a href="#cautions" { "More cautions" }
            }
        }
    }
}

/// All of them.
pub(super) fn section() -> Markup {
    html! {
        h3 { "Packaging" }
        ul {
            li { "No forecast and no probe alone says that beer may be closed in. Decide by degassed samples: the same reading \
                  for three days or more, taken warm, at the gravity that you expect of this wort." }
            li { "Equal readings also come from a fermentation that is slow, stuck or chilled. A dry hop, added sugar, warming \
                  or a yeast that ferments dextrins can start it again." }
            li { "Follow the rules of the place where you brew." }
        }
        h3 { "Gas" }
        ul {
            li { "Fermentation fills a cold box or a cellar with carbon dioxide. Air it before you lean in or step down." }
            li { "Never open a vessel that is under pressure." }
        }
        h3 { "Lithium cells in the probes" }
        ul {
            li { "A lithium cell can catch fire. Take it out before the board is flashed or fed from any other source." }
            li { "Charge it only through its own charger, never below 0 \u{b0}C, straight from the cold, bent, wet or out of your sight." }
            li { "Is a probe swollen, hot, leaking or wet inside? Neither charge nor open it: take it outdoors." }
            li { "The data sheet of the cell's maker comes before anything said here." }
        }
        h3 { "Alcohol" }
        ul { li { "Figures of alcohol are estimates. They are not fit for labels or for duty." } }
    }
}
