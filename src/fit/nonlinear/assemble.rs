//! From the end of an iteration to the result: why it stopped, what the data determine, and the covariance.

use std::fmt;

use levenberg_marquardt::TerminationReason;
use nalgebra::DMatrix;
use ndarray::Array2;

use super::{Parameter, Residuals};
use crate::Result;
use crate::fit::matrix::{Identified, identify, to_array};

/// Singular values of the scaled Jacobian below this share of the largest count as zero.
const SINGULAR: f64 = 1e-10;

/// The result of a nonlinear least-squares fit.
#[derive(Debug, Clone)]
pub struct NonlinearFit {
    values: Vec<f64>,
    /// Covariance of the parameters, in the order they were given: 0 for one held or on a bound, infinite variance for one that the
    /// data do not see.
    pub covariance: Array2<f64>,
    /// Number of residuals.
    pub n: usize,
    /// Residuals less the parameters they determine (a parameter with a prior counts in part).
    pub df: f64,
    /// The sum of squared residuals without the priors.
    pub sum_of_squares: f64,
    /// Residuals at the end, as the problem gave them.
    pub residuals: Vec<f64>,
    /// Why the iteration stopped.
    pub stop: StopReason,
}

impl NonlinearFit {
    /// All parameters, in the order they were given.
    pub fn values(&self) -> Vec<f64> {
        self.values.clone()
    }
}

/// Where an iteration ended.
pub(super) struct SolverOutcome {
    /// All parameters, held ones included.
    pub values: Vec<f64>,
    /// -1 or 1 for a parameter that rests on its lower or upper bound, else 0.
    pub resting: Vec<i8>,
    pub stop: StopReason,
}

/// Puts the result together at the end of an iteration.
pub(super) fn assemble(problem: &impl Residuals, parameters: &[Parameter], end: SolverOutcome) -> Result<NonlinearFit> {
    let (n, all) = (problem.count(), parameters.len());
    let (mut residuals, mut jacobian) = (vec![0.0; n], Array2::zeros((n, all)));
    problem.residuals(&end.values, &mut residuals)?;
    problem.jacobian(&end.values, jacobian.view_mut())?;

    let moving: Vec<usize> = (0..all).filter(|&i| !parameters[i].held && end.resting[i] == 0).collect();
    let stacked = stack(&jacobian, parameters, &moving);
    let identified = identify(&stacked, SINGULAR);
    let used = identified.as_ref().map_or(moving.len() as f64, |known| spent(&stacked, n, known));

    let mut covariance = DMatrix::zeros(all, all);
    let seen = |i: usize| identified.as_ref().filter(|known| !known.unseen[i]);
    for (i, a) in moving.iter().enumerate() {
        if seen(i).is_none() {
            covariance[(*a, *a)] = f64::INFINITY;
            continue;
        }
        for (j, b) in moving.iter().enumerate() {
            if let Some(known) = seen(j) {
                covariance[(*a, *b)] = known.inverse[(i, j)];
            }
        }
    }
    Ok(NonlinearFit {
        values: end.values,
        covariance: to_array(&covariance),
        n,
        df: n as f64 - used,
        sum_of_squares: residuals.iter().map(|r| r * r).sum(),
        residuals,
        stop: end.stop,
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
    let n = jacobian.nrows();
    let prior = |(column, place): (usize, &usize)| Some((column, 1.0 / parameters[*place].prior?.1));
    let priors: Vec<(usize, f64)> = moving.iter().enumerate().filter_map(prior).collect();
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

/// Why the iteration stopped. "It stopped" is not "it is right": see also the bounds and the notes of the fit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StopReason {
    /// At a minimum as far as the iteration can tell: the sum of squares, the parameters or the gradient no longer change to the
    /// tolerance or to working precision, or all residuals are zero.
    Converged,
    /// Too many evaluations.
    OutOfPatience,
    /// The residuals or their derivatives are not finite numbers, or could not be computed.
    NotComputable(String),
}

impl StopReason {
    /// True when the end is a minimum as far as the iteration can tell.
    pub fn is_converged(&self) -> bool {
        *self == Self::Converged
    }
}

impl From<TerminationReason> for StopReason {
    fn from(reason: TerminationReason) -> Self {
        match reason {
            TerminationReason::ResidualsZero
            | TerminationReason::Orthogonal
            | TerminationReason::Converged { .. }
            | TerminationReason::NoImprovementPossible(_) => Self::Converged,
            TerminationReason::LostPatience => Self::OutOfPatience,
            TerminationReason::User(what)
            | TerminationReason::Numerical(what)
            | TerminationReason::WrongDimensions(what) => Self::NotComputable(what.to_owned()),
            TerminationReason::NoParameters => Self::NotComputable("no parameters".to_owned()),
            TerminationReason::NoResiduals => Self::NotComputable("no residuals".to_owned()),
        }
    }
}

impl fmt::Display for StopReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Converged => f.write_str("converged"),
            Self::OutOfPatience => f.write_str("not converged: too many evaluations"),
            Self::NotComputable(what) => write!(f, "not converged: {what} not computable"),
        }
    }
}
