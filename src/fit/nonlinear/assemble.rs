//! From the end of an iteration to the result: what the data determine, the covariance, how each parameter ended.

use nalgebra::DMatrix;
use ndarray::Array2;

use super::fitted::{FittedParameter, NonlinearFit, ParameterState};
use super::{NonlinearSettings, Parameter, Residuals, StopReason};
use crate::Result;
use crate::fit::Scale;
use crate::fit::matrix::{Identified, identify, to_array};

/// Singular values of the scaled Jacobian below this share of the largest count as zero.
const SINGULAR: f64 = 1e-10;

/// Where an iteration ended.
pub(super) struct SolverOutcome {
    /// All parameters, held ones included.
    pub values: Vec<f64>,
    /// -1 or 1 for a parameter that rests on its lower or upper bound, else 0.
    pub resting: Vec<i8>,
    pub stop: StopReason,
    pub evaluations: usize,
}

/// Puts the result together at the end of an iteration.
pub(super) fn assemble(
    settings: &NonlinearSettings,
    problem: &impl Residuals,
    parameters: &[Parameter],
    end: SolverOutcome,
) -> Result<NonlinearFit> {
    let (n, all) = (problem.count(), parameters.len());
    let (mut residuals, mut jacobian) = (vec![0.0; n], Array2::zeros((n, all)));
    problem.residuals(&end.values, &mut residuals)?;
    problem.jacobian(&end.values, jacobian.view_mut())?;

    let moving: Vec<usize> = parameters
        .iter()
        .zip(&end.resting)
        .enumerate()
        .filter(|(_, (parameter, side))| !parameter.held && **side == 0)
        .map(|(place, _)| place)
        .collect();
    let stacked = stack(&jacobian, parameters, &moving);
    let identified = identify(&stacked, SINGULAR);
    let used = identified.as_ref().map_or(moving.len() as f64, |known| spent(&stacked, n, known));
    let sum_of_squares: f64 = residuals.iter().map(|r| r * r).sum();
    let df = n as f64 - used;
    let sigma = if df > 1e-9 { (sum_of_squares / df).sqrt() } else { f64::NAN };
    let variance = if settings.scale == Scale::Estimated { sigma * sigma } else { 1.0 };

    let mut covariance = DMatrix::zeros(all, all);
    let mut fitted: Vec<FittedParameter> = parameters
        .iter()
        .zip(&end.values)
        .zip(&end.resting)
        .map(|((parameter, value), side)| FittedParameter {
            name: parameter.name.clone(),
            value: *value,
            state: match side {
                _ if parameter.held => ParameterState::Held,
                -1 => ParameterState::AtLower,
                1 => ParameterState::AtUpper,
                _ => ParameterState::Free,
            },
        })
        .collect();
    for (i, a) in moving.iter().enumerate() {
        let seen = identified.as_ref().is_some_and(|known| !known.unseen.get(i).copied().unwrap_or(true));
        if !seen {
            covariance.row_mut(*a).fill(0.0);
            covariance[(*a, *a)] = f64::INFINITY;
            if let Some(parameter) = fitted.get_mut(*a) {
                parameter.state = ParameterState::NotIdentified;
            }
            continue;
        }
        for (j, b) in moving.iter().enumerate() {
            let other = identified.as_ref().filter(|known| !known.unseen.get(j).copied().unwrap_or(true));
            if let Some(known) = other {
                covariance[(*a, *b)] = variance * known.inverse[(i, j)];
            }
        }
    }
    Ok(NonlinearFit {
        parameters: fitted,
        covariance: to_array(&covariance),
        n,
        df,
        sigma,
        sum_of_squares,
        scale: settings.scale,
        residuals,
        jacobian,
        stop: end.stop,
        evaluations: end.evaluations,
    })
}

/// Parameters as far as the residuals, not the priors, determine them: the trace of the hat matrix of the data rows.
fn spent(stacked: &DMatrix<f64>, n: usize, known: &Identified) -> f64 {
    let data = stacked.rows(0, n);
    if stacked.nrows() == n {
        return known.rank as f64;
    }
    let hat = data * &known.inverse;
    hat.component_mul(&data).sum()
}

/// The derivatives in the moving parameters, with one further row for each of their priors.
fn stack(jacobian: &Array2<f64>, parameters: &[Parameter], moving: &[usize]) -> DMatrix<f64> {
    let priors: Vec<(usize, f64)> = moving
        .iter()
        .enumerate()
        .filter_map(|(column, place)| {
            let (_, sd) = parameters.get(*place)?.prior?;
            Some((column, 1.0 / sd))
        })
        .collect();
    let n = jacobian.nrows();
    let mut stacked = DMatrix::zeros(n + priors.len(), moving.len());
    for (column, place) in moving.iter().enumerate() {
        for (cell, slope) in stacked.column_mut(column).iter_mut().zip(jacobian.column(*place)) {
            *cell = *slope;
        }
    }
    for (row, (column, weight)) in priors.into_iter().enumerate() {
        stacked[(n + row, column)] = weight;
    }
    stacked
}
