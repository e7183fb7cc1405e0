//! Cautions, how it was done, and what it cannot do.

use maud::{Markup, html};

/// The one that stands first.
pub(super) fn package() -> Markup {
    html! {
        div.warn role="note" {
            p {
                strong { "Nothing here is permission to package. " }
                "Beer that still ferments can burst a bottle, can or keg. Decide by degassed samples and a hydrometer checked in water: warm, \
                 unchanged over at least three days, and where this wort should end. "
                a href="#cautions" { "More cautions" }
            }
        }
    }
}

/// All of them.
pub(super) fn cautions() -> Markup {
    html! {
        h3 { "Packaging" }
        ul {
            li { "Neither a forecast nor a probe alone shows that beer may be packaged. Decide by degassed samples: the same \
                  reading for three days or more, taken warm, at the gravity that you expect of this wort." }
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
            li { "A lithium cell can catch fire. Take it out before the board gets power from anywhere else, to be programmed for \
                  example." }
            li { "Charge it only in its own charger, watched, dry, undamaged and warmed up to the room, never below 0 \u{b0}C." }
            li { "If a probe is swollen, hot, leaking or wet inside, neither charge nor open it: bring it outdoors." }
            li { "The maker's data sheet comes first. After any change of cell, shell or board the probe has to be calibrated \
                  afresh." }
        }
        h3 { "Alcohol" }
        ul { li { "Figures of alcohol are estimates. They are not fit for labels or for duty." } }
    }
}

/// How the numbers come about.
pub(super) fn methods() -> Markup {
    html! {
        p { "How the numbers come about, and what they cannot say." }
        details { summary { "How it was done" } ul {
            li { b { "Gravity. " } "The probe's curve turns a tilt into a density, less the expansion of the shell. The densities of \
                 water, sucrose and ethanol solutions turn that into the gravity at 20 \u{b0}C. Each reading has an error of its \
                 own and one that it shares with all readings on the same curve." }
            li { b { "Curves of probes. " } "Four are tried: the probe's own hull with its mass, a floating cylinder of known size, one of free \
                 size, and a cubic. Of the floats the first that agrees with the baths is taken. Where none agrees, a later one of the \
                 four is taken if it clearly better predicts baths that its fit left out. Probes that shared baths are fitted together." }
            li { b { "The next baths. " } "An exchange algorithm on a grid of gravities seeks the smallest mean variance of the \
                 curves, as last fitted, over the gravities that the beers use. An error that all baths of a scale or a \
                 hydrometer share is left out, as no choice of baths changes it." }
            li { b { "Drift. " } "The error of a probe is its gravity, by its first calibration of the season, minus the known gravity, at every \
                 bath and sample. It is estimated by generalised least squares, with the errors that checks share, a random walk, and the sudden shifts \
                 that events name or that are found. A reference that the rest contradicts is left out and named, unless a shift \
                 of the probe is likelier. The drift of a probe is the slope of its error over the season, sudden shifts included. In \
                 the fleet's mean each probe counts once." }
            li { b { "Fermentation. " } "Several curves are fitted. Numbers and intervals come from a logistic whose rate may bend where \
                 the readings say so. It is fitted by generalised least squares, with an offset of each probe and errors that last \
                 for hours. Hours in which foam, a wall or bubbles held a probe are left out. Time is that of the clock, or runs \
                 faster in the warm, whichever the readings support." }
            li { b { "Forecast. " } "The batch's own readings, and past batches as known at that moment, tell where it is on its curve. \
                 The strain's ended batches tell how long it takes from the middle of its drop to rest, and how much that varies." }
            li { b { "Strains. " } "Means over batches by a mixed model with the batch as the unit, with t intervals. The intervals of all \
                 differences of a trait hold at once, and their p-values come from the same adjustment." }
        } }
        details { summary { "Limits" } ul {
            li { "A probe alone cannot tell a slow yeast from its own drift. A sample or a second probe can." }
            li { "No difference shown is not the same as no difference: look at the width of the interval." }
            li { "Strains are compared at common conditions only as far as these vary within a strain. What always goes with one \
                  strain counts as that strain." }
            li { "Finish times are about coming to rest at the last fermentation temperature. What a plan of temperatures changes is said \
                  apart, under the coming fortnight." }
            li { "Intervals hold as far as the model does. The forecasts tried on the past show how theirs did in this very season." }
        } }
    }
}
