//! Estimating the process from residuals, or together with the coefficients of a linear model.

use nalgebra::{DMatrix, DVector};
use ndarray::Array2;

use super::design::{Independent, WHAT, independent};
use super::likelihood::{LikelihoodData, LikelihoodValue};
use super::scoring::{Bounds, Effort, climb};
use super::starts::{best_climb, by_lags, starts};
use super::{Car1, Times};
use crate::fit::Likelihood;
use crate::fit::matrix::{dot, to_array};
use crate::{Error, Result};

/// Most columns of a design.
const MOST_COLUMNS: usize = 31;
/// The rise of the logarithm of the likelihood that is still worth a step.
const WORTH: f64 = 1e-14;
/// Up to so many values the search begins at several places with all columns, which costs little.
const SHORT: usize = 400;

/// How the process is estimated.
///
/// | setting | default | when to change it |
/// | --- | --- | --- |
/// | `criterion` | `Reml` | `Ml` to compare models with different coefficients |
/// | `white_noise` | true | false for the pure CAR(1), as when each reading is an average already |
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AutocorrelationSettings {
    /// What is maximised.
    pub criterion: Likelihood,
    /// Whether white noise is estimated on top of the remembering part.
    pub white_noise: bool,
}

impl Default for AutocorrelationSettings {
    fn default() -> Self {
        Self { criterion: Likelihood::Reml, white_noise: true }
    }
}

/// The estimated process, with the coefficients of the design by generalised least squares.
#[derive(Debug, Clone)]
pub struct AutocorrelationFit {
    /// The process.
    pub process: Car1,
    /// Standard deviation of one error, in the unit of the values.
    pub sigma: f64,
    /// Logarithm of the (restricted) likelihood, with all constants.
    pub ln_likelihood: f64,
    /// Coefficients of the design's columns by generalised least squares; empty without a design.
    pub coefficients: Vec<f64>,
    /// Their covariance `sigma^2 (X' R^-1 X)^-1`, given the process.
    pub covariance: Array2<f64>,
    /// Observations that would be worth as much to a mean, were they independent.
    pub effective_n: f64,
    /// Degrees of freedom for Student's t with these standard errors: `effective_n` less
    /// the columns of the design, at least 1. The process is an estimate too; this stands in for its error.
    pub df: f64,
}

impl AutocorrelationSettings {
    /// Estimates the process of the errors of `values` at `times` (rising, any spacing; equal times only with white
    /// noise) by maximising over phi, the white share and, inside, sigma and the coefficients of `design` (one row per
    /// time). For the residuals of a nonlinear fit the design is its Jacobian at the end.
    ///
    /// `phi` runs from 0 to where the memory is a thousand times the observed span; a process with no memory is a
    /// result (`phi` 0).
    ///
    /// # Errors
    /// - [`Error::Usage`]: different lengths, more than 31 columns.
    /// - [`Error::NotEstimable`]: fewer than three values more than columns, times or values that are not finite or
    ///   fall, no variation, columns that are not independent.
    pub fn fit<'a>(
        &self,
        times: impl Into<Times<'a>>,
        values: &[f64],
        design: Option<&Array2<f64>>,
    ) -> Result<AutocorrelationFit> {
        let columns = design.map_or_else(Vec::new, |x| x.columns().into_iter().map(|column| column.to_vec()).collect());
        let effort = Effort { worth: WORTH, enough: f64::INFINITY };
        self.fit_from(times.into(), values, columns, None, &effort)
    }

    /// The same for the design's columns, from a process that is near where one is known, with a given effort.
    pub(crate) fn fit_from(
        &self,
        times: Times<'_>,
        values: &[f64],
        design: Vec<Vec<f64>>,
        start: Option<&Car1>,
        effort: &Effort,
    ) -> Result<AutocorrelationFit> {
        let (n, p) = (values.len(), design.len());
        if times.len() != n || design.iter().any(|column| column.len() != n) {
            let rows: Vec<usize> = design.iter().map(Vec::len).collect();
            return Err(Error::Usage(format!("{} times, {n} values and {rows:?} rows of the design", times.len())));
        }
        times.check()?;
        if p > MOST_COLUMNS {
            return Err(Error::Usage(format!("a design of {p} columns; {MOST_COLUMNS} at most")));
        }
        if values.iter().chain(design.iter().flatten()).any(|value| !value.is_finite()) {
            return Err(Error::not_estimable(WHAT, "a value is not a finite number"));
        }
        if n < p + 3 {
            return Err(Error::not_estimable(WHAT, format!("{n} values for {p} coefficients")));
        }
        ProcessSearch::new(*self, times, values, design)?.fit(start, effort)
    }
}

/// The values, less their projection on the design, and the design, for one search.
struct ProcessSearch<'a> {
    settings: AutocorrelationSettings,
    times: Times<'a>,
    design: Independent,
    values: Vec<f64>,
    /// Coefficients of the projection, for the independent columns.
    projected: Vec<f64>,
}

impl<'a> ProcessSearch<'a> {
    fn new(settings: AutocorrelationSettings, times: Times<'a>, values: &[f64], x: Vec<Vec<f64>>) -> Result<Self> {
        let design = independent(x)?;
        let mut values = values.to_vec();
        let mut projected = Vec::with_capacity(design.columns.len());
        for column in &design.columns {
            let part = dot(column, &values);
            values.iter_mut().zip(column).for_each(|(y, x)| *y -= part * x);
            projected.push(part);
        }
        Ok(Self { settings, times, design, values, projected })
    }

