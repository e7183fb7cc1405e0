//! The coordinates in which batches are compared: nearly normal over batches, without the strength of the wort and
//! without the temperature of the cellar.
//!
//! They are the apparent attenuation, the logarithms of the curve's scale (brought to 20 C), steepness and asymmetry, the
//! tail's share, the logarithm of its pace, the delay by gas in hours, the bias by
//! foam, and the coefficients of the smooth correction; each less the mean and over the standard deviation it has where nothing
//! is known ([`base`]).

use crate::common::ActivationEnergy;
use crate::fit::robust::mean_of;
use crate::gravity::GravitySeries;
use crate::kinetics::population::{CORRECTION_WORTH, WORTH};
use crate::kinetics::settings::FOAM_SG;
use crate::kinetics::weak_priors::{
    ASYMMETRY_LN_SD, ATTENUATION, CORRECTION_SD, MID_H, STEEPNESS_LN, TAIL_PACE_LN, TAIL_PACE_LN_SD, TAIL_SHARE,
    TAIL_SHARE_SD,
};
use crate::kinetics::{FermentationCurve, GravityCurve, N_BASIS, PARAMETERS};
use crate::units::{GAS_KJ_MOL_K, kelvin_from_celsius};

/// Number of coordinates.
pub(super) const DIMS: usize = MAIN + N_BASIS;
/// Coordinates that are not of the smooth correction.
const MAIN: usize = 8;
/// The coordinate that is the delay by gas.
pub(super) const DELAY: usize = 6;
/// The coordinate that is the bias by foam.
pub(super) const FOAM: usize = 7;
assumed! {
    /// Standard deviation of the attenuation of a batch that is forecast.
    const ATTENUATION_SD: f64 = 0.09, "share";
    /// Standard deviation of the logarithm of the hours to the middle of its drop at 20 C.
    const SCALE_LN_SD: f64 = 0.55, "-";
    /// Standard deviation of the logarithm of the steepness.
    const STEEPNESS_LN_SD: f64 = 0.7, "-";
    /// The temperature of a batch is its mean over so long from pitching.
    const EARLY_H: f64 = 72.0, "h";
}

/// Effective activation energy of the pace over the gas constant, K.
const ACTIVATION_K: f64 = ActivationEnergy::PUBLISHED.kj_mol / GAS_KJ_MOL_K;
/// Temperature to which the scale is brought, C.
const REFERENCE_C: f64 = 20.0;

/// Mean and standard deviation of coordinate `i` where nothing is known.
pub(super) fn base(i: usize) -> (f64, f64) {
    match i {
        0 => (*ATTENUATION, *ATTENUATION_SD),
        1 => (MID_H.ln(), *SCALE_LN_SD),
        2 => (*STEEPNESS_LN, *STEEPNESS_LN_SD),
        3 => (0.0, *ASYMMETRY_LN_SD),
        4 => (*TAIL_SHARE, *TAIL_SHARE_SD),
        5 => (*TAIL_PACE_LN, *TAIL_PACE_LN_SD),
        DELAY => (1.5, 1.5),
        FOAM => FOAM_SG,
        _ => (0.0, *CORRECTION_SD),
    }
}

/// Batches that the assumed variances are worth.
pub(super) fn worth() -> [f64; DIMS] {
    std::array::from_fn(|i| if i < MAIN { *WORTH } else { *CORRECTION_WORTH })
}

/// What standardised coordinate `i` stands for.
pub(super) fn plain(standardised: &[f64; DIMS], i: usize) -> f64 {
    let (mean, sd) = base(i);
    mean + sd * standardised[i]
}

/// The place of coordinate `i` among the parameters of a curve; none for the bias of probes.
fn place(i: usize) -> Option<usize> {
    match i {
        DELAY | FOAM => None,
        _ if i < DELAY => Some(i + 1),
        _ => Some(i - 1),
    }
}

/// The attenuation that standardised coordinate 0 stands for.
pub(super) fn attenuation(standardised: f64) -> f64 {
    *ATTENUATION + *ATTENUATION_SD * standardised
}

/// Logarithm of the pace at the batch's temperature over that at the reference: 0 where no temperature is known.
pub(super) fn ln_pace(series: &GravitySeries) -> f64 {
    let until = series.cooled_hours.unwrap_or(f64::INFINITY).min(*EARLY_H);
    let early = series.hours.iter().zip(&series.temp_c).filter(|(h, t)| (0.0..=until).contains(*h) && t.is_finite());
    let inverse = |temp_c: f64| 1.0 / kelvin_from_celsius(temp_c);
    let mean_c = mean_of(early.map(|(_, temp_c)| temp_c.clamp(0.0, 40.0)));
    mean_c.map_or(0.0, |mean_c| ACTIVATION_K * (inverse(REFERENCE_C) - inverse(mean_c)))
}

/// The curve of standardised coordinates for a batch.
pub(super) fn curve(original_sg: f64, standardised: &[f64; DIMS], ln_pace: f64) -> GravityCurve {
    let mut vector = [0.0; PARAMETERS];
    vector[0] = original_sg;
    for i in 0..DIMS {
        if let Some(cell) = place(i).and_then(|place| vector.get_mut(place)) {
            *cell = plain(standardised, i);
        }
    }
    // A batch always falls a little; the solver may try what no batch does.
    vector[1] = original_sg - vector[1].max(0.02) * (original_sg - 1.0).max(0.001);
    vector[2] = (vector[2] - ln_pace).clamp(-1.0, 9.0);
    vector[3] = vector[3].clamp(-7.0, 5.0);
    vector[4] = vector[4].clamp(-3.0, 3.0);
    vector[5] = vector[5].clamp(-0.9, 0.6);
    vector[6] = vector[6].clamp(-6.0, -0.02);
    GravityCurve::from_vector(FermentationCurve::Smooth, &vector)
}

/// Derivatives of SG by the original gravity and the standardised coordinates, from those by the curve's parameters.
pub(super) fn chain(curve: &GravityCurve, gradient: &[f64; PARAMETERS]) -> (f64, [f64; DIMS]) {
    let extract = curve.original_sg - 1.0;
    let attenuation = curve.drop_sg() / extract;
    let mut by = [0.0; DIMS];
    for (i, cell) in by.iter_mut().enumerate() {
        *cell = place(i).and_then(|place| gradient.get(place)).map_or(0.0, |slope| slope * base(i).1);
    }
    by[0] *= -extract;
    (gradient[0] + gradient[1] * (1.0 - attenuation), by)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chain_rule_agrees_with_differences() {
        let z: [f64; DIMS] = std::array::from_fn(|i| 0.4 * (i as f64).cos());
        let at = |original: f64, z: &[f64; DIMS]| curve(original, z, 0.2).tabulate().sg(43.3);
        let here = curve(1.05, &z, 0.2);
        let (by_original, by) = chain(&here, &here.tabulate().gradient(43.3).1);
        let step = 1e-6;
        let numeric = (at(1.05 + step, &z) - at(1.05 - step, &z)) / (2.0 * step);
        assert!((by_original - numeric).abs() < 1e-7, "{by_original} {numeric}");
        for (i, analytic) in by.iter().enumerate() {
            let (mut up, mut down) = (z, z);
            up[i] += step;
            down[i] -= step;
            let numeric = (at(1.05, &up) - at(1.05, &down)) / (2.0 * step);
            assert!((analytic - numeric).abs() < 1e-7, "{i}: {analytic} {numeric}");
        }
    }
}
