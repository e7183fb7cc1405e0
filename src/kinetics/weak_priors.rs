//! What is assumed of a fermentation's curve before its batch is looked at.

use super::curve::PARAMETERS;
use super::curve_problem::Priors;

assumed! {
    /// Standard deviation of the gravity at pitching about what the first hours show.
    pub(crate) const ORIGINAL_SD_SG: f64 = 0.02, "SG";
    /// Attenuation of ordinary beers: textbook level.
    pub(crate) const ATTENUATION: f64 = 0.76, "share";
    /// Its standard deviation in a batch that is fitted.
    const ATTENUATION_SD: f64 = 0.25, "share";
    /// Middle of the drop at 20 C.
    pub(crate) const MID_H: f64 = 37.0, "h";
    /// Standard deviation of its logarithm in a batch that is fitted.
    const MID_LN_SD: f64 = 1.0, "-";
    /// Logarithm of the steepness.
    pub(crate) const STEEPNESS_LN: f64 = 0.2, "-";
    /// Its standard deviation.
    const STEEPNESS_LN_SD: f64 = 1.0, "-";
    /// Standard deviation of the logarithm of the asymmetry, which is 0 on average.
    pub(crate) const ASYMMETRY_LN_SD: f64 = 0.5, "-";
    /// The tail's share of the drop: part of the maltotriose is taken up late and slowly, by some yeasts not at all. A share
    /// that no data show has to stay small: a slow tail, a growing deposit and a drifting probe have one shape.
    pub(crate) const TAIL_SHARE: f64 = 0.02, "share";
    /// Its standard deviation.
    pub(crate) const TAIL_SHARE_SD: f64 = 0.02, "share";
    /// Logarithm of the tail's pace against the main part.
    pub(crate) const TAIL_PACE_LN: f64 = -1.4, "-";
    /// Its standard deviation.
    pub(crate) const TAIL_PACE_LN_SD: f64 = 0.35, "-";
    /// Standard deviation of a coefficient of the smooth correction.
    pub(crate) const CORRECTION_SD: f64 = 0.45, "-";
    /// Departure of a probe from the smooth curve where the beer falls fastest: gas, foam and the probe's own slow noise.
    pub(crate) const DEPARTURE_SG: f64 = 4e-4, "SG";
    /// Its correlation time.
    pub(crate) const DEPARTURE_H: f64 = 6.0, "h";
    /// Its size at rest as a share of that.
    pub(crate) const DEPARTURE_AT_REST: f64 = 0.5, "share";
}

/// Weak priors about a fermentation whose gravity at pitching is about `original_sg`: assumed, textbook level, and
/// so wide that a batch seen to its end does not feel them.
pub(crate) fn weak_priors(original_sg: f64) -> Priors {
    let extract = (original_sg - 1.0).max(0.01);
    let mut priors = [Some((0.0, 1.0)); PARAMETERS];
    priors[0] = Some((original_sg, *ORIGINAL_SD_SG));
    priors[1] = Some((1.0 + (1.0 - *ATTENUATION) * extract, *ATTENUATION_SD * extract));
    priors[2] = Some((MID_H.ln(), *MID_LN_SD));
    priors[3] = Some((*STEEPNESS_LN, *STEEPNESS_LN_SD));
    priors[4] = Some((0.0, *ASYMMETRY_LN_SD));
    priors[5] = Some((*TAIL_SHARE, *TAIL_SHARE_SD));
    priors[6] = Some((*TAIL_PACE_LN, *TAIL_PACE_LN_SD));
    priors
}
