//! SG of a tilt on a calibration, and the difference of two, with their errors.

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::liquid::WATER_20C_KG_M3;

use super::curve::CurvePoint;
use super::fitted_curve::FittedCalibration;
use super::result::Calibration;

impl FittedCalibration {
    /// The curve at a tilt.
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
