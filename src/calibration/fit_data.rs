//! What the fit of a curve starts from: baths, what is known of the probe before them, and rules.

use crate::float::{Profile, TiltCuts};

use super::errors::BathError;

assumed! {
    /// Below this probability residuals disagree with the stated SDs, and a bath, over all baths of its calibration, is suspect.
    pub(crate) const DISAGREES_P: f64 = 0.01, "probability";
    /// Above this probability they agree, and so do a curve and a water reading.
    pub(crate) const AGREES_P: f64 = 0.05, "probability";
    /// Degrees of freedom that the stated SDs of baths and tilts are worth when they and the residuals disagree.
    pub(crate) const SCALE_DF: f64 = 12.0, "degrees of freedom";
    /// How wrong a wrong entry is, SD; likewise each pair of a probe that is not the one it is said to be.
    pub(crate) const WRONG_SD: f64 = 0.01, "SG";
    /// A reference that is off by less is no slip: so much an instrument may be off beyond its stated error.
    pub(crate) const LEAST_OFF_SG: f64 = 0.0035, "SG";
    /// An entry is named from this probability on.
    pub(crate) const NAMED: f64 = 0.75, "probability";
    /// How often a bath or the probe named for a stay is.
    pub(crate) const WRONG_BATHS: f64 = 0.01, "share";
}

/// Whether a bath is wrong rather than inexact: it is off by `off_sg`, where `se_sg` is the standard error of that
/// together with the stated one.
///
/// ```text
/// odds = w/(1 - w) N(off; 0, se^2 + WRONG_SD^2)/N(off; 0, se^2),    w = WRONG_BATHS
/// ```
pub(super) fn is_wrong(off_sg: f64, se_sg: f64) -> bool {
    let (right, wrong) = (se_sg.powi(2), se_sg.powi(2) + WRONG_SD.powi(2));
    let ln_ratio = 0.5 * (off_sg.powi(2) * (1.0 / right - 1.0 / wrong) - (wrong / right).ln());
    let odds = *WRONG_BATHS / (1.0 - *WRONG_BATHS) * ln_ratio.exp();
    odds > *NAMED / (1.0 - *NAMED) && off_sg.abs() >= *LEAST_OFF_SG
}

/// A bath as the fit sees it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FitPoint {
    pub tilt_deg: f64,
    pub tilt_sd_deg: f64,
    /// Density, brought to the curve's shell temperature, kg/m3.
    pub density_kg_m3: f64,
    /// Its standard deviation by what only this probe in this bath has (the shell).
    pub density_sd_kg_m3: f64,
    /// Errors of the stated gravity, kg/m3: the bath's own first, then those that it shares with other baths.
    pub errors: Vec<BathError>,
}

impl FitPoint {
    /// Standard deviation of the density, all errors of the bath together, kg/m3.
    pub fn total_sd_kg_m3(&self) -> f64 {
        self.errors.iter().fold(self.density_sd_kg_m3, |sd, error| sd.hypot(error.effect))
    }
}

/// What is known of a probe before its baths.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FloatPrior {
    /// The hull, if mass, diameter and length are known.
    pub hull: Option<HullPrior>,
    /// Shape constant of the bottom.
    pub kappa: f64,
    /// K by balance and calliper with its relative standard deviation, if both are known.
    pub k_known: Option<(f64, f64)>,
    /// Number of the source of the error of mass and diameter.
    pub size_source: Option<usize>,
}

/// Whole degrees at which a hull may be tabulated.
const DEGREES: std::ops::RangeInclusive<u32> = 2..=86;

/// A hull before its centre of gravity is known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HullPrior {
    pub profile: Profile,
    pub mass_kg: f64,
    /// Relative standard deviation of mass over radius cubed: an error of the radius acts nearly as one of the mass.
    pub relative_sd: f64,
    /// The profile at the whole degrees at which its curve is tabulated, rising.
    pub degrees: Vec<TiltCuts>,
}

impl HullPrior {
    pub fn new(profile: Profile, mass_kg: f64, relative_sd: f64) -> Self {
        let degrees = DEGREES.map(|degree| TiltCuts::new(&profile, f64::from(degree))).collect();
        Self { profile, mass_kg, relative_sd, degrees }
    }
}

/// Mass ratio K = m/(pi r^3) of a typical probe, kg/m3, and its relative standard deviation.
pub(crate) const TYPICAL_K: (f64, f64) = (5700.0, 0.3);
