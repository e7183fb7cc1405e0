//! Bands about the curve of a batch.

use crate::error::{Error, Result};
use crate::fit::{Estimate, quantile};

use super::batch_fit::{BatchFit, FittedCurve};
use super::curve::PARAMETERS;

impl BatchFit {
    /// The curve at hours from pitching with its confidence band, pointwise, by the delta method.
    ///
    /// # Errors
    /// [`Error::Setting`] for a bad level; [`Error::NotEstimable`] without a curve.
    pub fn band(&self, hours: &[f64], level: f64) -> Result<Vec<Estimate>> {
        self.bands(hours, level, |_| 0.0, "delta")
    }

    /// The curve at hours from pitching with a band for one new reading there, its probe's offset taken off: `own_sd_sg` is
    /// the standard deviation of the reading's own error, to which comes what the real fermentation departs from the
    /// curve.
    ///
    /// # Errors
    /// As for [`BatchFit::band`]; [`Error::Setting`] for a standard deviation below 0.
    pub fn prediction(&self, hours: &[f64], own_sd_sg: f64, level: f64) -> Result<Vec<Estimate>> {
        if !(own_sd_sg >= 0.0) {
            return Err(Error::Setting { name: "own_sd_sg", value: own_sd_sg.to_string(), wanted: "0 or more" });
        }
        let errors = self.curve_of()?.errors;
        let more = |rate: f64| errors.departure_sd(rate).powi(2) + errors.factor * own_sd_sg * own_sd_sg;
        self.bands(hours, level, more, "delta and a reading's error")
    }

    fn curve_of(&self) -> Result<&FittedCurve> {
        self.fitted.as_ref().ok_or_else(|| Error::not_estimable("a band", format!("no curve: {}", self.why)))
    }

    fn bands(
        &self,
        hours: &[f64],
        level: f64,
        more: impl Fn(f64) -> f64,
        method: &'static str,
    ) -> Result<Vec<Estimate>> {
        let fitted = self.curve_of()?;
        let factor = quantile::student_t_two_sided(level, fitted.df)?;
        let timed = fitted.timed();
        let greatest = timed.fall_sg_per_h(timed.steepest_h());
        let one = |hours: &f64| {
            let (sg, gradient) = timed.gradient(*hours);
            let rate = if greatest > 0.0 { (timed.fall_sg_per_h(*hours) / greatest).clamp(0.0, 1.0) } else { 0.0 };
            let variance = quadratic(&gradient, &fitted.covariance).max(0.0) + more(rate);
            Estimate::with_factor(sg, variance.sqrt(), factor, level, method)
        };
        Ok(hours.iter().map(one).collect())
    }
}

/// `g' C g`.
fn quadratic(gradient: &[f64; PARAMETERS], covariance: &[[f64; PARAMETERS]; PARAMETERS]) -> f64 {
    let row = |(g, row): (&f64, &[f64; PARAMETERS])| g * row.iter().zip(gradient).map(|(c, h)| c * h).sum::<f64>();
    gradient.iter().zip(covariance).map(row).sum()
}
