//! What is assumed of a fermentation's curve before its batch is looked at.

use super::curve::PARAMETERS;
use super::curve_problem::Priors;

/// Prior of the tail's share of the drop, and of the logarithm of its pace against the main part: assumed; no reference.
/// Part of the maltotriose is taken up late and slowly, by some yeasts not at all. A share that no data show has to stay
/// small: a slow tail, a growing deposit and a drifting probe have one shape, and 0.06 instead of 0.02 here would widen
/// forecasts of coming to rest from days to weeks.
pub(crate) const TAIL_SHARE: (f64, f64) = (0.02, 0.02);
pub(crate) const TAIL_PACE: (f64, f64) = (-1.4, 0.35);

/// Weak priors about a fermentation whose gravity at pitching is about `original_sg`: assumed, textbook level, and
/// so wide that a batch seen to its end does not feel them. Attenuation 0.75 +- 0.25, middle of the drop at 45 h within a
/// factor of e, steepness and asymmetry as far as curves of beers spread.
pub(crate) fn weak_priors(original_sg: f64) -> Priors {
    let extract = (original_sg - 1.0).max(0.01);
    let mut priors = [Some((0.0, 1.0)); PARAMETERS];
    priors[0] = Some((original_sg, 0.02));
    priors[1] = Some((1.0 + 0.25 * extract, 0.25 * extract));
    priors[2] = Some((45.0_f64.ln(), 1.0));
    priors[3] = Some((0.2, 1.0));
    priors[4] = Some((0.0, 0.5));
    priors[5] = Some(TAIL_SHARE);
    priors[6] = Some(TAIL_PACE);
    priors
}
