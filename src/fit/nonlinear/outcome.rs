//! Where an iteration ended, and what both solvers keep to.

use nalgebra::DMatrix;

use super::StopReason;

/// The first step may be this many times the length of the start, in MINPACK's scaling.
pub(super) const FIRST_STEPS: f64 = 100.0;

/// Fits with this tolerance or less are asked for their last digits, which need some Gauss-Newton steps at the end.
pub(super) const POLISHED: f64 = 1e-12;
/// Such steps at most.
pub(super) const POLISH: usize = 15;

/// Where an iteration ended.
pub(super) struct SolverOutcome {
    /// All parameters, held ones included.
    pub values: Vec<f64>,
    /// -1 or 1 for a parameter that rests on its lower or upper bound, else 0.
    pub resting: Vec<i8>,
    pub stop: StopReason,
    pub evaluations: usize,
    /// Standard deviation of one residual, by which the priors were weighed.
    pub sigma: f64,
    /// J'J of all parameters, where it was gathered and is well-conditioned.
    pub normal: Option<DMatrix<f64>>,
}
