//! The curve of one batch by generalised least squares, for a given error model and priors of its parameters.

use nalgebra::{DMatrix, DVector};
use ndarray::{ArrayViewMut2, Axis};

use crate::error::{Error, Result};
use crate::fit::matrix::gram;
use crate::fit::nonlinear::{NonlinearFit, NonlinearSettings, Parameter};
use crate::fit::whitener::Whitener;

use super::curve::{FermentationCurve, GravityCurve, NO_TAIL, PARAMETERS};
use super::error_model::ErrorModel;
use super::likelihood::{BatchLikelihood, BiasedCurve, Coordinates, Slopes, WhitenedBatch};
use super::point::BatchPoint;
use super::probe_bias::{DELAY, FITTED, FOAM, ProbeBias};

/// Priors of the parameters of the curve, mean and standard deviation; none: free. For those of the correction the standard
/// deviation counts in units of the error model's.
pub(crate) type Priors = [Option<(f64, f64)>; PARAMETERS];

/// Bounds that keep a fit within what a fermentation can be; a fit that rests on one says so.
const BOUNDS: [(f64, f64); 7] =
    [(0.95, 1.25), (0.93, 1.20), (0.0, 8.0), (-6.0, 4.0), (-2.5, 2.5), (NO_TAIL, 0.6), (-5.0, -0.05)];
/// How the whitened problem is solved: its residuals are over stated standard deviations.
const SOLVER: NonlinearSettings = NonlinearSettings { tolerance: 1e-10, patience: 1000 };
/// Bounds of a coefficient of the correction.
const CORRECTION_BOUNDS: (f64, f64) = (-6.0, 6.0);
/// Names of the parameters; those of the correction are counted.
const NAMES: [&str; 7] =
    ["original_sg", "terminal_sg", "ln_scale_h", "ln_steepness", "ln_asymmetry", "tail_share", "ln_tail_pace"];

/// One batch's least-squares problem, with or without its points.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CurveProblem<'a> {
    pub kind: FermentationCurve,
    pub likelihood: BatchLikelihood<'a>,
    pub priors: &'a Priors,
    /// Priors of the bias of probes.
    pub bias: ProbeBias,
}

/// The curve's own parameters, the delay by gas and the bias by foam as coordinates.
impl Coordinates for FermentationCurve {
    fn count(&self) -> usize {
        FITTED
    }

    fn curve(&self, parameters: &[f64]) -> Result<BiasedCurve> {
        match parameters.split_first_chunk::<PARAMETERS>() {
            Some((vector, [delay_h, foam_sg, ..])) => {
                let curve = GravityCurve::from_vector(*self, vector);
                Ok(BiasedCurve { curve, delay_h: *delay_h, foam_sg: *foam_sg })
            }
            _ => Err(Error::numeric("a fermentation curve", "too few parameters")),
        }
    }

    fn chain(&self, _: &BiasedCurve, slopes: &[Slopes], mut out: ArrayViewMut2<'_, f64>) {
        for (mut row, slopes) in out.axis_iter_mut(Axis(0)).zip(slopes) {
            row.iter_mut().zip(slopes).for_each(|(cell, slope)| *cell = *slope);
        }
    }
}

impl<'a> CurveProblem<'a> {
    /// The same for these points, with what foam adds to each.
    pub fn of(&self, points: &'a [BatchPoint], foam: &'a [f64]) -> Self {
        Self { likelihood: BatchLikelihood { points, foam, ..self.likelihood }, ..*self }
    }

    /// The curve among the parameters of a fit.
    pub fn curve_of(&self, parameters: &[f64]) -> Result<GravityCurve> {
        Ok(self.kind.curve(parameters)?.curve)
    }

    /// What parameters leave of each point, not whitened.
    pub fn residuals(&self, parameters: &[f64]) -> Result<Vec<f64>> {
        self.likelihood.residuals(&self.kind, parameters)
    }

    /// The parameters of a fit from `start`.
    fn parameters(&self, start: &GravityCurve, correction_sd: f64) -> Vec<Parameter> {
        let mut parameters: Vec<Parameter> = Vec::with_capacity(FITTED + self.likelihood.nuisances.len());
        for (i, value) in start.to_vector().into_iter().enumerate() {
            let (low, high) = BOUNDS.get(i).copied().unwrap_or(CORRECTION_BOUNDS);
            let name =
                NAMES.get(i).map_or_else(|| format!("correction {}", i - NAMES.len()), |name| (*name).to_owned());
            parameters.push(if i >= self.kind.free() {
                Parameter::new(name, if i == 5 { NO_TAIL } else { 0.0 }).held()
            } else {
                let parameter = Parameter::new(name, value.clamp(low, high)).within(low, high);
                match self.prior(i, correction_sd) {
                    Some((mean, sd)) => parameter.with_prior(mean, sd),
                    None => parameter,
                }
            });
        }
        for (name, (mean, sd)) in [("delay_h", self.bias.delay_h), ("foam_sg", self.bias.foam_sg)] {
            let parameter = Parameter::new(name, mean);
            parameters.push(if sd > 0.0 { parameter.with_prior(mean, sd) } else { parameter.held() });
        }
        let nuisances = self.likelihood.nuisances.iter().enumerate();
        parameters
            .extend(nuisances.map(|(k, n)| Parameter::new(format!("nuisance {k}"), n.mean).with_prior(n.mean, 1.0)));
        parameters
    }

