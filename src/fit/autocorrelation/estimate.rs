//! Estimating the process from residuals, or together with the coefficients of a linear model.

use nalgebra::{DMatrix, DVector};
use ndarray::Array2;

use super::Car1;
use super::whitener::{Whitener, check_times};
use crate::fit::Likelihood;
use crate::fit::matrix::to_array;
use crate::fit::minimise::newton;
use crate::{Error, Result};

const WHAT: &str = "an autocorrelation";
/// White shares from each of which the search begins, where there is white noise.
const WHITE_SHARES: [f64; 3] = [0.01, 0.3, 0.8];

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
    /// - [`Error::Usage`]: different lengths.
    /// - [`Error::NotEstimable`]: fewer than three values more than columns, times or values that are not finite or
    ///   fall, no variation, columns that are not independent.
    pub fn fit(&self, times: &[f64], values: &[f64], design: Option<&Array2<f64>>) -> Result<AutocorrelationFit> {
        let (n, p) = (values.len(), design.map_or(0, Array2::ncols));
        if times.len() != n || design.is_some_and(|x| x.nrows() != n) {
            let rows = design.map_or(n, Array2::nrows);
            return Err(Error::Usage(format!("{} times, {n} values and {rows} rows of the design", times.len())));
        }
        check_times(times)?;
        if values.iter().chain(design.into_iter().flatten()).any(|value| !value.is_finite()) {
            return Err(Error::not_estimable(WHAT, "a value is not a finite number"));
        }
        if n < p + 3 {
            return Err(Error::not_estimable(WHAT, format!("{n} values for {p} coefficients")));
        }
        let gaps = || times.iter().zip(times.iter().skip(1)).map(|(time, next)| next - time).filter(|gap| *gap > 0.0);
        let (span, least) = (gaps().sum::<f64>(), gaps().fold(f64::INFINITY, f64::min));
        if !(span > 0.0) {
            return Err(Error::not_estimable(WHAT, "no two readings have different times"));
        }
        let data = LikelihoodData::new(self.criterion, times, values, design)?;
        let white = data.at(1.0, 1.0).ok_or_else(|| Error::not_estimable(WHAT, "the residuals do not vary"))?;

        // Shorter memory than a tenth of the smallest gap is none; longer than a thousand spans is a constant.
        let (low, high) = ((0.1 * least).ln(), (1e3 * span).ln());
        // The logarithm of the memory, and the root of the odds of the white share: its sign means nothing, so that a share
        // of 0 is a place like others.
        let process = |at: &[f64]| {
            let odds = at.get(1).map_or(0.0, |root| root * root);
            (at[0].clamp(low, high).exp(), odds / (1.0 + odds))
        };
        let loss = |at: &[f64]| {
            let (memory, white_share) = process(at);
            data.at(memory, white_share).map_or(f64::INFINITY, |found| found.loss)
        };
        let gap = span / n as f64;
        let memories =
            || std::iter::successors(Some(0.5 * gap), |memory| Some(3.0 * memory)).take_while(|m| *m < 2.0 * span);
        let begins: Vec<Vec<f64>> = match self.white_noise {
            true => WHITE_SHARES.iter().map(|share| vec![(share / (1.0 - share)).sqrt()]).collect(),
            false => vec![Vec::new()],
        };
        let from = |root: &Vec<f64>| {
            let places = memories().map(|memory| [&[memory.ln().clamp(low, high)], root.as_slice()].concat());
            places.min_by(|a, b| loss(a).total_cmp(&loss(b)))
        };
        let ends = begins.iter().filter_map(from).map(|start| newton(&loss, &start));
        match ends.min_by(|a, b| a.value.total_cmp(&b.value)).filter(|end| end.value < white.loss - 1e-9) {
            Some(end) => {
                let (memory, white_share) = process(&end.at);
                let process = Car1::new((-1.0 / memory).exp(), white_share)?;
                let found = data.at(memory, white_share);
                data.finish(process, &found.ok_or_else(|| Error::numeric(WHAT, "the likelihood has no value"))?)
            }
            None => data.finish(Car1::white(), &white),
        }
    }
}

