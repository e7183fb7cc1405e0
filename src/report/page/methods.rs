//! How it was done, and what it cannot do.

use maud::{Markup, html};

pub(super) fn section() -> Markup {
    html! {
        p { "How the numbers come about, and what they cannot say." }
        details { summary { "How it was done" } ul {
            li { b { "Gravity. " } "Tilt to density by the probe's curve, the shell's expansion taken off; density to gravity at \
                 20 \u{b0}C by the densities of water, sucrose and ethanol solutions. Each reading has its own error and one that \
                 it shares with all readings on the same curve." }
            li { b { "Curves of probes. " } "The probe's own shape with its mass, a floating cylinder with its size known or free, and \
                 a cubic. The first float that the baths agree with is taken; where none does, the curve that \
                 foretells baths left out clearly better than those before it. Probes that shared baths are fitted together." }
            li { b { "The next baths. " } "By an exchange algorithm on a grid of gravities, for the smallest mean variance of the curves, as \
                 last fitted, over the gravities that the beers use; an error that all baths of a scale or a hydrometer share \
                 is left out, as no choice of baths changes it." }
            li { b { "Drift. " } "Probe minus known gravity on the first calibration of the season, at every bath and sample, by \
                 generalised least squares: with the errors that checks share, a random walk, and the sudden shifts that events \
                 name or that are found. The drift of a probe is the slope through its whole error; the fleet's mean has the probes \
                 as the unit." }
            li { b { "Fermentation. " } "Several curves; numbers and intervals come from a logistic whose rate may bend where the \
                 readings say so, by generalised least squares: the offset of each probe, and errors that last for hours, are part \
                 of the fit. Time is that of the clock or of the temperature, whichever the readings support." }
            li { b { "Forecast. " } "The batch's own curve together with what past batches did, as known at the moment of the \
                 forecast; how wide it is learns from the forecasts before it." }
            li { b { "Yeasts. " } "Means over batches by random effects, with t intervals; differences of all pairs within a trait with intervals and \
                 p-values from one and the same adjustment." }
        } }
        details { summary { "Limits" } ul {
            li { "A probe alone cannot tell a slow yeast from its own drift. A sample or a second probe can." }
            li { "No difference shown is not the same as no difference: look at the width of the interval." }
            li { "Yeasts are compared as brewed, not adjusted for wort, temperature or pitching rate." }
            li { "Finish times are about coming to rest at the last fermentation temperature; a schedule ahead is not used." }
            li { "Intervals hold as far as the model does. The forecasts tried on the past show how theirs did in this very season." }
        } }
    }
}
