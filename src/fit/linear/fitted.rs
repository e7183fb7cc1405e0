//! A fitted linear model: coefficients by name, errors, diagnostics, prediction.

use std::fmt;

use ndarray::Array2;

use super::super::matrix::{quadratic_form, to_array};
use super::super::{Estimate, Scale, decimals_for};
use super::refined::LinearSolution;
use crate::{Error, Result};

/// The result of a weighted linear least-squares fit.
#[derive(Debug, Clone)]
pub struct LinearFit {
    /// Names of the coefficients: `intercept` first where there is one, then the columns as they were given.
    pub names: Vec<String>,
    /// Coefficients in that order, in response units per unit of the column.
    pub coefficients: Vec<f64>,
    /// Their covariance, same order; scaled as `scale` says.
    pub covariance: Array2<f64>,
    /// Residual standard deviation in units of the given standard deviations: `sqrt(S / df)`.
    pub sigma: f64,
    /// Observations less coefficients.
    pub df: f64,
    /// S, the sum of squares of residuals over their standard deviations.
    pub sum_of_squares: f64,
    /// Whether the covariance was scaled by `sigma`.
    pub scale: Scale,
    /// Observed less fitted, in the unit of the response.
    pub residuals: Vec<f64>,
    intercept: bool,
}

impl LinearFit {
    pub(super) fn assemble(
        names: Vec<String>,
        solved: LinearSolution,
        scale: Scale,
        intercept: bool,
        sd: Option<&[f64]>,
    ) -> Self {
        let sd = sd.map_or_else(|| vec![1.0; solved.residuals.len()], <[f64]>::to_vec);
        let sum_of_squares: f64 = solved.residuals.iter().zip(&sd).map(|(e, s)| (e / s).powi(2)).sum();
        let df = (solved.residuals.len() - names.len()) as f64;
        let sigma = if df > 0.0 { (sum_of_squares / df).sqrt() } else { f64::NAN };
        let variance = if scale == Scale::Estimated { sigma * sigma } else { 1.0 };
        let covariance = to_array(&(&solved.factor * solved.factor.transpose() * variance));
        Self {
            names,
            coefficients: solved.coefficients,
            covariance,
            sigma,
            df,
            sum_of_squares,
            scale,
            residuals: solved.residuals,
            intercept,
        }
    }

    /// Number of observations.
    pub fn n(&self) -> usize {
        self.residuals.len()
    }

    fn index(&self, name: &str) -> Result<usize> {
        self.names.iter().position(|known| known == name).ok_or_else(|| {
            Error::Usage(format!("no coefficient is named `{name}`; there are {}", self.names.join(", ")))
        })
    }

    /// The coefficient of a column.
    ///
    /// # Errors
    /// [`Error::Usage`] for a name that is not in the fit.
    pub fn value(&self, name: &str) -> Result<f64> {
        let index = self.index(name)?;
        Ok(self.coefficients.get(index).copied().unwrap_or(f64::NAN))
    }

    /// The coefficient of a column with its standard error and interval: Student's t where the scale was estimated,
    /// normal where it is known.
    ///
    /// # Errors
    /// [`Error::Usage`] for an unknown name, [`Error::Setting`] for a level outside (0, 1).
    pub fn estimate(&self, name: &str, level: f64) -> Result<Estimate> {
        let index = self.index(name)?;
        let mut direction = vec![0.0; self.names.len()];
        if let Some(cell) = direction.get_mut(index) {
            *cell = 1.0;
        }
        self.interval(self.value(name)?, quadratic_form(&self.covariance, &direction).sqrt(), level, "linear")
    }

    /// The mean response at the given values of the columns (without the intercept), with its confidence interval.
    ///
    /// # Errors
    /// [`Error::Usage`] when the number of values is not the number of columns, [`Error::Setting`] for a bad level.
    pub fn confidence_interval(&self, columns: &[f64], level: f64) -> Result<Estimate> {
        let row = self.row(columns)?;
        self.interval(self.dot(&row), quadratic_form(&self.covariance, &row).sqrt(), level, "linear mean")
    }

    /// A new observation with standard deviation `sd` (in the unit of the given ones; 1 where none were given) at the
    /// given values of the columns, with its prediction interval. `se` is the standard error of prediction.
    ///
    /// # Errors
    /// As for [`LinearFit::confidence_interval`].
    pub fn prediction_interval(&self, columns: &[f64], sd: f64, level: f64) -> Result<Estimate> {
        let row = self.row(columns)?;
        let own = sd * if self.scale == Scale::Estimated { self.sigma } else { 1.0 };
        let se = (quadratic_form(&self.covariance, &row) + own * own).sqrt();
        self.interval(self.dot(&row), se, level, "linear prediction")
    }

    fn row(&self, columns: &[f64]) -> Result<Vec<f64>> {
        let mut row = Vec::with_capacity(self.names.len());
        if self.intercept {
            row.push(1.0);
        }
        row.extend_from_slice(columns);
        if row.len() == self.names.len() {
            Ok(row)
        } else {
            let wanted = self.names.len() - usize::from(self.intercept);
            Err(Error::Usage(format!("{} values for {wanted} columns", columns.len())))
        }
    }

    fn dot(&self, row: &[f64]) -> f64 {
        row.iter().zip(&self.coefficients).map(|(x, b)| x * b).sum()
    }

    fn interval(&self, value: f64, se: f64, level: f64, what: &str) -> Result<Estimate> {
        match self.scale {
            Scale::Known => Estimate::normal(value, se, level, format!("{what}, normal")),
            Scale::Estimated => Estimate::student_t(value, se, self.df, level, format!("{what}, t")),
        }
    }
}

impl fmt::Display for LinearFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scale = if self.scale == Scale::Known { "stated errors" } else { "errors from the residuals" };
        writeln!(f, "linear least squares, {} observations, {} df, {scale}", self.n(), self.df)?;
        writeln!(f, "residual standard deviation {:.4e}", self.sigma)?;
        let width = self.names.iter().map(String::len).max().unwrap_or(0);
        for (i, (name, value)) in self.names.iter().zip(&self.coefficients).enumerate() {
            let se = self.covariance.get([i, i]).copied().unwrap_or(f64::NAN).sqrt();
            let digits = decimals_for(se);
            writeln!(f, "{name:width$}  {value:.digits$} \u{b1} {se:.digits$}")?;
        }
        Ok(())
    }
}
