//! Bands about the curve of a batch.

use crate::error::{Error, Result};
use crate::fit::{Estimate, quantile};

use super::batch_fit::BatchFit;
use super::curve::PARAMETERS;

impl BatchFit {
    /// The curve at hours from pitching with its confidence band, pointwise, by the delta method.
    ///
    /// # Errors
    /// [`Error::Setting`] for a bad level; [`Error::NotEstimable`] without a curve.
    pub fn band(&self, hours: &[f64], level: f64) -> Result<Vec<Estimate>> {
        let missing = || Error::not_estimable("a band", format!("no curve: {}", self.why));
        let fitted = self.fitted.as_ref().ok_or_else(missing)?;
        let factor = quantile::student_t_two_sided(level, fitted.df)?;
        let timed = fitted.timed();
        let one = |hours: &f64| {
            let (sg, gradient) = timed.gradient(*hours);
            let variance = quadratic(&gradient, &fitted.covariance).max(0.0);
            Estimate::with_factor(sg, variance.sqrt(), factor, level, "delta")
        };
        Ok(hours.iter().map(one).collect())
    }
}

/// `g' C g`.
fn quadratic(gradient: &[f64; PARAMETERS], covariance: &[[f64; PARAMETERS]; PARAMETERS]) -> f64 {
    let row = |(g, row): (&f64, &[f64; PARAMETERS])| g * row.iter().zip(gradient).map(|(c, h)| c * h).sum::<f64>();
    gradient.iter().zip(covariance).map(row).sum()
}
