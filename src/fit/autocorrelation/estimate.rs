//! Estimating the process from residuals, or together with the coefficients of a linear model.

use nalgebra::{DMatrix, DVector};
use ndarray::Array2;

use super::{Car1, Times};
use crate::fit::matrix::{to_array, to_dmatrix};
use crate::fit::minimise;
use crate::{Error, Result};

/// What is maximised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Criterion {
    /// The likelihood of the error contrasts: allows for the coefficients that were fitted (REML).
    #[default]
    Restricted,
    /// The likelihood (ML): needed to compare models with different coefficients.
    Likelihood,
}

/// How the process is estimated.
///
/// | setting | default | when to change it |
/// | --- | --- | --- |
/// | `criterion` | `Restricted` | `Likelihood` to compare models with different coefficients |
/// | `white_noise` | true | false for the pure CAR(1), as when each reading is an average already |
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AutocorrelationSettings {
    /// What is maximised.
    pub criterion: Criterion,
    /// Whether white noise is estimated on top of the remembering part.
    pub white_noise: bool,
}

impl Default for AutocorrelationSettings {
    fn default() -> Self {
        Self { criterion: Criterion::Restricted, white_noise: true }
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
    /// Degrees of freedom for Student's t with these standard errors and those of [`Car1::sandwich`]: `effective_n` less
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
    pub fn fit<'a>(
        &self,
        times: impl Into<Times<'a>>,
        values: &[f64],
        design: Option<&Array2<f64>>,
    ) -> Result<AutocorrelationFit> {
        let times = times.into();
        let n = values.len();
        if times.len() != n || design.is_some_and(|design| design.nrows() != n) {
            return Err(Error::Usage(format!(
                "{} times, {n} values and {:?} rows of the design",
                times.len(),
                design.map(Array2::nrows)
            )));
        }
        let what = "an autocorrelation";
        times.check()?;
        let x = design.map_or_else(|| DMatrix::zeros(n, 0), to_dmatrix);
        if values.iter().chain(x.iter()).any(|value| !value.is_finite()) {
            return Err(Error::not_estimable(what, "a value is not a finite number"));
        }
        if n < x.ncols() + 3 {
            return Err(Error::not_estimable(what, format!("{n} values for {} coefficients", x.ncols())));
        }
        let problem = Problem { settings: *self, times, values: DVector::from_column_slice(values), x };
        let gaps = || times.gaps().flatten().filter(|gap| *gap > 0.0);
        let (span, gap) = (gaps().sum::<f64>(), gaps().fold(f64::INFINITY, f64::min));
        if !(span > 0.0) {
            return Err(Error::not_estimable(what, "no two readings of a series have different times"));
        }
        let process = problem.search(gap, span)?;
        problem.finish(process)
    }
}

struct Problem<'a> {
    settings: AutocorrelationSettings,
    times: Times<'a>,
    values: DVector<f64>,
    x: DMatrix<f64>,
}

/// Generalised least squares for one process.
struct Solved {
    ln_likelihood: f64,
    sigma: f64,
    coefficients: DVector<f64>,
    r: DMatrix<f64>,
}

