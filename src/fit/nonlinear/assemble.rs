//! From the end of an iteration to the result: what the data determine, the covariance, how each parameter ended.

use nalgebra::DMatrix;
use ndarray::Array2;

use super::fitted::{FittedParameter, NonlinearFit, ParameterState};
use super::outcome::SolverOutcome;
use super::{NonlinearSettings, Parameter, Residuals};
use crate::fit::Scale;
use crate::fit::matrix::{Identified, identify, identify_normal, to_array};
use crate::{Error, Result};

/// Puts the result together at the end of an iteration.
pub(super) fn assemble(
    settings: &NonlinearSettings,
    problem: &impl Residuals,
    parameters: &[Parameter],
    end: SolverOutcome,
) -> Result<NonlinearFit> {
    let (n, all) = (problem.count(), parameters.len());
    let (residuals, jacobian) = linearise(problem, &end.values)?;

    let moving: Vec<usize> = parameters
        .iter()
        .zip(&end.resting)
        .enumerate()
        .filter(|(_, (parameter, side))| !parameter.held && **side == 0)
        .map(|(place, _)| place)
        .collect();
    let normal = end.normal.as_ref().map(|all| all.select_rows(&moving).select_columns(&moving));
    let (identified, used) = match normal.and_then(|normal| identify_normal(&normal, settings.singular)) {
        Some(known) => (Some(known), moving.len() as f64),
        None => {
            let stacked = stack(&jacobian, parameters, &moving, end.sigma);
            let identified = identify(&stacked, settings.singular);
            let used = identified.as_ref().map_or(moving.len() as f64, |known| spent(&stacked, n, known));
            (identified, used)
        }
    };
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
            start: parameter.start,
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
        condition: identified.map_or(f64::INFINITY, |known| known.condition),
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

/// Residuals and their derivatives, in one pass where there is one.
fn linearise(problem: &impl Residuals, values: &[f64]) -> Result<(Vec<f64>, Array2<f64>)> {
    let (n, all) = (problem.count(), values.len());
    let (mut residuals, mut slopes) = (Vec::with_capacity(n), Vec::with_capacity(n * all));
    let swept = problem.sweep(values, |residual, row| {
        residuals.push(residual);
        slopes.extend_from_slice(row);
    });
    if swept {
        let jacobian = Array2::from_shape_vec((n, all), slopes);
        return Ok((residuals, jacobian.map_err(|why| Error::numeric("a nonlinear fit", why.to_string()))?));
    }
    let mut jacobian = Array2::zeros((n, all));
    residuals.resize(n, 0.0);
    problem.residuals(values, &mut residuals)?;
    problem.jacobian(values, jacobian.view_mut())?;
    Ok((residuals, jacobian))
}

/// The derivatives in the moving parameters, with one further row for each of their priors.
fn stack(jacobian: &Array2<f64>, parameters: &[Parameter], moving: &[usize], sigma: f64) -> DMatrix<f64> {
    let priors: Vec<(usize, f64)> = moving
        .iter()
        .enumerate()
        .filter_map(|(column, place)| {
            let prior = parameters.get(*place)?.prior?;
            Some((column, sigma / prior.sd))
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
