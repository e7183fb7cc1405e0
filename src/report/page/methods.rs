//! How it was done, and what it cannot do.

use maud::{Markup, html};

pub(super) fn section() -> Markup {
    html! {
        h3 { "How" }
        ul {
            li { b { "Gravity. " } "Tilt to density by the probe's curve, the shell's expansion taken off; density to gravity at \
                 20 \u{b0}C by the densities of water, sucrose and ethanol solutions. Each reading has its own error and one that \
                 it shares with all readings on the same curve." }
            li { b { "Curves of probes. " } "A floating cylinder in closed form and polynomials of degree 1 to 3; the one that \
                 foretells a bath left out best." }
            li { b { "The next baths. " } "By an exchange algorithm on a grid of gravities, for the smallest mean variance of the curves, as \
                 last fitted, over the gravities that the beers use; an error that all baths of a scale or a hydrometer share \
                 is left out, as no choice of baths changes it." }
            li { b { "In the cold. " } "Level before a cooling against level after it, where no fall is shown before: shell, \
                 thermometer, model of the liquid and residual fall in one figure." }
            li { b { "Drift. " } "Probe minus known gravity on the first calibration of the season, at every bath and sample; a \
                 least-squares slope with a t interval per probe, and the fleet's mean with the probes as the unit." }
            li { b { "Fermentation. " } "A logistic curve by least squares; errors widened for residuals that follow each other." }
            li { b { "Forecast. " } "The batch's own curve together with what past batches did, as known at the moment of the \
                 forecast." }
            li { b { "Yeasts. " } "Means over batches with t intervals; differences of all pairs within a trait with intervals and \
                 p-values from one and the same adjustment." }
        }
        h3 { "Limits" }
        ul {
            li { "A probe alone cannot tell a slow yeast from its own drift. A sample or a second probe can." }
            li { "No difference shown is not the same as no difference: look at the width of the interval." }
            li { "Yeasts are compared as brewed, not adjusted for wort, temperature or pitching rate." }
            li { "Finish times are about coming to rest at the last fermentation temperature; a schedule ahead is not used." }
            li { "Intervals hold as far as the model does. The backtest shows how they did in this very season." }
        }
    }
}