impl Problem<'_> {
    fn solve(&self, process: &Car1) -> Result<Solved> {
        let whitener = process.whitener(self.times)?;
        let mut y = self.values.clone();
        whitener.whiten(y.iter_mut());
        let mut x = self.x.clone();
        for mut column in x.column_iter_mut() {
            whitener.whiten(column.iter_mut());
        }
        let (n, p) = (y.len() as f64, x.ncols());
        let (mut r, mut coefficients) = (DMatrix::zeros(0, 0), DVector::zeros(0));
        let mut ln_det_x = 0.0;
        if p > 0 {
            let scale = x.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
            let qr = x.qr();
            r = qr.r();
            qr.q_tr_mul(&mut y);
            if r.diagonal().iter().any(|d| !(d.abs() > 1e-13 * scale)) {
                return Err(Error::not_estimable(
                    "an autocorrelation",
                    "the columns of the design are not independent",
                ));
            }
            ln_det_x = 2.0 * r.diagonal().iter().map(|d| d.abs().ln()).sum::<f64>();
            coefficients = r
                .solve_upper_triangular(&y.rows(0, p))
                .ok_or_else(|| Error::numeric("generalised least squares", "R is singular"))?;
        }
        // What Q' leaves below the first p rows are the residuals.
        let squares = y.rows(p, y.len() - p).norm_squared();
        let restricted = self.settings.criterion == Criterion::Restricted;
        let df = if restricted { n - p as f64 } else { n };
        let variance = squares / df;
        if !(variance > 0.0) {
            return Err(Error::not_estimable("an autocorrelation", "the residuals do not vary"));
        }
        let ln_variance = (2.0 * std::f64::consts::PI * variance).ln();
        let mut twice = df * (ln_variance + 1.0) + whitener.ln_determinant();
        if restricted {
            twice += ln_det_x;
        }
        Ok(Solved { ln_likelihood: -0.5 * twice, sigma: variance.sqrt(), coefficients, r })
    }

    /// The loss at ln(memory) and the white share; memory is -1 / ln phi.
    fn loss(&self, ln_memory: f64, white_share: f64) -> f64 {
        let phi = (-(-ln_memory).exp()).exp();
        match Car1::new(phi, white_share).and_then(|process| self.solve(&process)) {
            Ok(solved) => -solved.ln_likelihood,
            Err(_) => f64::INFINITY,
        }
    }

    fn search(&self, gap: f64, span: f64) -> Result<Car1> {
        // Shorter memory than a tenth of the smallest gap is none; longer than a thousand spans is a constant.
        let (low, high) = ((0.1 * gap).ln(), (1e3 * span).ln());
        let shares: &[f64] = if self.settings.white_noise { &[0.0, 0.3, 0.8] } else { &[0.0] };
        let steps = 16;
        let mut best = (f64::INFINITY, low, 0.0);
        for share in shares {
            for i in 0..=steps {
                let ln_memory = low + (high - low) * f64::from(i) / f64::from(steps);
                let loss = self.loss(ln_memory, *share);
                if loss < best.0 {
                    best = (loss, ln_memory, *share);
                }
            }
        }
        // Independence is the limit of both ends; it also carries the reason where nothing can be computed.
        let independent = -self.solve(&Car1::white())?.ln_likelihood;
        let reach = (high - low) / f64::from(steps);
        let mut found = best;
        if best.0.is_finite() && self.settings.white_noise {
            let inner = |point: &[f64]| match point {
                [u, v] if (low..=high).contains(u) => self.loss(*u, logistic(*v)),
                _ => f64::INFINITY,
            };
            let start = [best.1, logit(best.2.max(0.05))];
            let (point, loss) = minimise::nelder_mead(inner, &start, &[0.5 * reach, 1.0], 1e-8, 200);
            if let [u, v] = point.as_slice() {
                found = (loss, *u, logistic(*v));
            }
        }
        if best.0.is_finite() && (!self.settings.white_noise || found.2 < 0.05) {
            // No white noise is an end of its scale, which the search above only nears.
            let (a, b) = ((found.1 - reach).max(low), (found.1 + reach).min(high));
            let pure = minimise::brent(|u| self.loss(u, 0.0), a, b, 1e-10);
            if pure.value <= found.0 + 1e-7 {
                found = (pure.value, pure.at, 0.0);
            }
        }
        if independent <= found.0 + 1e-9 {
            return Ok(Car1::white());
        }
        Car1::new((-(-found.1).exp()).exp(), found.2)
    }

    fn finish(&self, process: Car1) -> Result<AutocorrelationFit> {
        let solved = self.solve(&process)?;
        let covariance = match solved.r.clone().try_inverse() {
            Some(inverse) => &inverse * inverse.transpose() * (solved.sigma * solved.sigma),
            None => DMatrix::zeros(0, 0),
        };
        let effective_n = process.effective_sample_size(self.times)?;
        Ok(AutocorrelationFit {
            process,
            sigma: solved.sigma,
            ln_likelihood: solved.ln_likelihood,
            coefficients: solved.coefficients.iter().copied().collect(),
            covariance: to_array(&covariance),
            effective_n,
            df: (effective_n - self.x.ncols() as f64).max(1.0),
        })
    }
}

fn logistic(v: f64) -> f64 {
    1.0 / (1.0 + (-v).exp())
}

fn logit(p: f64) -> f64 {
    (p / (1.0 - p)).ln()
}