    /// The process of the greatest likelihood, from a process on or from the best of a few.
    fn fit(&self, start: Option<&Car1>, effort: &Effort) -> Result<AutocorrelationFit> {
        match self.design.columns.len() {
            0 => self.fit_columns::<1>(start, effort),
            1 => self.fit_columns::<2>(start, effort),
            2 => self.fit_columns::<3>(start, effort),
            3 => self.fit_columns::<4>(start, effort),
            4 => self.fit_columns::<5>(start, effort),
            5 => self.fit_columns::<6>(start, effort),
            6..=7 => self.fit_columns::<8>(start, effort),
            8..=15 => self.fit_columns::<16>(start, effort),
            _ => self.fit_columns::<{ MOST_COLUMNS + 1 }>(start, effort),
        }
    }

    fn columns<const N: usize>(&self) -> LikelihoodData<'a, N> {
        let p = self.design.columns.len();
        let mut rows = vec![[0.0; N]; self.values.len()];
        for (j, column) in self.design.columns.iter().enumerate() {
            rows.iter_mut().zip(column).for_each(|(row, value)| row[j] = *value);
        }
        rows.iter_mut().zip(&self.values).for_each(|(row, value)| row[p] = *value);
        let restricted = self.settings.criterion == Likelihood::Reml;
        let ln_scale = 2.0 * self.design.r.diagonal().iter().map(|d| d.abs().ln()).sum::<f64>();
        LikelihoodData { rows, width: p + 1, times: self.times, restricted, ln_scale }
    }

    fn fit_columns<const N: usize>(&self, start: Option<&Car1>, effort: &Effort) -> Result<AutocorrelationFit> {
        let gaps = || self.times.gaps().flatten().filter(|gap| *gap > 0.0);
        let (span, least) = (gaps().sum::<f64>(), gaps().fold(f64::INFINITY, f64::min));
        if !(span > 0.0) {
            return Err(Error::not_estimable(WHAT, "no two readings of a series have different times"));
        }
        // Shorter memory than a tenth of the smallest gap is none; longer than a thousand spans is a constant.
        let (low, high) = ((0.1 * least).ln(), (1e3 * span).ln());
        let gap = span / self.values.len() as f64;
        let white_noise = self.settings.white_noise;
        let bounds = Bounds { low, high, white_noise, gap, effort: *effort };
        let columns = self.columns::<N>();
        // The columns are independent, and the values have no part in them.
        let white = columns.white_loss(dot(&self.values, &self.values));
        if !white.is_finite() {
            return Err(Error::not_estimable(WHAT, "the residuals do not vary"));
        }
        let best = match start.filter(|start| start.phi > 0.0) {
            Some(start) => climb(&columns, [start.memory().ln().clamp(low, high), start.white_share], &bounds),
            None if self.values.len() <= SHORT => {
                best_climb(&columns, &starts(&columns, &bounds, span, 3.0, &[0.0, 0.3, 0.8]), &bounds)
            }
            None => {
                // The values alone, less their projection, tell of long series where to begin.
                let rows = self.values.iter().map(|value| [*value]).collect();
                let alone = LikelihoodData { rows, width: 1, times: self.times, restricted: false, ln_scale: 0.0 };
                let passing = Bounds { effort: Effort { worth: 0.01, ..*effort }, ..bounds };
                let begin = match self.times.is_one_series() {
                    true => vec![by_lags(&self.values, &bounds)],
                    false => starts(&alone, &bounds, span, 8.0, &[0.05, 0.6]),
                };
                let begin = best_climb(&alone, &begin, &passing);
                begin.and_then(|(at, _)| climb(&columns, at, &bounds))
            }
        };
        match best.filter(|(_, found)| found.loss < white - 1e-9) {
            Some((at, found)) => self.finish(Car1::new((-(-at[0]).exp()).exp(), at[1])?, &found),
            None => {
                let white = columns.value::<false>(1.0, 1.0);
                let white = white.ok_or_else(|| Error::not_estimable(WHAT, "the residuals do not vary"))?;
                self.finish(Car1::white(), &white)
            }
        }
    }

    fn finish<const N: usize>(&self, process: Car1, value: &LikelihoodValue<N>) -> Result<AutocorrelationFit> {
        let p = self.design.columns.len();
        let last = &value.inverse[p];
        let of_independent = DVector::from_fn(p, |i, _| self.projected[i] - last[i] / last[p]);
        let singular = || Error::numeric("generalised least squares", "R is singular");
        let coefficients = self.design.r.solve_upper_triangular(&of_independent).ok_or_else(singular)?;
        let root = DMatrix::from_fn(p, p, |i, j| value.inverse[i][j]);
        let back = self.design.r.solve_upper_triangular(&root.transpose()).ok_or_else(singular)?;
        let covariance = &back * back.transpose() * value.variance;
        let effective_n = process.effective_sample_size(self.times)?;
        Ok(AutocorrelationFit {
            process,
            sigma: value.variance.sqrt(),
            ln_likelihood: -value.loss,
            coefficients: coefficients.iter().copied().collect(),
            covariance: to_array(&covariance),
            effective_n,
            df: (effective_n - p as f64).max(1.0),
        })
    }
}
