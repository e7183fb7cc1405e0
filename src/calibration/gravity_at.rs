//! The gravity of one tilt on one curve, with its error.

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::liquid::{BeerDensity, WATER_20C_KG_M3};

use super::curve::CurvePoint;
use super::fitted_curve::FittedCalibration;
use super::result::Calibration;

/// One reading's gravity on one curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GravityPoint {
    /// Density of the liquid at its own temperature, kg/m3.
    pub density_kg_m3: f64,
    /// SG 20/20.
    pub sg: f64,
    /// Slope of SG in the tilt, per degree.
    pub sg_per_deg: f64,
    /// Standard error that all readings of the probe on this curve share.
    pub shared_se: f64,
    /// True beyond the baths of the curve.
    pub extrapolated: bool,
}

impl Calibration {
    /// Gravity from a tilt and a temperature, in two steps: tilt -> density of the liquid at its temperature (the curve,
    /// corrected for the shell by `1 + 3 alpha (T - 20 C)`), and density at T -> SG 20/20 (`liquid`: sucrose solution
    /// for baths, beer of a stated original gravity in a batch).
    ///
    /// The shared error holds the curve's covariance, the shell's expansion and a constant error `temp_sd_c` of the
    /// probe's thermometer, which acts through both shell and liquid. None where the curve has no value or the liquid
    /// formulas do not reach.
    pub(crate) fn gravity_at(
        &self,
        liquid: &BeerDensity,
        tilt_deg: f64,
        temp_c: f64,
        temp_sd_c: f64,
    ) -> Option<GravityPoint> {
        let at = self.fitted.curve.at(tilt_deg)?;
        let factor = self.shell.volume_factor(temp_c);
        let density = at.density_kg_m3 / factor;
        let (sg, by_density) = liquid.sg_and_slope(density, temp_c).ok()?;
        let curve = self.fitted.variance(&at).sqrt() / factor;
        let [shell, thermometer] = self.common_errors(density, factor, temp_c, temp_sd_c);
        let shared = by_density * (curve * curve + shell * shell + thermometer * thermometer).sqrt();
        Some(GravityPoint {
            density_kg_m3: density,
            sg,
            sg_per_deg: by_density * at.per_deg / factor,
            shared_se: shared,
            extrapolated: self.extrapolates(at.density_kg_m3),
        })
    }

    /// Signed effects of one standard deviation of the shell's expansion and of the thermometer on the density, kg/m3.
    pub(crate) fn common_errors(&self, density: f64, factor: f64, temp_c: f64, temp_sd_c: f64) -> [f64; 2] {
        let shell = -density * 3.0 * self.shell.sd_per_k * (temp_c - 20.0) / factor;
        // A probe that reads too warm takes its shell for larger (density too low) and the liquid for warmer than it is
        // (SG too high): opposite signs, nearly equal sizes in some plastics.
        let expansion = 3.0 * self.shell.linear_per_k / factor;
        [shell, temp_sd_c * density * (liquid_expansion_per_k(temp_c) - expansion)]
    }

    /// Beyond the baths by more than a reading can tell (0.001 in SG)?
    fn extrapolates(&self, on_curve_kg_m3: f64) -> bool {
        let (low, high) = self.density_range_kg_m3;
        !(low - 1.0..=high + 1.0).contains(&on_curve_kg_m3)
    }
}

/// Volume expansion of a watery liquid, per K, as a straight line in temperature: 1.1e-4 at 12 C, 2.1e-4 at 20 C
/// (water by Tanaka 2001; beer differs by less than 0.5e-4). Only for the error of a thermometer.
fn liquid_expansion_per_k(temp_c: f64) -> f64 {
    2.07e-4 + 1.15e-5 * (temp_c - 20.0)
}

impl FittedCalibration {
    fn at(&self, tilt_deg: f64) -> Result<CurvePoint> {
        let why = || format!("the curve has no density at {tilt_deg:.1} degrees");
        self.curve.at(tilt_deg).ok_or_else(|| Error::not_estimable("SG from a tilt", why()))
    }
}

impl Calibration {
    /// SG at a tilt in a liquid at 20 C, with the error of the curve alone: what the band of a
    /// picture shows.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nlet sg = calibrations.probe(&season.probes[0].probe)?.sg_at(45.0)?;\nassert!(sg.lower < sg.value && sg.value < sg.upper);")]
    pub fn sg_at(&self, tilt_deg: f64) -> Result<Estimate> {
        self.sg_on(&self.fitted, tilt_deg)
    }

    /// The same on another candidate's curve.
    ///
    /// # Errors
    /// As [`Calibration::sg_at`].
    pub fn sg_on(&self, fitted: &FittedCalibration, tilt_deg: f64) -> Result<Estimate> {
        let at = fitted.at(tilt_deg)?;
        let (sg, se) = (at.density_kg_m3 / WATER_20C_KG_M3, fitted.variance(&at).sqrt() / WATER_20C_KG_M3);
        Estimate::student_t(sg, se, fitted.df, self.level, "delta, t")
    }

    /// The tilt that is read as this gravity at 20 C, degrees; none where the curve has no such tilt.
    pub(crate) fn tilt_deg_at_20c(&self, sg: f64) -> Option<f64> {
        self.fitted.curve.tilt_deg(sg * WATER_20C_KG_M3)
    }

    /// By how much SG falls from one tilt to a later one of this probe, both in a liquid at 20 C and each with the standard
    /// deviation `tilt_sd_deg`: the curve's error is common to both and mostly drops out, as its part of the variance is
    /// that of the difference of both gradients.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value.
    #[doc = example!(study "println!(\"{}\", study.calibrations()?.probe(probe)?.sg_difference(45.0, 44.0, 0.1)?);")]
    pub fn sg_difference(&self, from_tilt_deg: f64, to_tilt_deg: f64, tilt_sd_deg: f64) -> Result<Estimate> {
        let (from, to) = (self.fitted.at(from_tilt_deg)?, self.fitted.at(to_tilt_deg)?);
        let gradient = std::array::from_fn(|i| from.gradient[i] - to.gradient[i]);
        let shared = self.fitted.variance(&CurvePoint { gradient, ..from });
        let own = (tilt_sd_deg * from.per_deg).hypot(tilt_sd_deg * to.per_deg);
        let (fall, se) = (from.density_kg_m3 - to.density_kg_m3, own.hypot(shared.sqrt()));
        let sg = |kg_m3: f64| kg_m3 / WATER_20C_KG_M3;
        Estimate::student_t(sg(fall), sg(se), self.fitted.df, self.level, "delta, t")
    }
}