    /// Minimises from `start` under an error model, which has the departure from the curve grow with the relative rate of fall
    /// at each point.
    pub fn fit(&self, start: &GravityCurve, relative_rate: &[f64], errors: &ErrorModel) -> Result<NonlinearFit> {
        let whitener = self.likelihood.whitener(relative_rate, errors)?;
        let (likelihood, coordinates, whitener) = (self.likelihood, &self.kind, &whitener);
        let problem = WhitenedBatch { likelihood, coordinates, whitener, terminal_sg: None };
        SOLVER.fit(&problem, &self.parameters(start, errors.correction_sd))
    }

    /// The prior of parameter `i`, a nuisance effect after those of the curve.
    fn prior(&self, i: usize, correction_sd: f64) -> Option<(f64, f64)> {
        match self.priors.get(i) {
            Some(prior) if i < NAMES.len() => *prior,
            Some(prior) => prior.map(|(mean, sd)| (mean, sd * correction_sd)),
            // Held is known beyond doubt.
            None => match self.bias.at(i) {
                Some((mean, sd)) => Some((mean, sd.max(1e-9))),
                None => self.likelihood.nuisances.get(i - FITTED).map(|nuisance| (nuisance.mean, 1.0)),
            },
        }
    }

    /// Sum of squares of a fit and of its distances from the priors.
    pub fn objective(&self, fit: &NonlinearFit, correction_sd: f64) -> f64 {
        let pull = |(i, value): (usize, &f64)| match self.prior(i, correction_sd) {
            Some((mean, sd)) => ((value - mean) / sd).powi(2),
            None => 0.0,
        };
        fit.sum_of_squares + fit.values().iter().enumerate().map(pull).sum::<f64>()
    }

    /// Minus twice the logarithm of the marginal likelihood of an error model, linearised at `parameters` (Laplace),
    /// up to a constant. With flat priors it is the restricted likelihood (REML).
    pub fn minus_two_ln_evidence(
        &self,
        parameters: &[f64],
        raw: &Linearised,
        whitener: &Whitener,
        correction_sd: f64,
    ) -> f64 {
        let mut residual = raw.residual.clone();
        whitener.whiten(residual.iter_mut());
        let mut jacobian = raw.jacobian.clone();
        for mut column in jacobian.column_iter_mut() {
            whitener.whiten(column.iter_mut());
        }
        let mut normal = gram(&jacobian);
        let mut right = jacobian.tr_mul(&residual);
        let mut square = residual.norm_squared();
        for (column, (j, value)) in self.fitted_places(parameters.len()).map(|j| (j, parameters[j])).enumerate() {
            if let Some((mean, sd)) = self.prior(j, correction_sd) {
                let pull = (mean - value) / sd;
                normal[(column, column)] += 1.0 / (sd * sd);
                right[column] += pull / sd;
                square += pull * pull + 2.0 * sd.ln();
            }
        }
        match normal.cholesky() {
            Some(factor) => {
                let ln_det: f64 = factor.l_dirty().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
                whitener.ln_determinant() + ln_det + square - right.dot(&factor.solve(&right))
            }
            None => f64::INFINITY,
        }
    }

    /// Residuals and derivatives at `parameters`, not whitened, without the columns of what the curve has not.
    pub fn linearise(&self, parameters: &[f64]) -> Result<Linearised> {
        let residual = DVector::from_vec(self.residuals(parameters)?);
        let slopes = self.likelihood.slopes(&self.kind, parameters)?;
        let places: Vec<usize> = self.fitted_places(slopes.ncols()).collect();
        let jacobian = DMatrix::from_fn(slopes.nrows(), places.len(), |i, j| slopes[(i, places[j])]);
        Ok(Linearised { residual, jacobian })
    }

    /// Places, of `n` parameters, of the curve's free ones and of all after the curve's.
    fn fitted_places(&self, n: usize) -> impl Iterator<Item = usize> {
        (0..self.kind.free()).chain(DELAY..=FOAM).chain(FITTED..n)
    }
}

/// Residuals and derivatives at one place.
#[derive(Debug, Clone)]
pub(crate) struct Linearised {
    residual: DVector<f64>,
    jacobian: DMatrix<f64>,
}
