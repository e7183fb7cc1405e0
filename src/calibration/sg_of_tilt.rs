//! SG of a tilt on a calibration, with its error, and of several tilts with what they share.

use ndarray::Array2;

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::fit::inverse::{CurveResponse, InverseInterval, InversePrediction};
use crate::liquid::{WATER_20C_KG_M3, water_density_kg_m3};

use super::curve::CurvePoint;
use super::fitted_curve::{CovarianceRoot, FittedCalibration};
use super::result::Calibration;

impl FittedCalibration {
    /// The curve at a tilt.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where it has no density.
    fn at(&self, tilt_deg: f64) -> Result<CurvePoint> {
        let why = || format!("the curve has no density at {tilt_deg:.1} degrees");
        self.curve.at(tilt_deg).ok_or_else(|| Error::not_estimable("SG from a tilt", why()))
    }
}

impl Calibration {
    /// SG at a tilt in a liquid at the curve's shell temperature, with the error of the curve alone: what the band of a
    /// picture shows. The interval is made as the setting `interval` says.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value, or an inverted interval no end.
    ///
    /// ```
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// # let season = SimulateSettings { batches: 1, probes: 2, span_days: 20.0, reading_minutes: 240.0, ..Default::default() }.run()?.season;
    /// let calibrations = CalibrationSettings::default().fit(&season)?;
    /// let sg = calibrations.probe(&season.probes[0].probe)?.sg_at(45.0)?;
    /// assert!(sg.lower < sg.value && sg.value < sg.upper);
    /// # Ok(())
    /// # }
    /// ```
    pub fn sg_at(&self, tilt_deg: f64) -> Result<Estimate> {
        self.sg_of_reading(&self.fitted, tilt_deg, 0.0, self.interval)
    }

    /// The same on another candidate's curve.
    ///
    /// # Errors
    /// As [`Calibration::sg_at`].
    pub fn sg_on(&self, fitted: &FittedCalibration, tilt_deg: f64) -> Result<Estimate> {
        self.sg_of_reading(fitted, tilt_deg, 0.0, self.interval)
    }

    /// SG of a reading with an error of its own, in a liquid at the curve's shell temperature, by either method: the delta
    /// method (`se^2` = curve + slope^2 `tilt_sd_deg^2`), or the inverted test, which holds every gravity at whose tilt
    /// the reading would not be surprising ([`crate::fit::inverse`]). The two part where the curve is flat for its errors.
    ///
    /// # Errors
    /// As [`Calibration::sg_at`].
    pub fn sg_of_reading(
        &self,
        fitted: &FittedCalibration,
        tilt_deg: f64,
        tilt_sd_deg: f64,
        method: InverseInterval,
    ) -> Result<Estimate> {
        let water = water_density_kg_m3(self.shell_temp_c)?;
        let at = fitted.at(tilt_deg)?;
        let se = fitted.variance(&at).sqrt().hypot(at.per_deg * tilt_sd_deg) / water;
        let delta =
            Estimate::student_t(at.density_kg_m3 / water, se, fitted.df, self.level, InverseInterval::Delta.name())?;
        if method == InverseInterval::Delta {
            return Ok(delta);
        }
        // Along the curve the tilt itself is the position: no root is needed to get from a gravity to its tilt.
        let response = |tilt: f64| {
            let at = fitted.curve.at(tilt)?;
            Some(CurveResponse { value: tilt, slope: 1.0, variance: fitted.variance(&at) / at.per_deg.powi(2) })
        };
        let none = || Error::not_estimable("SG from a tilt", "the curve rises nowhere");
        let (low, high) = fitted.curve.rising_range().ok_or_else(none)?;
        let reading =
            InversePrediction { y: tilt_deg, variance: tilt_sd_deg.powi(2), df: fitted.df, level: self.level, method };
        let ends = reading.of(response, low.min(tilt_deg), high.max(tilt_deg))?;
        let sg = |tilt: f64| fitted.at(tilt).map(|at| at.density_kg_m3 / water);
        Ok(Estimate { lower: sg(ends.lower)?, upper: sg(ends.upper)?, method: method.name().into(), ..delta })
    }

    /// Joint errors of the SG of several tilts on this curve, in a liquid at 20 C: the variances that each reading has for
    /// itself (`tilt_sd_deg`), and the n x p factor F of the shared covariance F F', never an n x n matrix. The
    /// difference of readings i and j has the variance own_i + own_j + |F_i - F_j|^2.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value.
    pub fn gravity_covariance(&self, tilts_deg: &[f64], tilt_sd_deg: f64) -> Result<(Vec<f64>, Array2<f64>)> {
        let root = CovarianceRoot::of(&self.fitted);
        let mut own = Vec::with_capacity(tilts_deg.len());
        let mut factor = Array2::zeros((tilts_deg.len(), self.fitted.coefficients.len()));
        for (mut row, &tilt) in factor.rows_mut().into_iter().zip(tilts_deg) {
            let at = self.fitted.at(tilt)?;
            own.push((tilt_sd_deg * at.per_deg / WATER_20C_KG_M3).powi(2));
            for (cell, effect) in row.iter_mut().zip(root.through(&at.gradient)) {
                *cell = effect / WATER_20C_KG_M3;
            }
        }
        Ok((own, factor))
    }

    /// By how much SG falls from one tilt to a later one of this probe, both in a liquid at 20 C: the curve's error is common
    /// to both and mostly drops out, `var = own_1 + own_2 + |F_1 - F_2|^2` with the parts of
    /// [`Calibration::gravity_covariance`]; each tilt has the standard deviation `tilt_sd_deg`.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value.
    pub fn sg_difference(&self, from_tilt_deg: f64, to_tilt_deg: f64, tilt_sd_deg: f64) -> Result<Estimate> {
        let (own, shared) = self.gravity_covariance(&[from_tilt_deg, to_tilt_deg], tilt_sd_deg)?;
        let sg = |tilt_deg: f64| self.fitted.at(tilt_deg).map(|at| at.density_kg_m3 / WATER_20C_KG_M3);
        let between = &shared.row(0) - &shared.row(1);
        let variance = own.iter().sum::<f64>() + between.dot(&between);
        let fall = sg(from_tilt_deg)? - sg(to_tilt_deg)?;
        Estimate::student_t(fall, variance.sqrt(), self.fitted.df, self.level, "delta, t")
    }
}
