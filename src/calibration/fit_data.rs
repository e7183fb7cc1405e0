//! What the fit of a curve starts from: baths, what is known of the probe before them, and rules.

use crate::float::Profile;

use super::errors::BathError;

assumed! {
    /// Below this probability residuals disagree with the stated SDs, and a bath, over all baths of its calibration, is suspect.
    pub(crate) const DISAGREES_P: f64 = 0.01, "probability";
    /// Above this probability they agree, and so do a curve and a water reading.
    pub(crate) const AGREES_P: f64 = 0.05, "probability";
    /// Degrees of freedom that the stated SDs of baths and tilts are worth when they and the residuals disagree.
    pub(crate) const SCALE_DF: f64 = 12.0, "degrees of freedom";
}

/// A bath as the fit sees it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FitPoint {
    /// Tilt, degrees.
    pub tilt_deg: f64,
    /// Its standard deviation.
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

/// A hull before its centre of gravity is known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HullPrior {
    pub profile: Profile,
    pub mass_kg: f64,
    /// Relative standard deviation of mass over radius cubed: an error of the radius acts nearly as one of the mass.
    pub relative_sd: f64,
}

/// Mass ratio K = m/(pi r^3) of a typical probe, kg/m3, and its relative standard deviation.
pub(crate) const TYPICAL_K: (f64, f64) = (5700.0, 0.3);