/// The design made independent, and the values less their projection on it.
struct LikelihoodData<'a> {
    criterion: Likelihood,
    times: &'a [f64],
    /// Orthonormal columns, the values last.
    columns: DMatrix<f64>,
    /// Coefficients of the projection, for the orthonormal columns.
    projected: DVector<f64>,
    /// The design is the orthonormal columns times R.
    r: DMatrix<f64>,
}

/// The likelihood at one process.
struct LikelihoodValue {
    /// Minus the logarithm of the likelihood.
    loss: f64,
    /// Variance of one error.
    variance: f64,
    /// Lower Cholesky factor of the products of the whitened columns.
    root: DMatrix<f64>,
}

impl<'a> LikelihoodData<'a> {
    fn new(criterion: Likelihood, times: &'a [f64], values: &[f64], design: Option<&Array2<f64>>) -> Result<Self> {
        let (n, p) = (values.len(), design.map_or(0, Array2::ncols));
        let mut x = DMatrix::from_fn(n, p, |i, j| design.map_or(0.0, |x| x[[i, j]]));
        let lengths: Vec<f64> = x.column_iter().map(|column| column.norm()).collect();
        x.column_iter_mut().zip(&lengths).for_each(|(mut column, length)| column /= *length);
        let (q, mut r) = x.qr().unpack();
        if lengths.iter().any(|length| !(*length > 0.0)) || r.diagonal().iter().any(|d| !(d.abs() > 1e-13)) {
            return Err(Error::not_estimable(WHAT, "the columns of the design are not independent"));
        }
        r.column_iter_mut().zip(&lengths).for_each(|(mut column, length)| column *= *length);
        let y = DVector::from_column_slice(values);
        let projected = q.tr_mul(&y);
        let left = y - &q * &projected;
        let mut columns = q.resize_horizontally(p + 1, 0.0);
        columns.set_column(p, &left);
        Ok(Self { criterion, times, columns, projected, r })
    }

    /// `None` where two readings are not told apart or the values do not vary.
    fn at(&self, memory: f64, white_share: f64) -> Option<LikelihoodValue> {
        let whitener = Whitener::stationary(self.times, memory, white_share).ok()?;
        let mut white = self.columns.clone();
        white.column_iter_mut().for_each(|mut column| whitener.whiten(column.iter_mut()));
        let root = white.tr_mul(&white).cholesky()?.unpack();
        let p = self.projected.len();
        let spent = if self.criterion == Likelihood::Reml { p } else { 0 };
        let df = (self.times.len() - spent) as f64;
        let variance = root[(p, p)] * root[(p, p)] / df;
        let fixed = (0..spent).map(|i| (self.r[(i, i)] * root[(i, i)]).abs().ln()).sum::<f64>();
        let twice = df * ((2.0 * std::f64::consts::PI * variance).ln() + 1.0) + whitener.ln_determinant();
        let loss = 0.5 * twice + fixed;
        loss.is_finite().then_some(LikelihoodValue { loss, variance, root })
    }

    fn finish(&self, process: Car1, value: &LikelihoodValue) -> Result<AutocorrelationFit> {
        let p = self.projected.len();
        let singular = || Error::numeric("generalised least squares", "R is singular");
        let root = value.root.view((0, 0), (p, p)).into_owned();
        let half = root.solve_lower_triangular(&DMatrix::identity(p, p)).ok_or_else(singular)?;
        let back = self.r.solve_upper_triangular(&half.transpose()).ok_or_else(singular)?;
        let more = half.tr_mul(&value.root.row(p).columns(0, p).transpose());
        let coefficients = self.r.solve_upper_triangular(&(&self.projected + more)).ok_or_else(singular)?;
        let effective_n = process.effective_sample_size(self.times)?;
        Ok(AutocorrelationFit {
            process,
            sigma: value.variance.sqrt(),
            ln_likelihood: -value.loss,
            coefficients: coefficients.iter().copied().collect(),
            covariance: to_array(&(&back * back.transpose() * value.variance)),
            effective_n,
            df: (effective_n - p as f64).max(1.0),
        })
    }
}
